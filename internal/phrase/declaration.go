package phrase

import (
	"millwarden/internal/units"
)

// Class tells what a declaration is of.
type Class uint8

const (
	HostBus Class = iota // a bus of the host that needs no block; Name is an expression, for example "i2c-[0-9]+"
	Bus                  // a kind of bus that has a block
	Part
	Channel
	Kind // of station
	Each // no station, but `for each` may name it: bus, channel, probe, point
)

var classWords = [...]string{HostBus: "hostbus", Bus: "bus", Part: "part", Channel: "channel", Kind: "kind", Each: "each"}

func (c Class) String() string { return classWords[c] }

// Declaration is what one part, bus, channel or kind of station declares of itself.
type Declaration struct {
	Class   Class
	Name    string
	Word    string // buses: the slot that such a bus fills, "I2C"
	Place   Pattern
	Phrases []Phrase
	Needs   [][]string // of each group one key at least must stand
	One     [][]string // of each group exactly one
	Shares  []string   // keys in which probes of one part at one place may differ
	Reads   []Read
	Points  []Point
	Moments []string
}

// Phrase finds the declared line of that key.
func (d *Declaration) Phrase(key string) (*Phrase, bool) {
	for i := range d.Phrases {
		if d.Phrases[i].Key == key {
			return &d.Phrases[i], true
		}
	}
	return nil, false
}

// Point finds the declared point of that name.
func (d *Declaration) Point(name string) (Point, bool) {
	for _, p := range d.Points {
		if p.Name == name {
			return p, true
		}
	}
	return Point{}, false
}

// Phrase is one declared line.
type Phrase struct {
	Key     string
	Many    bool // it may stand several times
	Pattern Pattern
}

func (p Phrase) String() string { return join(p.Key, p.Pattern.String()) }

// Read is one channel that a part reads.
type Read struct {
	Channel  string
	Quantity units.Quantity // None with Any, Ends or Each
	Any      bool           // whatever the point asks for
	Ends     string         // quantity and range are those of the amounts in this line
	Each     string         // one channel for each CHANNEL slot of this line and its like
	With     string         // only where this line stands
	Bounded  bool
	Low      float64 // base units
	High     float64
	Aside    bool // only by `as`
}

// Point is a point of a station's kind.
type Point struct {
	Name     string
	Quantity units.Quantity
	Any      bool // takes the quantity of what it stands for
	Computed bool
	From     []string // computed: measured points it is worked out from
	Bounded  bool
	Low      float64
	High     float64
}

// ElementKind is what one element of a pattern is.
type ElementKind uint8

const (
	Word     ElementKind = iota // stands for itself; also "," and ".."
	SlotOf                      // a CAPITAL
	Choice                      // (a|b)
	Optional                    // [x]
	Repeat                      // {x}
)

// Element is one element of a pattern.
type Element struct {
	Kind     ElementKind
	Text     string    // Word: the word; SlotOf: the capital word
	Of       string    // POINT: the quantity it must have
	Options  []Pattern // Choice
	Inner    Pattern   // Optional, Repeat
	Bounded  bool      // Least and Greatest hold
	Least    units.Amount
	Greatest units.Amount
	Bounds   string        // as declared: "0x48 .. 0x4b"
	Default  *units.Amount // SlotOf: holds without it
	Printed  string        // of the default
}

// Quantity is what an element asks for: a quantity slot's own; None for AMOUNT and ANY, which take any, and for words.
func (e *Element) Quantity() units.Quantity { return slotQuantity(e.Text) }

// Bare tells that the bracketed group holds words alone, so that the group itself is the slot.
func (e *Element) Bare() bool {
	for i := range e.Inner {
		if e.Inner[i].Kind != Word {
			return false
		}
	}
	return e.Kind == Optional
}

// Pattern is a declared line without its key.
type Pattern []Element

func slotQuantity(word string) units.Quantity {
	if word == "NUMBER" || word == "ADDRESS" {
		return units.Count
	}
	q, _ := units.ByName(lower(word))
	return q
}

// slots that take a single token and no quantity.
var plainSlots = map[string]bool{
	"POINT": true, "STATION": true, "CHANNEL": true, "I2C": true, "SPI": true, "GPIO": true, "IIO": true, "HWMON": true, "BUS": true, "ADDRESS": true,
	"HOST": true, "TOPIC": true, "PATH": true, "ID": true, "MAIL": true, "URL": true, "NAME": true, "PERSON": true, "CREDENTIAL": true, "TEXT": true,
	"NUMBER": true, "AMOUNT": true, "ANY": true,
}
