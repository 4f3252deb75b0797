package web

import (
	"cmp"
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// The frame is the form in which the page gets what stands. All times in it are milliseconds of the gateway's monotonic clock, so that an
// age stays right while the wall clock is unset or set anew; wall-clock times follow from now and wall. 0 is never.
type frame struct {
	Seq      uint64           `json:"seq"`
	Now      int64            `json:"now"`
	Wall     int64            `json:"wall"`               // Unix milliseconds at Now
	Set      bool             `json:"set"`                // the wall clock is right
	Stopping bool             `json:"stopping,omitempty"` // the gateway was told to stop
	Plan     *wirePlan        `json:"plan,omitempty"`
	Stations []wireStation    `json:"stations,omitzero"` // of a site without any: an empty list, not none
	Values   map[string]value `json:"values,omitzero"`
	Alarms   *[]wireAlarm     `json:"alarms,omitempty"`
	Prompts  *[]wirePrompt    `json:"prompts,omitempty"`
	Roster   *wireRoster      `json:"roster,omitempty"`
	Links    *[]wireLink      `json:"links,omitempty"`
}

// wirePlan changes only with the rules.
type wirePlan struct {
	Site     wireSite     `json:"site"`
	Areas    []wirePlace  `json:"areas"`
	Points   []wirePoint  `json:"points"`
	People   []wirePerson `json:"people"`
	Language string       `json:"language"` // of all texts of the frame
	Demo     string       `json:"demo,omitempty"`
	Speed    float64      `json:"speed"`
	Version  string       `json:"version"`
	Warnings int          `json:"warnings"`
}

type wireSite struct {
	Name     string   `json:"name"`
	Title    string   `json:"title"`
	Zone     string   `json:"zone"`
	Board    string   `json:"board"`
	Language string   `json:"language"`
	Rules    string   `json:"rules"`
	Offsets  []offset `json:"offsets,omitempty"`
}

type wirePlace struct {
	Name  string `json:"name"`
	Title string `json:"title"`
}

type wirePerson struct {
	Name   string `json:"name"`
	Title  string `json:"title"`
	Rights string `json:"rights"`
}

type wireStation struct {
	Name      string `json:"name"`
	Title     string `json:"title"`
	Kind      string `json:"kind"`
	Area      string `json:"area"`
	Loaded    bool   `json:"loaded"`
	Lot       string `json:"lot,omitempty"`
	Since     int64  `json:"since,omitempty"`
	Kilograms number `json:"kg,omitempty"`
}

type wirePoint struct {
	Name     string `json:"name"`
	Station  string `json:"station"`
	Title    string `json:"title"`
	Quantity string `json:"quantity"`
	Unit     string `json:"unit"`
	Computed bool   `json:"computed,omitempty"`
	ByHand   bool   `json:"byHand,omitempty"`
	Leading  bool   `json:"leading,omitempty"`
	// Corrected is in the unit shown: what the probe gave is (reading - offset) / slope + zero.
	Corrected *wireCorrection `json:"corrected,omitempty"`
	Range     *wireBand       `json:"range,omitempty"`
	Normal    *wireBand       `json:"normal,omitempty"`
	Limits    []wireLimit     `json:"limits,omitempty"`
}

type wireCorrection struct {
	Offset number `json:"offset"`
	Slope  number `json:"slope"`
	Zero   number `json:"zero"`
}

type wireBand struct {
	Low  number `json:"low"`
	High number `json:"high"`
}

type wireLimit struct {
	Value    number `json:"value"`
	Text     string `json:"text"`
	Above    bool   `json:"above"`
	Alarm    string `json:"alarm"`
	Title    string `json:"title"`
	Priority string `json:"priority"`
	Critical bool   `json:"critical,omitempty"`
}

// value is the reading that stands at a point.
type value struct {
	Text    string `json:"text"` // printed number without unit; "" where nothing is known
	Number  number `json:"number"`
	Quality string `json:"quality"`
	Cause   string `json:"cause,omitempty"`
	At      int64  `json:"at,omitempty"`    // of the newest reading
	Known   int64  `json:"known,omitempty"` // when it was last known
}

type wireAlarm struct {
	ID             string      `json:"id"`
	Title          string      `json:"title"`
	Place          string      `json:"place"`
	PlaceTitle     string      `json:"placeTitle"`
	Station        string      `json:"station"`
	Area           string      `json:"area"`
	Priority       string      `json:"priority"`
	Class          string      `json:"class"`
	State          string      `json:"state"`
	Active         bool        `json:"active"`
	Held           bool        `json:"held"`
	CannotSee      bool        `json:"cannotSee"`
	Occurrence     int64       `json:"occurrence"`
	Since          int64       `json:"since,omitempty"`
	Cause          string      `json:"cause"`
	Consequence    string      `json:"consequence"`
	Action         string      `json:"action"`
	Caution        string      `json:"caution"`
	RespondWithin  int64       `json:"respondWithin"` // milliseconds, as all lengths of time
	Latching       bool        `json:"latching"`
	Shelvable      int64       `json:"shelvable"`
	Because        string      `json:"because"`
	Values         []wireShown `json:"values"`
	Count          int         `json:"count"`
	AcknowledgedBy string      `json:"acknowledgedBy"`
	AcknowledgedAt int64       `json:"acknowledgedAt,omitempty"`
	HiddenBy       string      `json:"hiddenBy"`
	HiddenWhy      string      `json:"hiddenWhy"`
	ShelfEnds      int64       `json:"shelfEnds,omitempty"`
	Calls          []wireCall  `json:"calls"`
	Next           []wireCall  `json:"next"`
}

type wireShown struct {
	Point string `json:"point"`
	Title string `json:"title"`
	Text  string `json:"text"` // printed number
	Unit  string `json:"unit"`
	Limit string `json:"limit,omitempty"` // printed number
}

type wireCall struct {
	Person  string `json:"person"`
	Channel string `json:"channel"`
	At      int64  `json:"at"`
	Fault   string `json:"fault,omitempty"`
}

type wirePrompt struct {
	ID         string `json:"id"`
	Title      string `json:"title"`
	PlaceTitle string `json:"placeTitle"`
	Station    string `json:"station"`
	Say        string `json:"say"`
	Due        int64  `json:"due,omitempty"`
	Early      int64  `json:"early,omitempty"`
	Late       int64  `json:"late,omitempty"`
	Detail     string `json:"detail"`
	Since      int64  `json:"since,omitempty"`
}

type wireRoster struct {
	Watches []string `json:"watches"`
	OnWatch []string `json:"onWatch"`
	Until   int64    `json:"until,omitempty"`
	Drill   int64    `json:"drill,omitempty"`
	DrillBy string   `json:"drillBy,omitempty"`
}

type wireLink struct {
	Kind    string `json:"kind"`
	Name    string `json:"name"`
	Title   string `json:"title"`
	Set     bool   `json:"set"`
	Works   bool   `json:"works"`
	Cause   string `json:"cause,omitempty"`
	Since   int64  `json:"since,omitempty"`
	Waiting int64  `json:"waiting"`
	Step    int64  `json:"step,omitempty"` // ms
}

// number is null where it is not one.
type number float64

func (n number) MarshalJSON() ([]byte, error) {
	if f := float64(n); !math.IsNaN(f) && !math.IsInf(f, 0) {
		const steps = 1e4                                                              // chosen: finer than any printed value and than a pixel of any bar
		return strconv.AppendFloat(nil, math.Round(f*steps)/steps+0, 'f', -1, 64), nil // + 0: never "-0"
	}
	return []byte("null"), nil
}

// printer turns stamps and amounts of one snapshot into what is sent.
type printer struct {
	now    reading.Stamp
	choice units.Choice
}

// at is the stamp on the monotonic clock of this boot, in milliseconds; a stamp of an earlier boot is placed by the wall clock, and is 0
// where that is not possible.
func (p printer) at(s reading.Stamp) int64 {
	switch {
	case s == (reading.Stamp{}):
		return 0
	case s.Boot == p.now.Boot:
		return never0(s.Mono.Milliseconds())
	case s.Set && p.now.Set:
		return never0((p.now.Mono - p.now.Wall.Sub(s.Wall)).Milliseconds())
	}
	return 0
}

func never0(ms int64) int64 {
	if ms == 0 {
		return 1
	}
	return ms
}

func (p printer) in(d time.Duration) int64 { return never0((p.now.Mono + d).Milliseconds()) }

// unit is printed beside the number. A duration and a state carry theirs in the text.
func (p printer) unit(q units.Quantity) string {
	switch q {
	case units.Duration, units.State, units.YesNo, units.Count, units.None:
		return ""
	}
	return p.choice.Unit(q).Printed
}

func (p printer) text(v float64, q units.Quantity) string {
	switch {
	case math.IsNaN(v):
		return ""
	case q == units.Duration, q == units.State, q == units.YesNo:
		return p.choice.Print(v, q)
	}
	return p.choice.Number(v, q)
}

func (p printer) number(v float64, q units.Quantity) number {
	return number(p.choice.Unit(q).FromBase(v))
}

func (p printer) band(b Band, q units.Quantity) *wireBand {
	if !(b.Low < b.High) {
		return nil
	}
	return &wireBand{p.number(b.Low, q), p.number(b.High, q)}
}

// formulas are names of quantities that the rules file writes in small letters, as it writes all names.
var formulas = map[string]string{"ph": "pH", "co": "CO", "co2": "CO2"}

// titled writes such names as people do: "pH slope".
func titled(title string) string {
	words := strings.Split(title, " ")
	for i, w := range words {
		words[i] = cmp.Or(formulas[w], w)
	}
	return strings.Join(words, " ")
}

func (p printer) point(pt *Point) wirePoint {
	w := wirePoint{Name: pt.Name, Station: pt.Station, Title: titled(pt.Title), Quantity: pt.Quantity.Name(), Unit: p.unit(pt.Quantity),
		Computed: pt.Computed, ByHand: pt.ByHand, Leading: pt.Leading, Range: p.band(pt.Range, pt.Quantity), Normal: p.band(pt.Normal, pt.Quantity)}
	if pt.Corrected.Slope != 0 {
		w.Corrected = &wireCorrection{p.number(pt.Corrected.Offset, pt.Quantity), number(pt.Corrected.Slope), p.number(0, pt.Quantity)}
	}
	for _, l := range pt.Limits {
		w.Limits = append(w.Limits, wireLimit{Value: p.number(l.Value, pt.Quantity), Text: p.choice.Print(l.Value, pt.Quantity), Above: l.Above,
			Alarm: l.Alarm, Title: titled(l.Title), Priority: l.Priority.String(), Critical: l.Critical})
	}
	return w
}

func (p printer) value(pt *Point) value {
	r := &pt.Reading
	v := value{Quality: r.Quality.String(), Cause: r.Cause, At: p.at(r.Stamp), Known: p.at(pt.Known), Number: number(math.NaN())}
	if r.Stamp == (reading.Stamp{}) {
		v.Quality = reading.Bad.String()
		v.Cause = cmp.Or(v.Cause, "not yet read")
	}
	if v.Quality != reading.Bad.String() {
		v.Text, v.Number = p.text(r.Value, pt.Quantity), p.number(r.Value, pt.Quantity)
	}
	return v
}

// same tells whether two values print alike; NaN equals itself here.
func (v value) same(o value) bool {
	if math.IsNaN(float64(v.Number)) && math.IsNaN(float64(o.Number)) {
		v.Number, o.Number = 0, 0
	}
	return v == o
}

func (p printer) calls(cs []Call) []wireCall {
	out := make([]wireCall, 0, len(cs))
	for _, c := range cs {
		out = append(out, wireCall{c.Person, c.Channel, p.at(c.At), c.Fault})
	}
	return out
}

func (p printer) alarm(a *Alarm) wireAlarm {
	w := wireAlarm{ID: a.ID, Title: titled(a.Title), Place: a.Place, PlaceTitle: titled(a.PlaceTitle), Station: a.Station, Area: a.Area,
		Priority: a.Priority.String(), Class: a.Class.String(), State: a.State, Active: a.Active, Held: a.Held, CannotSee: a.CannotSee,
		Occurrence: a.Occurrence, Since: p.at(a.Since), Cause: a.Cause, Consequence: a.Consequence, Action: a.Action, Caution: a.Caution,
		RespondWithin: a.RespondWithin.Milliseconds(), Latching: a.Latching, Shelvable: a.Shelvable.Milliseconds(), Because: a.Because,
		Values: make([]wireShown, 0, len(a.Values)), Count: a.Count, AcknowledgedBy: a.AcknowledgedBy, AcknowledgedAt: p.at(a.AcknowledgedAt),
		HiddenBy: a.HiddenBy, HiddenWhy: a.HiddenWhy, ShelfEnds: p.at(a.ShelfEnds), Calls: p.calls(a.Calls), Next: p.calls(a.Next)}
	for _, s := range a.Values {
		shown := wireShown{Point: s.Point, Title: titled(s.Title), Text: p.text(s.Value, s.Quantity), Unit: p.unit(s.Quantity)}
		if s.HasLimit {
			shown.Limit = p.text(s.Limit, s.Quantity)
		}
		w.Values = append(w.Values, shown)
	}
	return w
}

func (p printer) prompt(a *Prompt) wirePrompt {
	w := wirePrompt{ID: a.ID, Title: titled(a.Title), PlaceTitle: titled(a.PlaceTitle), Station: a.Station, Say: a.Say, Detail: a.Detail, Since: p.at(a.Since)}
	if a.Due {
		// To the minute: a forecast that moves by milliseconds each second is the same forecast.
		w.Due = p.in(a.In) / 60000 * 60000
		if a.Late > a.Early {
			w.Early, w.Late = p.in(a.Early)/60000*60000, p.in(a.Late)/60000*60000
		}
	}
	return w
}

// encode panics only where a type above could not be encoded at all, which a test would have shown.
func encode(v any) json.RawMessage {
	b, err := json.Marshal(v)
	if err != nil {
		panic("web: encoding a frame: " + err.Error())
	}
	return b
}
