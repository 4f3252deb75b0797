package reading

import (
	"encoding/base64"
	"errors"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// AppendSenML appends records as one JSON pack [RFC 8428 section 5]: a base name for each run of records at one station, one base time,
// shortest exact numbers. A record that no reader could take (illegal name, value that is no number, a time before July 1978, which
// would count from now) is an error, and dst comes back as it was. It allocates nothing but the growth of dst.
func AppendSenML(dst []byte, records ...Record) ([]byte, error) {
	w := packer{dst: dst}
	for i := range records {
		if err := w.add(&records[i]); err != nil {
			return dst, refuse("record %d: %w", i+1, err)
		}
	}
	if len(records) == 0 {
		return dst, refuse("pack without a record")
	}
	return append(w.dst, ']'), nil
}

// packer writes records behind one another and remembers the base fields in force.
type packer struct {
	dst      []byte
	baseName string
	baseTime int64 // microseconds; 0: none
	started  bool
}

func (w *packer) add(r *Record) error {
	if err := w.open(r.Name, "", r.Unit, r.Time); err != nil {
		return err
	}
	switch r.Content {
	case Number:
		if err := finite(r.Value); err != nil {
			return err
		}
		w.dst = appendNumber(append(w.dst, `,"v":`...), r.Value)
	case Text:
		w.text("vs", r.Text)
	case Truth:
		w.dst = strconv.AppendBool(append(w.dst, `,"vb":`...), r.Truth)
	case Bytes:
		w.dst = base64.RawURLEncoding.AppendEncode(append(w.dst, `,"vd":"`...), r.Data)
		w.dst = append(w.dst, '"')
	case Nothing:
		if !r.HasSum {
			return errors.New("it has no value")
		}
	}
	if r.HasSum {
		if err := finite(r.Sum); err != nil {
			return err
		}
		w.dst = appendNumber(append(w.dst, `,"s":`...), r.Sum)
	}
	if r.UpdateTime > 0 {
		w.dst = appendMicros(append(w.dst, `,"ut":`...), r.UpdateTime.Microseconds())
	}
	w.dst = append(w.dst, '}')
	return nil
}

func finite(value float64) error {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return errors.New("value is no number")
	}
	return nil
}

// open begins a record: name (and suffix, which is written behind it), unit, time. The record is left open for its value.
func (w *packer) open(name, suffix, unit string, at time.Time) error {
	if len(name)+len(suffix) > longestName {
		return errors.New("its name is too long")
	}
	rest, known := strings.CutPrefix(name, w.baseName)
	if !w.started {
		w.dst = append(w.dst, `[{`...)
	} else {
		w.dst = append(w.dst, `,{`...)
	}
	if known && w.baseName != "" {
		if !allNameBytes(rest) { // what stands before it was checked when it became the base name
			return checkName(name)
		}
	} else {
		if err := checkName(name); err != nil {
			return err
		}
		if cut := strings.LastIndexByte(name, '/') + 1; cut > 0 || w.baseName != "" {
			w.baseName, rest = name[:cut], name[cut:]
			w.dst = append(append(append(w.dst, `"bn":"`...), w.baseName...), `",`...)
		}
	}
	if err := w.base(at); err != nil {
		return err
	}
	w.started = true
	w.dst = append(append(append(append(w.dst, `"n":"`...), rest...), suffix...), '"')
	if unit != "" {
		w.text("u", unit)
	}
	if !at.IsZero() {
		if offset := at.UnixMicro() - w.baseTime; offset != 0 {
			w.dst = appendMicros(append(w.dst, `,"t":`...), offset)
		}
	}
	return nil
}

// base writes the base time where it changes: the first time of the pack, and zero before a record without time.
func (w *packer) base(at time.Time) error {
	micros := int64(0)
	if !at.IsZero() {
		if micros = at.UnixMicro(); micros < relativeEnd*1e6 || micros >= latestTime*1e6 {
			return errors.New("a pack cannot tell the time " + at.UTC().Format(time.RFC3339))
		}
	}
	if (micros == 0) == (w.baseTime == 0) {
		return nil
	}
	w.baseTime = micros
	w.dst = append(appendMicros(append(w.dst, `"bt":`...), micros), ',')
	return nil
}

const hexDigits = "0123456789abcdef"

// text appends ,"label":"text".
func (w *packer) text(label, text string) {
	w.label(label)
	w.escaped(text)
	w.dst = append(w.dst, '"')
}

// label appends ,"label":" and leaves the text open.
func (w *packer) label(label string) {
	w.dst = append(append(append(w.dst, `,"`...), label...), `":"`...)
}

// escaped appends text with what JSON wants escaped. Bytes that are no UTF-8 become U+FFFD.
func (w *packer) escaped(text string) {
	if plain(text) {
		w.dst = append(w.dst, text...)
		return
	}
	for i, c := range text {
		switch {
		case c == '"' || c == '\\':
			w.dst = append(w.dst, '\\', byte(c))
		case c < ' ':
			w.dst = append(w.dst, '\\', 'u', '0', '0', hexDigits[c>>4], hexDigits[c&15])
		case c == utf8.RuneError:
			w.dst = append(w.dst, "\uFFFD"...)
		default:
			w.dst = append(w.dst, text[i:i+utf8.RuneLen(c)]...)
		}
	}
}

func plain(text string) bool {
	for i := range len(text) {
		if c := text[i]; c < ' ' || c >= utf8.RuneSelf || c == '"' || c == '\\' {
			return false
		}
	}
	return true
}

// appendNumber appends the shortest decimal that reads back as the same double. What has at most six decimals and fifteen digits is
// written as an integer with a point: no two such decimals share a double, so it is the shortest, and cheaper than the general search.
func appendNumber(dst []byte, value float64) []byte {
	if scaled := math.Round(value * 1e6); math.Abs(scaled) < 1e15 && scaled/1e6 == value {
		return appendMicros(dst, int64(scaled))
	}
	if size := math.Abs(value); size < 1e-4 || size >= 1e15 {
		return strconv.AppendFloat(dst, value, 'e', -1, 64)
	}
	return strconv.AppendFloat(dst, value, 'f', -1, 64)
}

// appendMicros appends millionths as a decimal without trailing zeros.
func appendMicros(dst []byte, micros int64) []byte {
	if micros < 0 {
		dst, micros = append(dst, '-'), -micros
	}
	whole, part := micros/1e6, micros%1e6
	dst = strconv.AppendInt(dst, whole, 10)
	if part == 0 {
		return dst
	}
	high, low := uint32(part/1000), uint32(part%1000)
	digits := [...]byte{'.', '0' + byte(high/100), '0' + byte(high/10%10), '0' + byte(high%10), '0' + byte(low/100), '0' + byte(low/10%10), '0' + byte(low%10)}
	n := len(digits)
	for digits[n-1] == '0' {
		n--
	}
	return append(dst, digits[:n]...)
}
