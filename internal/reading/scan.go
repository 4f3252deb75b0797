package reading

import (
	"math"
	"strconv"
	"time"
)

// scanPlain reads packs as instruments write them: flat records, known labels, ASCII without escapes. Anything unusual, and anything
// wrong, makes it give up (ok false): the general decoder then reads the whole pack again and says what is the matter. So this one
// may be fast and needs no messages; FuzzDecodeSenML holds the two together.
func scanPlain(data []byte, now time.Time, into []Record) (records []Record, ok bool) {
	s := scanner{data: data}
	r := resolver{now: now}
	records = into
	if !s.take('[') {
		return into, false
	}
	var f fields
	for {
		f.has = 0
		if !s.record(&f) {
			return into, false
		}
		var err error
		if records, err = r.add(&f, records); err != nil {
			return into, false
		}
		if s.take(',') {
			continue
		}
		if s.take(']') && s.end() {
			return records, true
		}
		return into, false
	}
}

type scanner struct {
	data []byte
	at   int
}

func (s *scanner) space() {
	for s.at < len(s.data) {
		switch s.data[s.at] {
		case ' ', '\t', '\n', '\r':
			s.at++
		default:
			return
		}
	}
}

func (s *scanner) take(c byte) bool {
	if s.at < len(s.data) && s.data[s.at] != c { // space is rare
		s.space()
	}
	if s.at < len(s.data) && s.data[s.at] == c {
		s.at++
		return true
	}
	return false
}

func (s *scanner) end() bool {
	s.space()
	return s.at == len(s.data)
}

func (s *scanner) record(f *fields) bool {
	if !s.take('{') {
		return false
	}
	for {
		label, ok := s.text()
		if !ok || !s.take(':') || !s.field(label, f) {
			return false
		}
		if s.take(',') {
			continue
		}
		return s.take('}')
	}
}

// field reads the value that belongs to label.
func (s *scanner) field(label []byte, f *fields) (ok bool) {
	var bit field
	switch string(label) {
	case "n":
		bit = hasName
		f.name, ok = s.text()
	case "v":
		bit = hasValue
		f.value, ok = s.number()
	case "t":
		bit = hasTime
		f.at, ok = s.number()
	case "u":
		bit = hasUnit
		f.unit, ok = s.text()
	case "bn":
		bit = hasBaseName
		f.baseName, ok = s.text()
	case "bt":
		bit = hasBaseTime
		f.baseTime, ok = s.number()
	case "bu":
		bit = hasBaseUnit
		f.baseUnit, ok = s.text()
	case "bver":
		bit = hasVersion
		f.version, ok = s.number()
	case "vs":
		bit = hasText
		f.text, ok = s.text()
	case "vb":
		bit = hasTruth
		f.truth, ok = s.truth()
	case "ut":
		bit = hasUpdate
		f.next, ok = s.number()
	default: // sums, base values, data and unknown labels are rare
		return false
	}
	if f.has&bit != 0 {
		return false
	}
	f.has |= bit
	return ok
}

// text reads a string of plain ASCII and gives the bytes between the quotes.
func (s *scanner) text() ([]byte, bool) {
	if !s.take('"') {
		return nil, false
	}
	start := s.at
	for i := start; i < len(s.data); i++ {
		switch c := s.data[i]; {
		case c == '"':
			s.at = i + 1
			return s.data[start:i], true
		case c < ' ' || c >= 0x7f || c == '\\':
			return nil, false
		}
	}
	return nil, false
}

func (s *scanner) truth() (value, ok bool) {
	s.space()
	rest := s.data[s.at:]
	if len(rest) >= 4 && string(rest[:4]) == "true" {
		s.at += 4
		return true, true
	}
	if len(rest) >= 5 && string(rest[:5]) == "false" {
		s.at += 5
		return false, true
	}
	return false, false
}

// tens holds the powers of ten that a double holds exactly.
var tens = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// number reads a JSON number. Where mantissa and power of ten are exact, one division is correctly rounded [Clinger, How to read
// floating point numbers accurately, 1990]; otherwise strconv reads it.
func (s *scanner) number() (float64, bool) {
	s.space()
	start := s.at
	negative := s.at < len(s.data) && s.data[s.at] == '-'
	if negative {
		s.at++
	}
	mantissa, digits := s.digits(0)
	if digits == 0 || digits > 1 && s.data[s.at-digits] == '0' {
		return 0, false
	}
	decimals := 0
	if s.at < len(s.data) && s.data[s.at] == '.' {
		s.at++
		if mantissa, decimals = s.digits(mantissa); decimals == 0 {
			return 0, false
		}
	}
	if s.at < len(s.data) && (s.data[s.at] == 'e' || s.data[s.at] == 'E') {
		if !s.exponent() {
			return 0, false
		}
	} else if digits+decimals <= 18 && mantissa < 1<<53 {
		value := float64(mantissa) / tens[decimals]
		if negative {
			value = -value
		}
		return value, true
	}
	value, err := strconv.ParseFloat(string(s.data[start:s.at]), 64)
	return value, err == nil && !math.IsInf(value, 0)
}

// digits goes on with mantissa; it runs over beyond 19 digits, which number then does not use.
func (s *scanner) digits(mantissa uint64) (uint64, int) {
	start := s.at
	for s.at < len(s.data) && s.data[s.at] >= '0' && s.data[s.at] <= '9' {
		mantissa = mantissa*10 + uint64(s.data[s.at]-'0')
		s.at++
	}
	return mantissa, s.at - start
}

func (s *scanner) exponent() bool {
	s.at++
	if s.at < len(s.data) && (s.data[s.at] == '+' || s.data[s.at] == '-') {
		s.at++
	}
	_, digits := s.digits(0)
	return digits > 0
}
