package web

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"time"

	"millwarden/gateway/logbook/lots"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/engine"
)

// fake is an invented estate that stands still unless a test moves it: it is Model, Acts, Answers, History, Books and Health at once.
type fake struct {
	mu       sync.Mutex // guards all below
	snapshot Snapshot
	acts     []Act
	refusal  error
	stands   string        // name of a worker that stands still
	block    chan struct{} // while not nil, Snapshot waits until it is closed
	asked    int
	// bookFault is what reading the books fails with.
	bookFault error
	book      *lots.Book
	// telephones are the subscriptions to push messages, in order.
	telephones []string
}

func (f *fake) Enter(_ context.Context, e Entering) (Entered, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.refusal != nil {
		return Entered{}, f.refusal
	}
	return f.enter(e)
}

func (f *fake) enter(e Entering) (Entered, error) {
	entry := lots.Entry{ID: f.book.Last() + 1, At: f.snapshot.Now, Who: e.By, Step: e.Step}
	look, err := f.book.Try(entry)
	var r *lots.Refusal
	if errors.As(err, &r) {
		return Entered{}, &Refusal{r.Kind, r.Says}
	}
	f.book.Add(entry)
	return Entered{Entry: entry.ID, Text: e.Step.Text(), Look: look}, err
}

func (f *fake) Lots() []lots.Line {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.book.Lines()
}

func (f *fake) Lot(name string) (lots.Shown, bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.book.Show(name)
}

func (f *fake) Record(_ context.Context, lot, form string, _ Reader) (Document, error) {
	if _, ok := f.Lot(lot); !ok {
		return Document{}, &Refusal{RefusedUnknown, "There is no lot of that name."}
	}
	if form == FormCSV {
		return Document{Body: []byte("part,time\r\n")}, nil
	}
	return Document{Body: []byte("<!doctype html><style>p { margin: 0 }</style>"), Style: "p { margin: 0 }"}, nil
}

func (f *fake) Season(_ context.Context, from, to time.Time, form string) (Document, error) {
	if form == FormCSV {
		return Document{Body: []byte("part,lot\r\n")}, nil
	}
	return Document{Body: fmt.Appendf(nil, `{"from":%d,"to":%d,"waits":[{"lot":"143","station":"tank-1","kind":"tank","from":1,"to":9,"ready":8,"warmth":23.1,"end":null,
		"forecasts":[{"part":50,"made":4,"ready":7,"early":5,"late":9,"off":-1,"held":true}]}],"lots":[{"lot":"143","began":1,"yield":{"usual":false},"alarms":1,"danger":60000,
		"worst":[{"alarm":"over-fermented@tank-1","long":60000}]}],"wash":{"forecasts":1,"median":1,"worst":1,"held":1},"dry":{"forecasts":0,"median":0,"worst":0,"held":0},"learned":[{"stations":["tank-1"],"tanks":3,"usual":54000000,"ready":50400000,"early":48000000,"late":53000000,"reference":23}],"dried":[{"stations":["dryer-1"],"layers":3,"target":11,"took":112000000,"early":98000000,"late":128000000}]}`, from.UnixMilli(), to.UnixMilli())}, nil
}

// withLots enters a lot from the cherry to the roaster, every field used once.
func (f *fake) withLots() {
	none, some, ripe := 0, 3, lots.Percent(96)
	f.book = lots.New(nil)
	for _, s := range []lots.Step{
		{Do: lots.Intake, Lot: "143", Kg: 550, Cherry: "bought", Supplier: "n-12", Plot: "west", Ripe: &ripe},
		{Do: lots.Load, Lot: "143", Station: "tank-1", Kind: "tank", Note: "late"},
		{Do: lots.Check, Station: "tank-1", Gritty: "yes", Bite: "soft", Meter: "4.5 pH"},
		{Do: lots.Move, Station: "tank-1", Kind: "tank", To: "deck-a", ToKind: "deck", Kg: 220, Moisture: 54},
		{Do: lots.Empty, Station: "deck-a", Kg: 120, Moisture: 11.2},
		{Do: lots.Split, Lot: "143", Parts: []lots.Part{{Lot: "143-a", Kg: 100}, {Lot: "143-b"}}},
		{Do: lots.Hull, Lot: "143-a", In: 100, Kg: 83, Moisture: 11, Activity: 0.55},
		{Do: lots.Grade, Lot: "143-a", Screens: []lots.Screen{{Number: 16, Kg: 60}}, Below: 20, Primary: &none, Second: &some},
		{Do: lots.Roast, Lot: "143-a", In: 12, Kg: 10.2, Charge: 204, Crack: 197, CrackAt: 560, Drop: 212, Seconds: 760, Colour: "medium"},
		{Do: lots.Load, Lot: "143-a", Station: "bin-2", Kind: "bin"},
		{Do: lots.Correct, Entry: 4, Note: "misread", Instead: &lots.Step{Do: lots.Move, Station: "tank-1", Kind: "tank", To: "deck-a", ToKind: "deck", Kg: 221, Moisture: 54}},
		{Do: lots.Correct, Entry: 3},
	} {
		if _, err := f.enter(Entering{"ana", s}); err != nil {
			panic(err)
		}
	}
}

func (f *fake) Snapshot(s *Snapshot) {
	f.mu.Lock()
	block := f.block
	f.mu.Unlock()
	if block != nil {
		<-block
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.asked++
	*s = f.snapshot
	s.Points = append([]Point(nil), f.snapshot.Points...)
	s.Alarms = append([]Alarm(nil), f.snapshot.Alarms...)
}

// change moves the estate.
func (f *fake) change(do func(s *Snapshot)) {
	f.mu.Lock()
	defer f.mu.Unlock()
	do(&f.snapshot)
}

// pass lets time pass for clock and readings.
func (f *fake) pass(d time.Duration) {
	f.change(func(s *Snapshot) {
		s.Now.Mono += d
		s.Now.Wall = s.Now.Wall.Add(d)
	})
}

func (f *fake) Act(_ context.Context, a Act) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.refusal != nil {
		return f.refusal
	}
	f.acts = append(f.acts, a)
	for i := range f.snapshot.Alarms {
		if al := &f.snapshot.Alarms[i]; a.Do == DoAcknowledge && al.ID == a.Alarm && al.Occurrence == a.Occurrence {
			al.State, al.AcknowledgedBy, al.AcknowledgedAt = "acknowledged", "Ana", f.snapshot.Now
		}
	}
	return nil
}

func (f *fake) done() []Act {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]Act(nil), f.acts...)
}

func (f *fake) Answer(token string) (Answer, bool) {
	switch token {
	case "tank1-ana":
		return Answer{Alarm: "over-fermented@tank-1", Occurrence: 7, Person: "ana", Title: "Tank 1: over-fermented"}, true
	case "drill-ana":
		return Answer{Alarm: "drill", Occurrence: 90001, Person: "ana", Title: "EXERCISE", Drill: true}, true
	case "old":
		return Answer{Alarm: "over-fermented@tank-1", Occurrence: 6, Person: "ana", Title: "Tank 1: over-fermented", Expired: true}, true
	}
	return Answer{}, false
}

func (f *fake) PushKey() string { return "BAAA" }

func (f *fake) PushSubscribe(person string, t Telephone) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.telephones = append(f.telephones, fmt.Sprintf("%s %s forget %v", person, t.Endpoint, t.Forget))
	return f.refusal
}

func (f *fake) Workers() []Worker {
	f.mu.Lock()
	defer f.mu.Unlock()
	all := []Worker{{Name: "engine", Beat: 200 * time.Millisecond}, {Name: "bus i2c-1", Beat: time.Second}}
	for i := range all {
		if all[i].Name == f.stands {
			all[i].Stands, all[i].Beat, all[i].Because = true, time.Minute, "no beat for 1 min"
		}
	}
	return all
}

// Curve falls and rises smoothly, is uncertain for an hour, and knows nothing for another.
func (f *fake) Curve(_ context.Context, point string, from, to time.Time, n int) ([]Column, error) {
	f.mu.Lock()
	var standing float64
	var known time.Time
	for _, p := range f.snapshot.Points {
		if p.Name == point {
			standing, known = p.Reading.Value, p.Known.Wall
		}
	}
	now := f.snapshot.Now.Wall
	f.mu.Unlock()
	if math.IsNaN(standing) {
		standing = 11
	}
	step := to.Sub(from) / time.Duration(n)
	var out []Column
	for at := from; at.Before(to) && at.Before(known); at = at.Add(step) {
		ago := now.Sub(at).Hours()
		v := standing * (1 + float64(len(point)%5-1)*0.04*(1-math.Exp(-ago/5)) + 0.003*math.Sin(now.Sub(at).Minutes()/(7+float64(len(point)))))
		c := Column{From: at, To: at.Add(step), Low: v * 0.997, High: v * 1.003, Last: v, Readings: 3}
		switch {
		case ago > 4 && ago < 5:
			c.Uncertain, c.Cause = true, "bridge cold"
		case ago > 6.5 && ago < 7.3:
			c.Bad, c.Cause = true, "no answer"
		}
		out = append(out, c)
	}
	return out, nil
}

const fakeMono = 31 * time.Hour

var (
	fakeZone = time.FixedZone("-05", -5*3600) // America/Lima has no summer time
	fakeWall = time.Date(2026, 11, 25, 2, 17, 20, 0, fakeZone)
)

func fakeStamp(ago time.Duration) reading.Stamp {
	return reading.Stamp{Wall: fakeWall.Add(-ago).UTC(), Mono: fakeMono - ago, Boot: 3, Set: true}
}

func good(name string, q units.Quantity, v float64, ago time.Duration) reading.Reading {
	return reading.Reading{Point: name, Quantity: q, Value: v, Stamp: fakeStamp(ago)}
}

// newFake is a night on the invented estate with nothing wrong but one silent probe.
func newFake() *fake {
	f := &fake{}
	s := &f.snapshot
	s.Now = fakeStamp(0)
	f.withLots()
	s.Site = Site{Name: "fern-hollow", Title: "Fern Hollow", Zone: "America/Lima", Board: "mill", Language: "en", RulesHash: "9f2c41d07be3aa10"}
	s.Areas = []Place{{"wet-mill", "wet mill"}, {"deck", "deck"}, {"store", "store"}, {"roastery", "roastery"}}
	s.People = []Person{{"ana", "Ana", "owner"}, {"ben", "Ben", "crew"}, {"caro", "Caro", "technician"}, {"vera", "Vera", "auditor"}}
	s.Roster = Roster{Watches: []string{"night"}, OnWatch: []string{"Ana"}, Until: fakeStamp(-6 * time.Hour)}
	s.Drill = Drill{At: fakeStamp(8*time.Hour + 15*time.Minute), By: "Ana"}
	s.Links = []Link{{Kind: "broker", Name: "broker", Title: "Broker", Set: true, Works: true},
		{Kind: "store", Name: "store", Title: "Store", Set: true, Works: true},
		{Kind: "channel", Name: "text", Title: "text", Set: true, Works: true}, {Kind: "watcher", Name: "outside-watcher", Title: "Outside watcher"}}
	// Out of the coffee's order, to see the page sort it.
	s.Stations = []Station{
		{Name: "roaster-1", Title: "roaster", Kind: "roaster", Area: "roastery"},
		{Name: "tank-1", Title: "tank 1", Kind: "tank", Area: "wet-mill", Loaded: true, Lot: "142", Since: fakeStamp(17*time.Hour + 40*time.Minute)},
		{Name: "tank-2", Title: "tank 2", Kind: "tank", Area: "wet-mill", Loaded: true, Lot: "143", Since: fakeStamp(9*time.Hour + 57*time.Minute), Kilograms: 412},
		{Name: "bin-1", Title: "bin 1", Kind: "bin", Area: "store", Loaded: true, Lot: "131", Since: fakeStamp(21 * 24 * time.Hour)},
		{Name: "bin-2", Title: "bin 2", Kind: "bin", Area: "store", Loaded: true, Lot: "128", Since: fakeStamp(33 * 24 * time.Hour)},
		{Name: "bin-3", Title: "bin 3", Kind: "bin", Area: "store", Loaded: true, Lot: "135", Since: fakeStamp(9 * 24 * time.Hour)},
		{Name: "deck-a", Title: "deck A", Kind: "deck", Area: "deck", Loaded: true, Lot: "140", Since: fakeStamp(50 * time.Hour)},
		{Name: "dryer-1", Title: "dryer 1", Kind: "dryer", Area: "deck", Loaded: true, Lot: "139", Since: fakeStamp(26 * time.Hour)},
		{Name: "roasted", Title: "roasted store", Kind: "store", Area: "roastery"},
		{Name: "outside", Title: "yard", Kind: "yard"},
	}
	f.points()
	s.Prompts = []Prompt{
		{ID: "wash-soon@tank-2", Title: "wash soon", PlaceTitle: "tank 2", Station: "tank-2", Say: "wash", Due: true, In: 83 * time.Minute,
			Early: 53 * time.Minute, Late: 118 * time.Minute, Detail: "pH 4.92, falling 0.11 an hour"},
		{ID: "uncover@deck-a", Title: "uncover", PlaceTitle: "deck A", Station: "deck-a", Say: "uncover", Due: true, In: 3*time.Hour + 33*time.Minute,
			Detail: "dew gone by then · 23.4 %wb, to 11 % by Saturday evening"},
		{ID: "smell@bin-3", Title: "look and smell", PlaceTitle: "bin 3", Station: "bin-3", Say: "look and smell", Due: true, In: 5*time.Hour + 43*time.Minute,
			Detail: "3.2 K warmer than its neighbours since 21:00"},
		{ID: "free@deck-a", Title: "free for tank 2", PlaceTitle: "deck A", Station: "deck-a", Say: "free for tank 2", Due: true, In: 37 * time.Hour,
			Detail: "tank 2 waits 5 h unless the dryer helps"},
	}
	return f
}

func (f *fake) points() {
	ph := func(tank string, v float64, at time.Duration) Point {
		return Point{Name: tank + "/ph", Station: tank, Title: "pH", Quantity: units.PH, Leading: true, Range: Band{3.5, 6.0}, Normal: Band{4.5, 5.8},
			Limits:  []Limit{{Value: 4.1, Alarm: "over-fermented@" + tank, Title: "over-fermented", Priority: engine.High}},
			Reading: good(tank+"/ph", units.PH, v, at), Known: fakeStamp(at)}
	}
	warm := func(station, point, title string, v, low, high float64, normal Band, limit float64, leading bool) Point {
		p := Point{Name: station + "/" + point, Station: station, Title: title, Quantity: units.Temperature, Leading: leading, Range: Band{low, high}, Normal: normal,
			Reading: good(station+"/"+point, units.Temperature, v, 3*time.Second), Known: fakeStamp(3 * time.Second)}
		if limit > 0 {
			p.Limits = []Limit{{Value: limit, Above: true, Alarm: point + "-high@" + station, Title: "too hot", Priority: engine.High}}
		}
		return p
	}
	wet := func(station string, v float64, normal Band, limit float64) Point {
		return Point{Name: station + "/moisture", Station: station, Title: "moisture", Quantity: units.Moisture, Leading: true, Range: Band{8, 16}, Normal: normal,
			Limits:  []Limit{{Value: limit, Above: true, Alarm: "too-wet@" + station, Title: "too wet", Priority: engine.Medium}},
			Reading: good(station+"/moisture", units.Moisture, v, 40*time.Second), Known: fakeStamp(40 * time.Second)}
	}
	deck := wet("deck-a", 23.4, Band{10, 12}, 12.5)
	deck.Range = Band{8, 55}
	silent := wet("bin-2", math.NaN(), Band{9, 12}, 12.5)
	silent.Reading = reading.Missing("bin-2/moisture", units.Moisture, fakeStamp(10*time.Second), "overdue")
	silent.Known = fakeStamp(4*time.Minute + 5*time.Second)
	soak := Point{Name: "tank-2/soak-time", Station: "tank-2", Title: "soak time", Quantity: units.Duration, Computed: true,
		Reading: good("tank-2/soak-time", units.Duration, 35820, time.Second), Known: fakeStamp(time.Second)}
	slope := Point{Name: "tank-2/ph-slope", Station: "tank-2", Title: "pH slope", Quantity: units.PH.Rate(), Computed: true,
		Reading: good("tank-2/ph-slope", units.PH.Rate(), -0.11/3600, time.Second), Known: fakeStamp(time.Second)}
	mass := warm("tank-2", "temperature", "mass", 23.4, 10, 35, Band{18, 28}, 30, false)
	mass.Reading.Quality, mass.Reading.Cause = reading.Uncertain, "cable noisy"
	disk := Point{Name: "board/disk-free", Title: "disk free", Quantity: units.Share, Reading: good("board/disk-free", units.Share, 71, time.Minute),
		Known: fakeStamp(time.Minute)}
	fan := Point{Name: "dryer-1/fan", Station: "dryer-1", Title: "fan", Quantity: units.State, Reading: good("dryer-1/fan", units.State, 1, 2*time.Second),
		Known: fakeStamp(2 * time.Second)}
	f.snapshot.Points = []Point{
		ph("tank-1", 5.31, 8*time.Second), warm("tank-1", "temperature", "mass", 22.1, 10, 35, Band{18, 28}, 30, false),
		ph("tank-2", 4.92, 4*time.Second), mass, soak, slope, deck,
		warm("dryer-1", "air-temperature", "air", 38.2, 15, 60, Band{30, 40}, 45, true), fan,
		wet("bin-1", 11.2, Band{9, 12}, 12.5), silent, wet("bin-3", 11.9, Band{9, 12}, 12.5),
		warm("roaster-1", "bean-temperature", "beans", 24, 0, 270, Band{20, 230}, 240, true),
		warm("roasted", "temperature", "air", 19.4, 0, 40, Band{12, 24}, 30, true),
		warm("outside", "temperature", "air", 14.2, 0, 35, Band{}, 0, true), disk,
	}
}

// night makes it the night of the mock: tank 1 over-fermenting, a bin too wet, things on all the lists.
func (f *fake) night() *fake {
	f.change(func(s *Snapshot) {
		s.Points[0].Reading.Value = 4.05
		s.Points[11].Reading.Value = 12.6
		s.Alarms = []Alarm{overFermented(), tooWet(),
			{ID: "door-open@roasted", Title: "door open", PlaceTitle: "roasted store", Station: "roasted", Priority: engine.Low, Class: engine.Quality, State: "shelved",
				Active: true, Occurrence: 3, Since: fakeStamp(3 * time.Hour), HiddenBy: "Ben", HiddenWhy: "carrying sacks in", ShelfEnds: fakeStamp(-40 * time.Minute)},
			{ID: "exhaust-hot@roaster-1", Title: "exhaust hot", PlaceTitle: "roaster", Station: "roaster-1", Priority: engine.High, Class: engine.Safety, State: "out of service",
				Since: fakeStamp(50 * time.Hour), HiddenBy: "Caro", HiddenWhy: "probe is being replaced"},
			{ID: "too-wet@bin-2", Title: "too wet", PlaceTitle: "bin 2", Station: "bin-2", Priority: engine.Medium, Class: engine.Food, State: "normal", CannotSee: true,
				Because: "bin-2/moisture is overdue"},
		}
	})
	return f
}

func overFermented() Alarm {
	return Alarm{ID: "over-fermented@tank-1", Title: "over-fermented", Place: "tank-1", PlaceTitle: "tank 1", Station: "tank-1", Area: "wet-mill",
		Priority: engine.High, Class: engine.Quality, State: "unacknowledged", Active: true, Occurrence: 7, Since: fakeStamp(8 * time.Minute),
		Cause: "Left too long, or warmer than planned.", Consequence: "Sour, vinegar or onion cup; the lot drops a grade.",
		Action: "Drain and wash now. Rub beans in clean water: gritty means done.", RespondWithin: 45 * time.Minute, Shelvable: time.Hour,
		Because: "pH has been below 4.1 for 5 min (fern-hollow.rules:40)", Count: 1,
		Values: []Shown{{Point: "tank-1/ph", Title: "pH", Value: 4.05, Quantity: units.PH, Limit: 4.1, HasLimit: true}},
		Calls:  []Call{{Person: "Ana", Channel: "text", At: fakeStamp(8 * time.Minute)}},
		Next:   []Call{{Person: "Ben", Channel: "text", At: fakeStamp(-5 * time.Minute)}}}
}

func tooWet() Alarm {
	return Alarm{ID: "too-wet@bin-3", Title: "too wet", Place: "bin-3", PlaceTitle: "bin 3", Station: "bin-3", Area: "store",
		Priority: engine.Medium, Class: engine.Food, State: "acknowledged", Active: true, Occurrence: 2, Since: fakeStamp(5 * time.Hour),
		Consequence: "Mould spreads within days.", Action: "Open the bin, turn it, and dry it again if it smells.", RespondWithin: 12 * time.Hour,
		Shelvable: 8 * time.Hour, Because: "moisture has been above 12.5 %wb for 30 min", Count: 1, AcknowledgedBy: "Ben", AcknowledgedAt: fakeStamp(4 * time.Hour),
		Values: []Shown{{Point: "bin-3/moisture", Title: "moisture", Value: 12.6, Quantity: units.Moisture, Limit: 12.5, HasLimit: true}}}
}

// fire is an alarm of class safety, with its caution.
func fire() Alarm {
	return Alarm{ID: "runs-away@dryer-1", Title: "air runs away", Place: "dryer-1", PlaceTitle: "dryer 1", Station: "dryer-1", Area: "deck",
		Priority: engine.High, Class: engine.Safety, State: "unacknowledged", Active: true, Held: true, Occurrence: 1, Since: fakeStamp(2 * time.Minute),
		Caution: "Do not open the drum. Leave if you smell gas.", Action: "Cut the heat, keep the fan on. Look at burner and belt.", Consequence: "Fire.",
		RespondWithin: 5 * time.Minute, Latching: true, Because: "air rose 4.1 °C/min over 2 min", Count: 2,
		Values: []Shown{{Point: "dryer-1/air-temperature", Title: "air", Value: 51.2, Quantity: units.Temperature, Limit: 45, HasLimit: true}},
		Calls:  []Call{{Person: "Ana", Channel: "siren", At: fakeStamp(2 * time.Minute)}, {Person: "Ben", Channel: "text", At: fakeStamp(time.Minute), Fault: "modem does not answer"}}}
}

// returned is back to normal; nobody has answered, however often people were called.
func returned() Alarm {
	a := Alarm{ID: "fan-stopped@dryer-1", Title: "fan stopped with heat", Place: "dryer-1", PlaceTitle: "dryer 1", Station: "dryer-1", Area: "deck",
		Priority: engine.High, Class: engine.Safety, State: "returned, unacknowledged", Occurrence: 4, Since: fakeStamp(50 * time.Minute),
		Caution: "Fire and mains voltage.", Action: "Cut the heat.", Consequence: "Fire.", Because: "the fan runs again"}
	for i := range 8 {
		a.Calls = append(a.Calls, Call{Person: []string{"Ana", "Ben"}[i%2], Channel: "mail", At: fakeStamp(time.Duration(50-5*i) * time.Minute)})
	}
	return a
}

// many is a large estate: for weight and for bounds.
func many(n int) *fake {
	f := newFake()
	f.change(func(s *Snapshot) {
		for i := range n {
			name := fmt.Sprintf("bin-%d/temperature", 100+i)
			s.Points = append(s.Points, Point{Name: name, Station: fmt.Sprintf("bin-%d", 100+i), Title: "temperature", Quantity: units.Temperature,
				Range: Band{0, 50}, Reading: good(name, units.Temperature, 20, time.Second), Known: fakeStamp(time.Second)})
		}
	})
	return f
}
