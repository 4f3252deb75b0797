// Package lots is what people do to coffee, from the cherry at the scale to the roasted batch, and the book of lots that follows from it. A Step is one
// act as it was entered; the Book is the fold over all steps in the order of the record, and nothing besides: the same steps give the same lots. What cannot
// be is refused in words for the person who entered it: a lot in two tanks, a weight that grew, coffee roasted before it was hulled.
//
// A correction is a step of its own that points to the entry it corrects; the book is then folded anew with the corrected step in the old one's place,
// and refused if a later step would no longer hold. Nothing is overwritten.
//
// It is pure: it knows neither files nor clocks nor the rules file.
//
// Concurrency: a Book is for one goroutine at a time; steps are values.
package lots

import (
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/reading"
)

// Do is what is done.
type Do string

// What can be done to a lot.
const (
	Intake  Do = "intake"  // cherry, own or bought, comes over the scale
	Load    Do = "load"    // a stay begins
	Empty   Do = "empty"   // a stay ends
	Move    Do = "move"    // from one station to another
	Split   Do = "split"   // parts become lots of their own
	Blend   Do = "blend"   // lots, or parts of them, become one
	Weigh   Do = "weigh"   // a weight, a moisture
	Check   Do = "check"   // by hand: gritty, bite, a meter, a note
	Hull    Do = "hull"    // parchment becomes green
	Grade   Do = "grade"   // screens and defects of green
	Roast   Do = "roast"   // a batch
	Correct Do = "correct" // another entry was wrong
)

// Kilograms is a weight; 0: not weighed.
type Kilograms float64

// Percent is a part of a hundred by weight.
type Percent float64

// Form is what the coffee is.
type Form string

// Forms, in the order in which coffee goes through them. "" is not known: the lot was never taken in.
const (
	Cherry       Form = "cherry"
	Pulped       Form = "pulped" // with its mucilage
	WetParchment Form = "wet parchment"
	Parchment    Form = "parchment" // came off deck or dryer
	DriedCherry  Form = "dried cherry"
	Green        Form = "green"
	Roasted      Form = "roasted"
)

// Part is so much of a lot; 0 kg is all of it, or what is left.
type Part struct {
	Lot string    `json:"lot"`
	Kg  Kilograms `json:"kg,omitempty"`
}

// Screen is what stayed on one screen, numbered in 64ths of an inch.
type Screen struct {
	Number int       `json:"screen"`
	Kg     Kilograms `json:"kg"`
}

// Step is one act on a lot as it is entered and as it stands in the record. Which fields an act has, and what they may hold, is the table in fields.go.
type Step struct {
	Do      Do        `json:"act"`
	Lot     string    `json:"lot,omitempty"`
	Station string    `json:"station,omitempty"` // load, empty, move from, check, roast
	Kind    string    `json:"kind,omitempty"`    // of the station, as the rules file had it
	To      string    `json:"to,omitempty"`      // move
	ToKind  string    `json:"toKind,omitempty"`
	When    int64     `json:"when,omitempty"` // Unix milliseconds, where it was done earlier than entered
	Kg      Kilograms `json:"kg,omitempty"`   // what is there; hull and roast: what came out
	In      Kilograms `json:"in,omitempty"`   // hull, roast: what went in

	Moisture coffee.WetBasis `json:"moisture,omitempty"` // %wb
	Activity float64         `json:"aw,omitempty"`       // water activity, 0 to 1

	Cherry   string   `json:"cherry,omitempty"`   // intake: own, bought
	Supplier string   `json:"supplier,omitempty"` // intake: code of who sold it
	Plot     string   `json:"plot,omitempty"`     // intake: where it was picked, or by whom
	Floaters *Percent `json:"floaters,omitempty"` // a pointer where 0 says something
	Ripe     *Percent `json:"ripe,omitempty"`

	Parts []Part `json:"parts,omitempty"` // split into, blend of

	Gritty string `json:"gritty,omitempty"` // check: no, partly, yes
	Bite   string `json:"bite,omitempty"`   // check: soft, firm, hard
	Meter  string `json:"meter,omitempty"`  // check: what a hand meter shows, with its unit: "11.8 %wb", "4.5 pH"

	Screens []Screen  `json:"screens,omitempty"`
	Below   Kilograms `json:"below,omitempty"`   // grade: what fell through all screens
	Sample  bool      `json:"sample,omitempty"`  // grade: the weights are of a sample
	Primary *int      `json:"primary,omitempty"` // full defects of the first kind
	Second  *int      `json:"secondary,omitempty"`
	Quakers *int      `json:"quakers,omitempty"`
	Batch   string    `json:"batch,omitempty"`
	Charge  float64   `json:"charge,omitempty"`     // roast, °C on the roaster's own probe
	Crack   float64   `json:"firstCrack,omitempty"` // °C
	CrackAt int       `json:"firstCrackAt,omitempty"`
	Drop    float64   `json:"drop,omitempty"`    // °C
	Seconds int       `json:"seconds,omitempty"` // roast: charge to drop
	Colour  string    `json:"colour,omitempty"`
	Entry   int64     `json:"entry,omitempty"`   // correct: the entry that was wrong
	Instead *Step     `json:"instead,omitempty"` // correct: what it should have been; nil: it never was
	Note    string    `json:"note,omitempty"`
	Stay    int64     `json:"stay,omitempty"` // of records written before there was a book
}

// Entry is a step with its place in the record.
type Entry struct {
	ID   int64
	At   reading.Stamp // when it was entered
	Who  string
	Step Step
}

// when is the time at which it was done.
func (e *Entry) when() reading.Stamp {
	if e.Step.When == 0 {
		return e.At
	}
	wall := time.UnixMilli(e.Step.When).UTC()
	at := e.At
	at.Mono += wall.Sub(at.Wall)
	at.Wall = wall
	return at
}

// Refusal says why a step cannot be, in words for the person who entered it.
type Refusal struct {
	Kind string // RefusedInput, RefusedState, RefusedUnknown
	Says string
}

// Kinds of refusal; those of the page.
const (
	RefusedInput   = "input"
	RefusedState   = "state"
	RefusedUnknown = "unknown"
)

func (r *Refusal) Error() string { return r.Says }
