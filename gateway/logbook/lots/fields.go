package lots

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"millwarden/internal/units"
)

// fields of the acts: what each must have and may have. Note and when stand with every one.
var fields = map[Do]struct{ must, may string }{
	Intake:  {"lot kg cherry", "supplier plot floaters ripe moisture"},
	Load:    {"lot station", "kg moisture"},
	Empty:   {"station", "lot kg moisture"},
	Move:    {"station to", "lot kg moisture"},
	Split:   {"lot parts", ""},
	Blend:   {"lot parts", "kg moisture"},
	Weigh:   {"lot kg", "moisture"},
	Check:   {"", "lot station gritty bite meter"},
	Hull:    {"lot kg", "in moisture aw"},
	Grade:   {"lot", "screens below sample primary secondary quakers moisture aw"},
	Roast:   {"lot in kg", "station batch charge firstCrack firstCrackAt drop seconds colour"},
	Correct: {"entry", "instead"},
}

// Acts lists what can be done.
func Acts() []string {
	return []string{string(Intake), string(Load), string(Empty), string(Move), string(Split), string(Blend), string(Weigh), string(Check), string(Hull), string(Grade), string(Roast), string(Correct)}
}

// has tells which fields a step has, in the order of the form.
func (s *Step) has() []string {
	var names []string
	add := func(name string, is bool) {
		if is {
			names = append(names, name)
		}
	}
	add("lot", s.Lot != "")
	add("station", s.Station != "")
	add("to", s.To != "")
	add("kg", s.Kg != 0)
	add("in", s.In != 0)
	add("moisture", s.Moisture != 0)
	add("aw", s.Activity != 0)
	add("cherry", s.Cherry != "")
	add("supplier", s.Supplier != "")
	add("plot", s.Plot != "")
	add("floaters", s.Floaters != nil)
	add("ripe", s.Ripe != nil)
	add("parts", len(s.Parts) > 0)
	add("gritty", s.Gritty != "")
	add("bite", s.Bite != "")
	add("meter", s.Meter != "")
	add("screens", len(s.Screens) > 0)
	add("below", s.Below != 0)
	add("sample", s.Sample)
	add("primary", s.Primary != nil)
	add("secondary", s.Second != nil)
	add("quakers", s.Quakers != nil)
	add("batch", s.Batch != "")
	add("charge", s.Charge != 0)
	add("firstCrack", s.Crack != 0)
	add("firstCrackAt", s.CrackAt != 0)
	add("drop", s.Drop != 0)
	add("seconds", s.Seconds != 0)
	add("colour", s.Colour != "")
	add("entry", s.Entry != 0)
	add("instead", s.Instead != nil)
	return names
}

// missing says what to write where a field is missing.
var missing = map[string]string{
	"lot": "Say which lot, for example 143.", "kg": "Say the weight, for example kg 412.", "cherry": "Say whether the cherry is own or bought.",
	"station": "Say which station, for example tank-1.", "to": "Say to which station.", "parts": "Say which lots, each with its weight.",
	"in": "Say how much went in, for example in 12 kg.", "entry": "Say which entry was wrong, by its number.",
}

func input(format string, args ...any) error {
	return &Refusal{RefusedInput, fmt.Sprintf(format, args...)}
}

// Valid checks a step by itself, before it meets the book.
func (s *Step) Valid() error {
	f, known := fields[s.Do]
	if !known {
		return input("There is no act %q: write one of %s.", s.Do, strings.Join(Acts(), ", "))
	}
	has := s.has()
	for _, name := range strings.Fields(f.must) {
		if !slices.Contains(has, name) {
			return input("%s", missing[name])
		}
	}
	allowed := append(strings.Fields(f.must), strings.Fields(f.may)...)
	for _, name := range has {
		if !slices.Contains(allowed, name) {
			return input("%s does not go with %s: it takes %s.", name, s.Do, strings.Join(allowed, ", "))
		}
	}
	for _, check := range []func() error{s.validNumbers, s.validWords, s.validLists, s.validRest} {
		if err := check(); err != nil {
			return err
		}
	}
	return nil
}

// Bounds of what may be entered. Chosen: wider than any small mill, narrower than a slip of the finger by a thousand.
const (
	mostKg     = 200000
	mostText   = 500
	mostName   = 60
	mostParts  = 40
	hottest    = 400 // °C on a roaster's probe
	longest    = 3600
	mostCounts = 10000
)

func number[T int | Percent](p *T) float64 {
	if p == nil {
		return 0
	}
	return float64(*p)
}

func (s *Step) validNumbers() error {
	for _, n := range []struct {
		name      string
		value     float64
		low, high float64
		example   string
	}{
		{"kg", float64(s.Kg), 0, mostKg, "a weight in kg, for example 412"},
		{"in", float64(s.In), 0, mostKg, "a weight in kg, for example 12"},
		{"below", float64(s.Below), 0, mostKg, "a weight in kg, for example 1.2"},
		{"moisture", float64(s.Moisture), 0, 90, "in % of the wet weight, for example 11.2"},
		{"aw", s.Activity, 0, 1, "a water activity from 0 to 1, for example 0.58"},
		{"floaters", number(s.Floaters), 0, 100, "in % of the weight, for example 4"},
		{"ripe", number(s.Ripe), 0, 100, "in %, for example 96"},
		{"primary", number(s.Primary), 0, mostCounts, "a count, for example 2"},
		{"secondary", number(s.Second), 0, mostCounts, "a count, for example 4"},
		{"quakers", number(s.Quakers), 0, mostCounts, "a count, for example 1"},
		{"charge", s.Charge, 0, hottest, "in °C, for example 204"},
		{"firstCrack", s.Crack, 0, hottest, "in °C, for example 196"},
		{"drop", s.Drop, 0, hottest, "in °C, for example 212"},
		{"seconds", float64(s.Seconds), 0, longest, "from charge to drop in seconds, for example 780"},
		{"firstCrackAt", float64(s.CrackAt), 0, longest, "in seconds after the charge, for example 560"},
	} {
		if !(n.value >= n.low && n.value <= n.high) || math.IsInf(n.value, 0) {
			return input("%s %v cannot be: write it %s.", n.name, n.value, n.example)
		}
	}
	return nil
}

// ValidName tells whether a lot may be called so: what can be said aloud, written on a bag and typed at a shell.
func ValidName(name string) error {
	fits := name == strings.TrimSpace(name) && utf8.RuneCountInString(name) <= mostName && name != ""
	for i, r := range name {
		letter := unicode.IsLetter(r) || unicode.IsDigit(r)
		fits = fits && (letter || i > 0 && strings.ContainsRune(" -_.#/", r))
	}
	if !fits {
		return input("%q is no name of a lot: begin with a letter or digit, then also - _ . # / and spaces, up to %d, for example 143 or west-7.", name, mostName)
	}
	return nil
}

func (s *Step) validWords() error {
	names := []string{s.Lot}
	for _, p := range s.Parts {
		names = append(names, p.Lot)
	}
	for i, name := range names {
		if name == "" && i == 0 {
			continue
		}
		if err := ValidName(name); err != nil {
			return err
		}
	}
	for _, w := range []struct{ name, value, one string }{{"cherry", s.Cherry, "own bought"}, {"gritty", s.Gritty, "no partly yes"}, {"bite", s.Bite, "soft firm hard"}} {
		if w.value != "" && !slices.Contains(strings.Fields(w.one), w.value) {
			return input("%s is %s, not %q.", w.name, strings.Join(strings.Fields(w.one), ", "), w.value)
		}
	}
	for _, w := range []string{s.Note, s.Supplier, s.Plot, s.Batch, s.Colour, s.Station, s.To} {
		if utf8.RuneCountInString(w) > mostText || strings.ContainsFunc(w, func(r rune) bool { return unicode.IsControl(r) && r != '\n' }) {
			return input("%.20q is too long, or has signs that cannot be printed: write at most %d letters.", w, mostText)
		}
	}
	return nil
}

func (s *Step) validLists() error {
	if len(s.Parts) > mostParts || len(s.Screens) > mostParts {
		return input("That is more than %d parts: enter them in two steps.", mostParts)
	}
	seen := map[string]bool{s.Lot: true}
	for _, p := range s.Parts {
		if seen[p.Lot] {
			return input("%s stands there twice.", p.Lot)
		}
		seen[p.Lot] = true
		if !(p.Kg >= 0 && p.Kg <= mostKg) {
			return input("%v kg of %s cannot be: write a weight in kg, for example 200.", p.Kg, p.Lot)
		}
	}
	if s.Do == Blend && len(s.Parts) < 2 {
		return input("A blend is of two lots or more.")
	}
	screens := map[int]bool{}
	for _, sc := range s.Screens {
		if sc.Number < 8 || sc.Number > 22 || screens[sc.Number] {
			return input("Screen %d cannot be, or stands there twice: screens go from 8 to 22, in 64ths of an inch.", sc.Number)
		}
		if !(sc.Kg >= 0 && sc.Kg <= mostKg) {
			return input("%v kg on screen %d cannot be.", sc.Kg, sc.Number)
		}
		screens[sc.Number] = true
	}
	return nil
}

// meters are what hand meters show, with what they can show.
var meters = []struct {
	of        units.Quantity
	low, high float64
}{{units.Moisture, 0, 90}, {units.WaterActivity, 0, 1}, {units.PH, 0, 14}, {units.Temperature, -20, 120}, {units.Humidity, 0, 100}}

// MeterOf reads what a hand meter shows.
func MeterOf(text string) (units.Amount, error) {
	_, plain := units.ParseNumber(strings.TrimSpace(text)) // nil: a number alone could be anything
	for _, m := range meters {
		if a, err := units.Parse(text, m.of); err == nil && plain != nil {
			if a.Value < m.low || a.Value > m.high {
				return a, input("No meter shows %s.", text)
			}
			return a, nil
		}
	}
	return units.Amount{}, input("%q is no reading of a hand meter: write it with its unit, for example 11.8 %%wb, 0.58 aw, 4.5 pH or 23 °C.", text)
}

func (s *Step) validRest() error {
	switch {
	case s.Do == Intake && s.Cherry == "bought" && s.Supplier == "":
		return input("Bought cherry has a supplier: say their code.")
	case s.Do == Intake && s.Cherry == "own" && s.Supplier != "":
		return input("Own cherry has no supplier; is it bought?")
	case s.Do == Check && s.Lot == "" && s.Station == "":
		return input("Say which lot or station was checked.")
	case s.Do == Check && s.Gritty == "" && s.Bite == "" && s.Meter == "" && s.Note == "":
		return input("Say what was found: gritty, bite, a meter, or a note.")
	case s.Do == Grade && len(s.Screens) == 0 && s.Primary == nil && s.Second == nil && s.Quakers == nil && s.Moisture == 0 && s.Activity == 0 && s.Note == "":
		return input("Say what was found: screens, defects, moisture, or a note.")
	case s.Do == Move && s.Station == s.To:
		return input("It stands in %s already.", s.To)
	case s.CrackAt > 0 && s.Seconds > 0 && s.CrackAt >= s.Seconds:
		return input("First crack comes before the drop.")
	case s.Do == Correct && s.Instead != nil && s.Instead.Do == Correct:
		return input("A correction is corrected by pointing at the first entry again.")
	case s.Meter != "":
		_, err := MeterOf(s.Meter)
		return err
	case s.Instead != nil:
		return s.Instead.Valid()
	}
	return nil
}

// earliest is before any coffee that a gateway could have seen.
var earliest = time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)

// validTime checks when it was done against when it is entered.
func (s *Step) validTime(entered time.Time, set bool) error {
	if s.When == 0 {
		return nil
	}
	at := time.UnixMilli(s.When)
	switch {
	case !set:
		return input("The board's clock is not set: a time cannot be given now.")
	case at.After(entered.Add(time.Minute)):
		return input("That time has not come yet.")
	case at.Before(earliest):
		return input("That is too long ago.")
	}
	return nil
}
