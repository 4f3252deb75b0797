package forward

import (
	"math"
	"strconv"
	"strings"

	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/internal/wire"
)

// lines makes rows of readings. Measurement and tags of a series are escaped once and kept.
type lines struct {
	boards map[string]map[string]*pointSeries // by board, then by the point's full name
	kept   int
}

// pointSeries has a series for each quality: as a tag, a panel or a query takes the good readings alone, and a store keeps one series where a field beside
// the value would make it two.
type pointSeries struct {
	quantity units.Quantity
	series   [reading.Bad + 1]series
}

type series struct {
	prefix []byte // measurement and tags, and the space behind them; nil: no row was made yet
	batch  int    // number of the newest batch that has a row of it
	last   int    // place of its last row there
}

// pointsKept bounds the memory; chosen: eight boards with as many points as the rules allow.
const pointsKept = 1 << 16

func newLines() *lines { return &lines{boards: map[string]map[string]*pointSeries{}} }

// row is a reading of a series.
type row struct {
	*series
	value  float64
	millis int64
	next   int // place in the batch of the next one of its series; 0: none
}

// row gives a reading of a board; its Point is a full name.
func (l *lines) row(board string, r *reading.Reading) row {
	p := l.boards[board][r.Point]
	if p == nil || p.quantity != r.Quantity {
		p = l.keep(board, r)
	}
	s := &p.series[r.Quality]
	if s.prefix == nil {
		s.prefix = prefixOf(board, r)
	}
	return row{series: s, value: r.Value, millis: r.Stamp.Wall.UnixMilli()}
}

// append appends the line of a row. The same reading gives the same line, always: sending it again is harmless. There is nothing in line protocol for
// a value that is missing; its line says so.
func (r *row) append(dst []byte) []byte {
	dst = append(dst, r.prefix...)
	// Always floats: a field keeps the type of its first value.
	if math.IsNaN(r.value) || math.IsInf(r.value, 0) {
		dst = append(dst, "missing=1"...)
	} else {
		dst = appendFloat(append(dst, "value="...), r.value)
	}
	dst = strconv.AppendInt(append(dst, ' '), r.millis, 10)
	return append(dst, '\n')
}

func (l *lines) keep(board string, r *reading.Reading) *pointSeries {
	if l.kept >= pointsKept {
		clear(l.boards)
		l.kept = 0
	}
	if l.boards[board] == nil {
		l.boards[board] = map[string]*pointSeries{}
	}
	if _, known := l.boards[board][r.Point]; !known {
		l.kept++
	}
	p := &pointSeries{quantity: r.Quantity}
	l.boards[board][r.Point] = p
	return p
}

// prefixOf writes measurement and tags of a reading.
func prefixOf(board string, r *reading.Reading) []byte {
	site, area, point, _ := wire.Split(r.Point)
	station, point, _ := strings.Cut(point, "/")
	prefix := []byte(escape(r.Quantity.Name(), ", "))
	for _, tag := range [...][2]string{{"area", area}, {"board", board}, {"point", point}, {"quality", r.Quality.String()}, {"site", site}, {"station", station}} { // sorted, as the store likes them
		if tag[1] != "" { // an empty value is refused
			prefix = append(append(append(append(prefix, ','), tag[0]...), '='), escape(tag[1], ",= ")...)
		}
	}
	return append(prefix, ' ')
}

// escape puts a backslash before each of the characters, and _ in place of what would end the line or be taken for an escape. Names of the
// rules file need none of it; a board of another make might.
func escape(text, characters string) string {
	var b strings.Builder
	for _, c := range text {
		if c < ' ' || c == 0x7f || c == '\\' {
			c = '_'
		}
		if strings.ContainsRune(characters, c) {
			b.WriteByte('\\')
		}
		b.WriteRune(c)
	}
	return b.String()
}

// appendFloat appends what strconv's 'g' does, and is quicker where the value is a decimal of at most six places below a million, as nearly
// all are: no two such decimals share a double, so the shortest one is found by one multiplication.
func appendFloat(dst []byte, v float64) []byte {
	const million = 1e6
	size := math.Abs(v)
	scaled := math.Round(size * million)
	if size >= million || size < 1e-4 && size != 0 || scaled/million != size || size == 0 && math.Signbit(v) {
		return strconv.AppendFloat(dst, v, 'g', -1, 64)
	}
	if v < 0 {
		dst = append(dst, '-')
	}
	n := uint64(scaled)
	dst = strconv.AppendUint(dst, n/million, 10)
	part := n % million
	if part == 0 {
		return dst
	}
	dst = append(dst, '.')
	for step := uint64(million / 10); part > 0; step /= 10 {
		dst = append(dst, byte('0'+part/step))
		part %= step
	}
	return dst
}
