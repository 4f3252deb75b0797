package reading

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"millwarden/internal/units"
)

// header of readings in CSV [RFC 4180].
var header = []string{"time", "point", "value", "unit", "quality"}

// Rows reads readings in CSV form: header time,point,value,unit,quality; time as in RFC 3339; unit as in the rules file; quality good,
// uncertain:reason or bad:reason; no value where nothing was read. States may be on and off, conditions yes and no.
type Rows struct {
	table  *table
	known  func(point string) (units.Quantity, bool)
	points map[string]*rowPoint
	cause  string // of the row before: most have the same
}

// rowPoint is what was found out of a point of a file.
type rowPoint struct {
	name     string
	quantity units.Quantity
	known    bool // else the unit decides, row by row
	unitText string
	unit     units.Unit
}

// mostRowPoints bounds what is kept of the points of a file. chosen: ten times what a site has.
const mostRowPoints = 10_000

// NewRows reads the header. known gives the quantity of a point (nil: none), for units that several quantities share; it is asked once for each. Of those not
// known the unit decides: °C is a temperature, K a difference, % a share, no unit a count.
func NewRows(from io.Reader, known func(point string) (units.Quantity, bool)) (*Rows, error) {
	t, err := openTable(from, header)
	if err != nil {
		return nil, err
	}
	return &Rows{table: t, known: known, points: map[string]*rowPoint{}}, nil
}

// Line is the line of the row last read.
func (r *Rows) Line() int { return r.table.line }

// Next reads one reading; io.EOF at the end. An error about one row leaves the reader at the next.
func (r *Rows) Next() (Reading, error) {
	row, err := r.table.next()
	if err != nil {
		return Reading{}, err
	}
	at, err := r.table.time(row[0])
	if err != nil {
		return Reading{}, err
	}
	p, err := r.point(row[1])
	if err != nil {
		return Reading{}, err
	}
	reading := Reading{Point: p.name, Quantity: p.quantity, Stamp: at}
	if row[4] != "good" {
		if reading.Quality, reading.Cause, err = ParseQuality(row[4]); err != nil {
			return Reading{}, r.table.wrong("%w", err)
		}
		if reading.Cause != r.cause {
			r.cause = strings.Clone(reading.Cause) // without the rest of its row
		}
		reading.Cause = r.cause
	}
	if !p.known {
		if reading.Quantity, err = r.quantity(row[2], row[3]); err != nil {
			return Reading{}, err
		}
	}
	if reading.Value, err = r.value(row[2], row[3], reading.Quantity, p); err != nil {
		return Reading{}, err
	}
	if math.IsNaN(reading.Value) && reading.Quality != Bad {
		return Reading{}, r.table.wrong("%s has no value and quality %s; without value it is bad, for example bad:no answer", row[1], row[4])
	}
	return reading, nil
}

func (r *Rows) point(name string) (*rowPoint, error) {
	if p := r.points[name]; p != nil {
		return p, nil
	}
	if err := checkName(name); err != nil || !strings.Contains(name, "/") {
		return nil, r.table.wrong("%q is no point; write station and point, for example tank-1/ph", name)
	}
	p := &rowPoint{name: strings.Clone(name)}
	if r.known != nil {
		p.quantity, p.known = r.known(p.name)
	}
	if len(r.points) < mostRowPoints {
		r.points[p.name] = p
	}
	return p, nil
}

func (r *Rows) quantity(value, unit string) (units.Quantity, error) {
	switch value {
	case "on", "off":
		return units.State, nil
	case "yes", "no":
		return units.YesNo, nil
	}
	if unit == "" {
		return units.Count, nil
	}
	found := units.Lookup(unit)
	if len(found) == 0 {
		return units.None, r.table.wrong("unit %q is not known; write it as in the rules file, for example °C, %%RH, %%wb, pH, kPa, s", unit)
	}
	return found[0].Quantity, nil
}

func (r *Rows) value(text, unit string, q units.Quantity, p *rowPoint) (float64, error) {
	switch {
	case text == "":
		return math.NaN(), nil
	case q == units.State && (text == "on" || text == "off") || q == units.YesNo && (text == "yes" || text == "no"):
		if text == "on" || text == "yes" {
			return 1, nil
		}
		return 0, nil
	}
	number, err := units.ParseNumber(text)
	if err != nil {
		return 0, r.table.wrong("%w; write for example 45.2", err)
	}
	if unit == "" && (q.Base() == "" || q == units.PH || q == units.WaterActivity) {
		return number, nil
	}
	if unit != p.unitText || p.unit.Quantity != q || unit == "" {
		u, ok := units.Choose(unit, q)
		if !ok {
			return 0, r.table.wrong("unit %q is not for %s; write one of %s", unit, q.Article(), strings.Join(units.Of(q), ", "))
		}
		p.unitText, p.unit = strings.Clone(unit), u
	}
	base := p.unit.ToBase(number)
	if math.IsInf(base, 0) || math.IsNaN(base) {
		return 0, r.table.wrong("%s %s is beyond all numbers", text, unit)
	}
	return base, nil
}

// CSVWriter writes readings in the form that Rows reads, with CRLF line ends [RFC 4180], base units and times in UTC.
type CSVWriter struct {
	rows *csv.Writer
	row  [5]string
}

// NewCSVWriter writes the header at once.
func NewCSVWriter(to io.Writer) (*CSVWriter, error) {
	w := &CSVWriter{rows: csv.NewWriter(to)}
	w.rows.UseCRLF = true
	return w, w.rows.Write(header)
}

// Write writes one reading; one whose clock was not set is refused with ErrClock.
func (w *CSVWriter) Write(r *Reading) error {
	if !r.Stamp.Set {
		return fmt.Errorf("csv: write reading of %s: %w", r.Point, ErrClock)
	}
	w.row = [5]string{r.Stamp.Wall.UTC().Format(time.RFC3339Nano), Guard(r.Point), printValue(r.Value, r.Quantity), r.Quantity.Base(),
		Guard(QualityText(r.Quality, r.Cause))}
	return w.rows.Write(w.row[:])
}

// Flush writes what is still held and gives the first error there was.
func (w *CSVWriter) Flush() error {
	w.rows.Flush()
	return w.rows.Error()
}

func printValue(value float64, q units.Quantity) string {
	switch {
	case math.IsNaN(value) || math.IsInf(value, 0):
		return ""
	case (q == units.State || q == units.YesNo) && (value == 0 || value == 1):
		return units.Choice{}.Print(value, q)
	}
	return strconv.FormatFloat(value, 'f', -1, 64)
}

// Guard makes a text safe for a spreadsheet: one that would be taken for a formula gets an apostrophe in front, and control characters
// become spaces. Unguard takes the apostrophe away again.
func Guard(text string) string {
	clean := strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, text)
	if formula(clean) {
		return "'" + clean
	}
	return clean
}

// Unguard is the inverse of Guard.
func Unguard(text string) string {
	if rest, ok := strings.CutPrefix(text, "'"); ok && formula(rest) {
		return rest
	}
	return text
}

// formula: spreadsheets reckon what begins so, also behind apostrophes that somebody typed.
func formula(text string) bool {
	rest := strings.TrimLeft(text, "' ")
	return rest != "" && strings.ContainsRune("=+-@", rune(rest[0])) || strings.HasPrefix(rest, "＝") || strings.HasPrefix(rest, "＋") ||
		strings.HasPrefix(rest, "－") || strings.HasPrefix(rest, "＠")
}
