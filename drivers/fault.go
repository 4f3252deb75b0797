package drivers

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// FaultKind is what the reader of a probe can act on.
type FaultKind uint8

// The kinds of fault. NoAnswer and Garbled are worth another try at once; the others are not.
const (
	NoAnswer   FaultKind = iota + 1 // nobody answered: unplugged, wrong address, dead bus
	Garbled                         // an answer with a wrong checksum, or words that no chip can send
	NotReady                        // the part is there and has no value yet, or says that its value is not one
	OutOfRange                      // beyond what the part can measure; a clip, a broken wire
	WrongPart                       // somebody else answers at that place
	Settings                        // the part refuses its settings, or they cannot work
)

var faultNames = [...]string{"fault", "no answer", "garbled", "not ready", "out of range", "wrong part", "settings"}

func (k FaultKind) String() string {
	if int(k) >= len(faultNames) {
		return faultNames[0]
	}
	return faultNames[k]
}

// Fault is why a probe gave no value.
type Fault struct { //nolint:errname // the word of the floor; it is returned as an error and told apart by KindOf
	Kind  FaultKind
	Part  string // "ads1115"
	Place string // "i2c-1 at 0x48 ain0"
	Raw   []byte // what came from the bus, if anything did
	Cause error  // may be nil
}

func (f *Fault) Error() string {
	text := f.Part + ": on " + f.Place + ": " + f.Kind.String()
	if len(f.Raw) > 0 {
		text += fmt.Sprintf(" (raw % X)", f.Raw)
	}
	if f.Cause != nil {
		text += ": " + f.Cause.Error()
	}
	return text
}

// Unwrap gives the cause, so that errors.Is and errors.As see through.
func (f *Fault) Unwrap() error { return f.Cause }

// Brief is the cause as a reading carries it: a few words without place or system error.
func (f *Fault) Brief() string {
	switch {
	case f.Kind == NoAnswer || f.Cause == nil:
		return f.Kind.String()
	default:
		return f.Kind.String() + ", " + strings.TrimPrefix(f.Cause.Error(), f.Kind.String()+" ")
	}
}

// AsFault finds the Fault in err.
func AsFault(err error) (*Fault, bool) {
	var f *Fault
	ok := errors.As(err, &f)
	return f, ok
}

// KindOf is the kind of the Fault in err, or 0.
func KindOf(err error) FaultKind {
	if f, ok := AsFault(err); ok {
		return f.Kind
	}
	return 0
}

// WorthRetry tells whether asking again at once may help.
func WorthRetry(err error) bool {
	kind := KindOf(err)
	return kind == NoAnswer || kind == Garbled
}

// Failed is the Value of a channel that could not be read though others could.
func Failed(channel string, quantity units.Quantity, fault *Fault) Value {
	return Value{Channel: channel, Quantity: quantity, Value: math.NaN(), Raw: math.NaN(), Quality: reading.Bad, Cause: fault.Brief(), Fault: fault}
}
