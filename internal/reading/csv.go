package reading

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"millwarden/internal/units"
)

// header of readings in CSV [RFC 4180].
var header = []string{"time", "point", "value", "unit", "quality"}

// ErrRow is wrapped by every error about a row of a file: the person who wrote the file can repair it.
var ErrRow = errors.New("csv")

// table reads rows of one fixed header and says in which line what is wrong.
type table struct {
	rows   *csv.Reader
	header []string
	line   int
}

// openTable reads the header. A byte order mark, as spreadsheets write it, is passed over.
func openTable(from io.Reader, header []string) (*table, error) {
	buffered := bufio.NewReader(from)
	if start, _ := buffered.Peek(3); bytes.Equal(start, []byte("\xEF\xBB\xBF")) {
		_, _ = buffered.Discard(3)
	}
	t := &table{rows: csv.NewReader(buffered), header: header}
	t.rows.ReuseRecord = true
	t.rows.FieldsPerRecord = -1 // counted here, with a message that names the columns
	row, err := t.rows.Read()
	want := strings.Join(header, ",")
	switch {
	case err == io.EOF:
		return nil, t.wrong("the file is empty; it begins with the line %s", want)
	case err != nil:
		return nil, t.broken(err)
	case len(row) == 1 && strings.Contains(row[0], ";"):
		return nil, t.wrong("the columns are parted by semicolons; part them by commas: %s", want)
	case !slices.Equal(row, header):
		return nil, t.wrong("the first line is %q; write %s", strings.Join(row, ","), want)
	}
	return t, nil
}

func (t *table) wrong(format string, args ...any) error {
	line := max(t.line, 1)
	return fmt.Errorf("%w: line %d: "+format, append([]any{ErrRow, line}, args...)...)
}

// broken turns an error of the CSV syntax into one that says what to do.
func (t *table) broken(err error) error {
	var syntax *csv.ParseError
	if !errors.As(err, &syntax) {
		return fmt.Errorf("csv: %w", err)
	}
	t.line = syntax.Line
	return t.wrong(`%w; a field with a comma or a quote stands in quotes, and a quote inside is doubled: "say ""dry"""`, syntax.Err)
}

// next reads one row; io.EOF at the end.
func (t *table) next() ([]string, error) {
	row, err := t.rows.Read()
	if err == io.EOF {
		return nil, err
	}
	if err != nil {
		return nil, t.broken(err)
	}
	t.line, _ = t.rows.FieldPos(0)
	if len(row) != len(t.header) {
		return nil, t.wrong("%d columns where %d are due: %s", len(row), len(t.header), strings.Join(t.header, ","))
	}
	return row, nil
}

func (t *table) time(text string) (Stamp, error) {
	at, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return Stamp{}, t.wrong("%q is no time; write for example 2026-03-04T03:12:05Z or 2026-03-04T03:12:05-05:00", text)
	}
	if year := at.UTC().Year(); year < 1970 || year > 2255 {
		return Stamp{}, t.wrong("%q: years go from 1970 to 2255", text)
	}
	return stampOf(at), nil
}

// Rows reads readings in CSV form: header time,point,value,unit,quality; time as in RFC 3339; unit as in the rules file; quality good,
// uncertain:reason or bad:reason; no value where nothing was read. States may be on and off, conditions yes and no.
type Rows struct {
	table *table
	known func(point string) (units.Quantity, bool)
}

// NewRows reads the header. known gives the quantity of a point (nil: none), for units that several quantities share; of those not
// known the unit decides: °C is a temperature, K a difference, % a share, no unit a count.
func NewRows(from io.Reader, known func(point string) (units.Quantity, bool)) (*Rows, error) {
	t, err := openTable(from, header)
	if err != nil {
		return nil, err
	}
	return &Rows{table: t, known: known}, nil
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
	if err := checkName(row[1]); err != nil || !strings.Contains(row[1], "/") {
		return Reading{}, r.table.wrong("%q is no point; write station and point, for example tank-1/ph", row[1])
	}
	reading := Reading{Point: strings.Clone(row[1]), Stamp: at} // the row's memory is used again
	if reading.Quality, reading.Cause, err = ParseQuality(row[4]); err != nil {
		return Reading{}, r.table.wrong("%w", err)
	}
	reading.Cause = strings.Clone(reading.Cause)
	if reading.Quantity, err = r.quantity(reading.Point, row[2], row[3]); err != nil {
		return Reading{}, err
	}
	if reading.Value, err = r.value(row[2], row[3], reading.Quantity); err != nil {
		return Reading{}, err
	}
	if math.IsNaN(reading.Value) && reading.Quality != Bad {
		return Reading{}, r.table.wrong("%s has no value and quality %s; without value it is bad, for example bad:no answer", row[1], row[4])
	}
	return reading, nil
}

func (r *Rows) quantity(point, value, unit string) (units.Quantity, error) {
	if r.known != nil {
		if q, ok := r.known(point); ok {
			return q, nil
		}
	}
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

func (r *Rows) value(text, unit string, q units.Quantity) (float64, error) {
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
	u, ok := units.Choose(unit, q)
	if !ok {
		return 0, r.table.wrong("unit %q is not for %s; write one of %s", unit, q.Article(), strings.Join(units.Of(q), ", "))
	}
	base := u.ToBase(number)
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
