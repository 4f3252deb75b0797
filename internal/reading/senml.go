package reading

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Content tells which of the value fields a record has.
type Content uint8

const (
	Nothing Content = iota // a record of a sum alone
	Number                 // v
	Text                   // vs
	Truth                  // vb
	Bytes                  // vd
)

// Record is one resolved SenML record [RFC 8428 section 4.6]: full name, own unit, absolute time.
type Record struct {
	Name       string
	Unit       string // as registered, "" if the pack gave none
	Content    Content
	Value      float64       // Number
	Text       string        // Text
	Truth      bool          // Truth
	Data       []byte        // Bytes
	HasSum     bool          // Sum was given
	Sum        float64       // integral over time: unit times second
	Time       time.Time     // UTC, to the microsecond; writing: the zero time stands for now
	UpdateTime time.Duration // longest time until the next record of this name; 0: not said
}

// MaxPack is the longest pack that is read, in bytes. Chosen: a hundred times our own longest, so that a garbled length or a hostile
// sender costs no memory.
const MaxPack = 1 << 20

const (
	version      = 10      // [RFC 8428 section 4.4]
	relativeEnd  = 1 << 28 // below this a time counts from now [RFC 8428 section 4.5.3]
	latestTime   = 9e9     // seconds, the year 2255: up to here a double holds microseconds
	latestUpdate = 1e9     // seconds, 31 years; chosen: it fits a Duration
	longestName  = 256     // bytes; chosen: twice our own longest
)

// ErrPack is wrapped by every error about a pack: the sender is at fault, and sending it again will not help.
var ErrPack = errors.New("senml")

func refuse(format string, args ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{ErrPack}, args...)...)
}

// field has one bit for each label of RFC 8428 table 1.
type field uint16

const (
	hasBaseName field = 1 << iota
	hasBaseTime
	hasBaseUnit
	hasBaseValue
	hasBaseSum
	hasVersion
	hasName
	hasUnit
	hasValue
	hasText
	hasTruth
	hasData
	hasSum
	hasTime
	hasUpdate
)

const valueFields = hasValue | hasText | hasTruth | hasData

// fields is one record as written, before it is resolved; a field counts only if its bit is in has. The byte slices belong to whoever
// scanned.
type fields struct {
	has                                                         field
	truth                                                       bool
	version, baseTime, baseValue, baseSum, value, sum, at, next float64
	baseName, baseUnit, name, unit, text, data                  []byte
}

// resolver turns written records into resolved ones; both scanners and CBOR feed it, so that they cannot differ in meaning.
type resolver struct {
	now                          time.Time
	records                      int
	version                      float64
	baseTime, baseValue, baseSum float64
	baseName, baseUnit           []byte
	begins                       bool // a name that begins with the base name was checked
	name                         [2 * longestName]byte
}

// add resolves one record and appends it. A name that stood at the same place of into's memory before is used again, not allocated.
func (r *resolver) add(f *fields, into []Record) ([]Record, error) {
	r.records++
	if err := r.base(f); err != nil {
		return into, err
	}
	name, err := r.fullName(f)
	if err != nil {
		return into, err
	}
	at, err := r.time(f)
	if err != nil {
		return into, err
	}
	n := len(into)
	if n < cap(into) {
		into = into[:n+1]
	} else {
		into = append(into, Record{})
	}
	old := into[n].Name
	into[n] = Record{Time: at}
	record := &into[n]
	if old == string(name) {
		record.Name = old
	} else {
		record.Name = string(name)
	}
	unit := r.baseUnit
	if f.has&hasUnit != 0 {
		unit = f.unit
	}
	record.Unit = unitText(unit)
	return into, r.content(f, record)
}

// base takes over the base fields of a record; they hold from this record on [RFC 8428 section 4.1].
func (r *resolver) base(f *fields) error {
	said := float64(version)
	if r.records > 1 {
		said = r.version
	}
	if f.has&hasVersion != 0 {
		if f.version != math.Trunc(f.version) || f.version < 1 || f.version > version {
			return refuse("record %d: version %v is not known, up to %d is", r.records, f.version, version)
		}
		if r.records > 1 && f.version != r.version {
			return refuse("record %d: version %v after %v: all records of a pack have one", r.records, f.version, r.version)
		}
		said = f.version
	}
	r.version = said
	if f.has&hasBaseName != 0 {
		r.baseName, r.begins = f.baseName, false
	}
	if f.has&hasBaseTime != 0 {
		r.baseTime = f.baseTime
	}
	if f.has&hasBaseUnit != 0 {
		r.baseUnit = f.baseUnit
	}
	if f.has&hasBaseValue != 0 {
		r.baseValue = f.baseValue
	}
	if f.has&hasBaseSum != 0 {
		r.baseSum = f.baseSum
	}
	return nil
}

// nameBytes are the characters of a full name [RFC 8428 section 4.5.1].
var nameBytes = func() (allowed [256]bool) {
	for c := range 256 {
		allowed[c] = isAlphanumeric(byte(c)) || c == '-' || c == ':' || c == '.' || c == '/' || c == '_'
	}
	return allowed
}()

func isAlphanumeric(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9'
}

func allNameBytes[T string | []byte](text T) bool {
	for i := range len(text) {
		if !nameBytes[text[i]] {
			return false
		}
	}
	return true
}

func (r *resolver) fullName(f *fields) ([]byte, error) {
	if len(r.baseName)+len(f.name) > longestName {
		return nil, refuse("record %d: its name has more than %d characters", r.records, longestName)
	}
	name := r.name[:copy(r.name[:], r.baseName)]
	if f.has&hasName != 0 {
		name = append(name, f.name...)
	}
	if r.begins && allNameBytes(name[len(r.baseName):]) {
		return name, nil
	}
	if err := checkName(name); err != nil {
		return nil, refuse("record %d: %v", r.records, err)
	}
	r.begins = len(r.baseName) > 0
	return name, nil
}

// checkName copies the name into its error only, so that the name itself need not live on the heap.
func checkName[T string | []byte](name T) error {
	if len(name) == 0 {
		return errors.New("it has no name")
	}
	for i := range len(name) {
		if !nameBytes[name[i]] {
			return fmt.Errorf("name %q: character %q is not among letters, digits and - : . / _", string(name), name[i])
		}
	}
	if !isAlphanumeric(name[0]) {
		return fmt.Errorf("name %q does not begin with a letter or a digit", string(name))
	}
	return nil
}

// time is bt + t; below 2^28 it counts from now [RFC 8428 section 4.5.3].
func (r *resolver) time(f *fields) (time.Time, error) {
	seconds := r.baseTime
	if f.has&hasTime != 0 {
		seconds += f.at
	}
	if !(seconds < latestTime && seconds > -latestTime) {
		return time.Time{}, refuse("record %d: time %v is out of bounds", r.records, seconds)
	}
	micros := int64(math.Round(seconds * 1e6))
	if seconds < relativeEnd {
		micros += r.now.UnixMicro()
	}
	if micros < 0 {
		return time.Time{}, refuse("record %d: time %v lies before 1970", r.records, seconds)
	}
	return time.UnixMicro(micros).UTC(), nil
}

func (r *resolver) content(f *fields, record *Record) error {
	given := f.has & valueFields
	switch {
	case given&(given-1) != 0:
		return refuse("record %d: %s has more than one value", r.records, record.Name)
	case given == 0 && f.has&hasSum == 0:
		return refuse("record %d: %s has no value", r.records, record.Name)
	case given == hasValue:
		record.Content, record.Value = Number, r.baseValue+f.value
	case given == hasText:
		record.Content, record.Text = Text, string(f.text)
	case given == hasTruth:
		record.Content, record.Truth = Truth, f.truth
	case given == hasData:
		record.Content, record.Data = Bytes, append([]byte{}, f.data...)
	}
	if f.has&hasSum != 0 {
		record.HasSum, record.Sum = true, r.baseSum+f.sum
	}
	if math.IsInf(record.Value, 0) || math.IsInf(record.Sum, 0) {
		return refuse("record %d: the value of %s is beyond all numbers", r.records, record.Name)
	}
	if f.has&hasUpdate != 0 {
		if !(f.next >= 0 && f.next <= latestUpdate) {
			return refuse("record %d: update time %v of %s is out of bounds", r.records, f.next, record.Name)
		}
		record.UpdateTime = time.Duration(math.Round(f.next*1e6)) * time.Microsecond
	}
	return nil
}

// DecodeSenML reads a JSON pack [RFC 8428 section 5], resolves its records and appends them to into; relative times count from now.
// It is strict: what the RFC says must be refused is refused, and nothing is appended. Where into has room, names that stood there
// before are used again, so that a stream of like packs costs no memory.
func DecodeSenML(data []byte, now time.Time, into []Record) ([]Record, error) {
	if len(data) > MaxPack {
		return into, refuse("pack of %d bytes, at most %d are read", len(data), MaxPack)
	}
	if records, ok := scanPlain(data, now, into); ok {
		return records, nil
	}
	return decodeGeneral(data, now, into)
}

// unitText gives known units without allocating.
func unitText(unit []byte) string {
	switch string(unit) {
	case "":
		return ""
	case "Cel":
		return "Cel"
	case "K":
		return "K"
	case "pH":
		return "pH"
	case "%RH":
		return "%RH"
	case "/":
		return "/"
	case "Pa":
		return "Pa"
	case "kg":
		return "kg"
	case "m":
		return "m"
	case "m3":
		return "m3"
	case "m/s":
		return "m/s"
	case "V":
		return "V"
	case "A":
		return "A"
	case "Ohm":
		return "Ohm"
	case "W":
		return "W"
	case "W/m2":
		return "W/m2"
	case "s":
		return "s"
	case "count":
		return "count"
	case "1/s":
		return "1/s"
	}
	return string(unit)
}
