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
	boards map[string]map[string]*series // by board, then by the point's full name
	kept   int
}

type series struct {
	quantity units.Quantity
	prefix   []byte // measurement and tags, and the space behind them
	batch    int    // number of the newest batch that has a row of it
	last     int    // place of its last row there
}

// seriesKept bounds the memory; chosen: eight boards with as many points as the rules allow.
const seriesKept = 1 << 16

func newLines() *lines { return &lines{boards: map[string]map[string]*series{}} }

// row is a reading of a series.
type row struct {
	*series
	value   float64
	quality reading.Quality
	millis  int64
	next    int // place in the batch of the next one of its series; 0: none
}

// row gives a reading of a board; its Point is a full name.
func (l *lines) row(board string, r *reading.Reading) row {
	s := l.boards[board][r.Point]
	if s == nil || s.quantity != r.Quantity {
		s = l.keep(board, r)
	}
	return row{series: s, value: r.Value, quality: r.Quality, millis: r.Stamp.Wall.UnixMilli()}
}

// append appends the line of a row. The same reading gives the same line, always: sending it again is harmless.
// A missing value leaves only the quality; there is nothing in line protocol for it.
func (r *row) append(dst []byte) []byte {
	dst = append(dst, r.prefix...)
	if !math.IsNaN(r.value) && !math.IsInf(r.value, 0) {
		dst = append(dst, "value="...)
		dst = appendFloat(dst, r.value)
		dst = append(dst, ',')
	}
	// Always floats: a field keeps the type of its first value.
	dst = append(append(dst, "quality="...), byte('0'+r.quality), ' ')
	dst = strconv.AppendInt(dst, r.millis, 10)
	return append(dst, '\n')
}

func (l *lines) keep(board string, r *reading.Reading) *series {
	if l.kept >= seriesKept {
		clear(l.boards)
		l.kept = 0
	}
	if l.boards[board] == nil {
		l.boards[board] = map[string]*series{}
	}
	site, area, point, _ := wire.Split(r.Point)
	station, point, _ := strings.Cut(point, "/")
	prefix := []byte(escape(r.Quantity.Name(), ", "))
	for _, tag := range [...][2]string{{"area", area}, {"board", board}, {"point", point}, {"site", site}, {"station", station}} { // sorted, as the store likes them
		if tag[1] != "" { // an empty value is refused
			prefix = append(append(append(append(prefix, ','), tag[0]...), '='), escape(tag[1], ",= ")...)
		}
	}
	s := &series{quantity: r.Quantity, prefix: append(prefix, ' ')}
	if _, known := l.boards[board][r.Point]; !known {
		l.kept++
	}
	l.boards[board][r.Point] = s
	return s
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
