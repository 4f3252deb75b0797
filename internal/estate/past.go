package estate

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"millwarden/gateway/floor"
	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	"millwarden/gateway/logbook/lots"
	"millwarden/gateway/record"
	"millwarden/internal/coffee"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/check"
	"millwarden/rules/engine"
	"millwarden/rules/models"
)

// PastLot is the lot that went its whole way, from the cherry to the roaster, before the estate begins.
const PastLot = "126"

// pastHours before the estate begins the cherry of PastLot came in.
const pastHours = 700

// past plays a finished lot into history and logbook, as a gateway would have kept it: readings every ten seconds (in the roaster every two), computed points by the
// models, alarms by the engine under the estate's own rules. What it passes through is invented: a cool night, an electrode that lost contact, a hot afternoon on the deck,
// a garbled air probe, a weight that was misread and put right.
type past struct {
	plan    *check.Plan
	book    *logbook.Logbook
	lots    *lots.Book
	history *history.History
	engine  *engine.Engine
	models  *models.Models
	begins  time.Time // monotonic time is reckoned from here
	boot    uint32
	now     reading.Stamp
	pending []reading.Reading
	kept    map[string]reading.Reading
	acked   map[string]int64
	looking []engine.Standing
	station string // whose alarms are of this lot
	beans   coffee.DryBasis
	clean   coffee.DryBasis
}

// Finish writes PastLot into the data folder. It is not part of Begin: it takes a second or two.
func Finish(folder string, plan *check.Plan, begins time.Time) (err error) {
	p := &past{plan: plan, lots: lots.New(plan.Site.Zone), begins: begins.Add(-pastHours * time.Hour), kept: map[string]reading.Reading{}, acked: map[string]int64{}}
	if p.book, err = logbook.Open(folder); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.book.Close()) }()
	if p.history, err = history.Open(folder, history.Options{}); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.history.Close()) }()
	if p.boot, err = p.book.NextBoot("the boot before", p.begins); err != nil {
		return err
	}
	p.now = p.stamp(0)
	if p.engine, err = engine.New(plan.Engine, nil, p.now); err != nil {
		return err
	}
	p.models = models.New(models.Of(plan))
	p.models.Enters()
	return p.play()
}

func (p *past) stamp(d time.Duration) reading.Stamp {
	return reading.Stamp{Wall: p.begins.Add(d), Mono: d + time.Hour, Boot: p.boot, Set: true}
}

// play is the way of the lot.
func (p *past) play() error {
	var errs []error
	enter := func(who string, s lots.Step) int64 {
		before := p.lots.Standing()
		e, _, err := p.book.Enter(p.lots, lots.Entry{At: p.now, Who: who, Step: s})
		if err != nil {
			errs = append(errs, err)
		}
		p.moved(before)
		return e.ID
	}
	ripe, floaters, none, some := lots.Percent(96), lots.Percent(3.5), 0, 3
	p.ruled()
	p.calibrated()
	enter("ana", lots.Step{Do: lots.Intake, Lot: PastLot, Kg: 412, Cherry: "own", Plot: "west slope", Ripe: &ripe, Floaters: &floaters})
	few := lots.Percent(92)
	enter("ana", lots.Step{Do: lots.Intake, Lot: PastLot, Kg: 228, Cherry: "bought", Supplier: "N-12", Ripe: &few, Note: "delivered 15:40, pulped the same evening"})
	p.run("", 90*time.Minute, 10*time.Second, nil)
	enter("ana", lots.Step{Do: lots.Load, Lot: PastLot, Station: "tank-1", Kind: "tank"})
	p.run("tank-1", 13*time.Hour, 10*time.Second, p.tank)
	enter("ben", lots.Step{Do: lots.Check, Lot: PastLot, Station: "tank-1", Gritty: "no", Note: "slime still holds"})
	p.run("tank-1", 3*time.Hour, 10*time.Second, p.tank)
	enter("ben", lots.Step{Do: lots.Check, Lot: PastLot, Station: "tank-1", Gritty: "partly", Meter: "4.5 pH"})
	p.run("tank-1", 90*time.Minute, 10*time.Second, p.tank)
	enter("ana", lots.Step{Do: lots.Check, Lot: PastLot, Station: "tank-1", Gritty: "yes", Note: "squeaks; washed at once"})
	p.run("tank-1", 12*time.Minute, 10*time.Second, p.tank)
	enter("ana", lots.Step{Do: lots.Empty, Station: "tank-1", Lot: PastLot, Kg: 262, Note: "washed in three waters"})
	p.run("", 30*time.Minute, 10*time.Second, nil)
	p.beans, p.clean = coffee.WetBasis(53).Dry(), coffee.WetBasis(53).Dry()
	enter("ana", lots.Step{Do: lots.Load, Lot: PastLot, Station: "deck-a", Kind: "deck", Kg: 259, Moisture: 53})
	for day := range 4 {
		p.run("deck-a", 24*time.Hour, deckStep, p.deck)
		enter("ben", lots.Step{Do: lots.Check, Lot: PastLot, Station: "deck-a", Meter: fmt.Sprintf("%.1f %%wb", float64(p.beans.Wet())+0.2), Bite: []string{"soft", "firm", "firm", "hard"}[day]})
	}
	for hours := 0; p.beans.Wet() > 10.9 && hours < 200; hours++ {
		p.run("deck-a", time.Hour, deckStep, p.deck)
	}
	wrong := enter("ana", lots.Step{Do: lots.Empty, Station: "deck-a", Lot: PastLot, Kg: 127, Moisture: 11.1})
	p.run("", time.Hour, time.Minute, nil)
	enter("ana", lots.Step{Do: lots.Correct, Entry: wrong, Note: "the sack's own weight was on the scale", Instead: &lots.Step{Do: lots.Empty, Station: "deck-a", Lot: PastLot, Kg: 125, Moisture: 11.1}})
	enter("ben", lots.Step{Do: lots.Load, Lot: PastLot, Station: "bin-1", Kind: "bin", Kg: 125})
	p.run("bin-1", 100*time.Hour, time.Minute, p.bin)
	enter("ben", lots.Step{Do: lots.Empty, Station: "bin-1", Lot: PastLot, Kg: 124.6})
	p.run("", 2*time.Hour, time.Minute, nil)
	enter("ben", lots.Step{Do: lots.Hull, Lot: PastLot, In: 124.6, Kg: 102.8, Moisture: 11, Activity: 0.57})
	enter("ana", lots.Step{Do: lots.Grade, Lot: PastLot, Screens: []lots.Screen{{Number: 18, Kg: 18.2}, {Number: 17, Kg: 37.5}, {Number: 16, Kg: 29.4}, {Number: 15, Kg: 11.6}}, Below: 5.9, Primary: &none, Second: &some, Quakers: &none,
		Note: "defects in 350 g"})
	p.run("", 20*time.Hour, time.Minute, nil)
	for batch, kg := range []lots.Kilograms{12, 12} {
		enter("ben", lots.Step{Do: lots.Load, Lot: PastLot, Station: "roaster-1", Kind: "roaster", Kg: kg})
		begun := p.now.Mono
		p.run("roaster-1", 16*time.Minute, 2*time.Second, func(d time.Duration) []reading.Reading { return p.roast(p.now.Mono - begun) })
		enter("ben", lots.Step{Do: lots.Empty, Station: "roaster-1", Lot: PastLot, Kg: []lots.Kilograms{10.25, 10.3}[batch], Note: "medium"})
		p.run("", 40*time.Minute, time.Minute, nil)
	}
	enter("ben", lots.Step{Do: lots.Roast, Lot: PastLot, Station: "roaster-1", In: 12, Kg: 10.2, Charge: 204, Crack: 183, CrackAt: 585, Drop: 221, Seconds: 870, Colour: "medium", Note: "entered by hand, the panel was off"})
	return errors.Join(append(errs, p.keep(), p.troubles())...)
}

func (p *past) troubles() error {
	for _, t := range p.lots.Troubles() {
		return fmt.Errorf("entry %d of the invented lot: %s", t.Entry, t.Says)
	}
	return nil
}

// ruled writes down which limits were in force, as a gateway does at its first start.
func (p *past) ruled() {
	data, err := json.Marshal(record.InForceOf(p.plan))
	if err == nil {
		_, _ = p.book.Write(logbook.Entry{At: p.now, Kind: logbook.RulesChange, Text: "rules in force: " + p.plan.Hash[:12], Data: data}) // the record shows it or not; nothing else hangs on it
	}
}

func (p *past) calibrated() {
	for _, probe := range []string{"tank-1-electrode"} {
		c := logbook.Calibration{At: p.stamp(-26 * time.Hour), Probe: probe, Channel: "ph", Kind: "two-point", Who: "ben", Note: "fresh buffers",
			Points: []logbook.Pair{{Reference: 7, Read: 7.04, Temperature: 24}, {Reference: 4.01, Read: 4.06, Temperature: 24}}}
		_, _ = p.book.Calibrate(c) // the record shows it or not; nothing else hangs on it
	}
	for _, probe := range []string{"tank-1-thermometer", "deck-a-beans"} {
		_, _ = p.book.Calibrate(logbook.Calibration{At: p.stamp(-50 * time.Hour), Probe: probe, Kind: "ice point", Who: "ben", Note: "crushed ice, ten minutes", Points: []logbook.Pair{{Reference: 0, Read: 0.12}}})
	}
	_, _ = p.book.Calibrate(logbook.Calibration{At: p.stamp(-20 * 24 * time.Hour), Probe: "deck-a-moisture", Kind: "against oven", Who: "ana", Note: "105 °C, 16 h", Points: []logbook.Pair{{Reference: 11.2, Read: 11.5}}})
}

// moved tells the models which stays ended and began.
func (p *past) moved(before []lots.Stay) {
	for _, s := range before {
		if now, ok := p.lots.StandingAt(s.Station); !ok || now.Entry != s.Entry {
			p.models.Empty(s.Station, p.now)
			p.write(p.engine.Moment(s.Station+"/emptied", p.now, nil))
		}
	}
	for _, s := range p.lots.Standing() {
		p.models.Load(s.Station, s.Lot, s.From, p.now)
		p.write(p.engine.Moment(s.Station+"/loaded", p.now, nil))
	}
}

// run lets so much time pass with a reading of the station at each step.
func (p *past) run(station string, long, step time.Duration, read func(time.Duration) []reading.Reading) {
	if station != "" {
		p.station = station // alarms end after the lot has left
	}
	begun := p.now.Mono
	for d := step; d <= long; d += step {
		p.now = p.stamp(begun - time.Hour + d)
		if read != nil {
			for _, r := range read(d) {
				r.Stamp = p.now
				p.observe(&r)
			}
		}
		if step < 10*time.Second || d%time.Minute == 0 { // once a minute is as often as a computed point is kept
			p.write(p.engine.Tick(p.now, nil))
			for _, r := range p.models.Tick(p.now, nil) {
				p.computed(&r)
			}
		}
		if d%(2*time.Minute) == 0 {
			p.answer()
		}
		if len(p.pending) > 5000 {
			_ = p.keep() // told by the last one
		}
	}
}

func (p *past) observe(r *reading.Reading) {
	*r = history.Round(*r)
	p.write(p.engine.Observe(r, nil))
	p.models.Observe(r)
	p.pending = append(p.pending, *r)
}

// computed keeps a computed point as the gateway does: where it changed, and once a minute.
func (p *past) computed(r *reading.Reading) {
	*r = history.Round(*r)
	p.write(p.engine.Observe(r, nil))
	last, seen := p.kept[r.Point]
	if seen && last.Quality == r.Quality && r.Stamp.Mono-last.Stamp.Mono < time.Minute || len(p.station) == 0 || len(r.Point) < len(p.station) || r.Point[:len(p.station)] != p.station {
		return
	}
	p.kept[r.Point] = *r
	p.pending = append(p.pending, *r)
}

func (p *past) keep() error {
	_, err := p.history.Append(p.pending)
	p.pending = p.pending[:0]
	return err
}

// write keeps the transitions of the station where the lot stands; but not that its points fall silent when it leaves: only there this past has readings.
func (p *past) write(list []engine.Transition) {
	for i := range list {
		t := &list[i]
		place := t.Alarm.Place
		if p.station == "" || !strings.HasPrefix(place, p.station) || t.Occurrence == 0 || strings.HasPrefix(t.Alarm.ID, "measurement-overdue@") {
			continue
		}
		_, _ = p.book.Write(floor.EntryOf(t))
		if t.NewOccurrence {
			p.acked[t.Alarm.ID] = t.Occurrence
		}
	}
}

// answer lets somebody take on what stands, eleven minutes after it came.
func (p *past) answer() {
	if len(p.acked) == 0 {
		return
	}
	p.looking = p.engine.Standings(p.looking[:0])
	for i := range p.looking {
		st := &p.looking[i]
		if st.State == engine.Normal && p.acked[st.Alarm.ID] == st.Occurrence {
			delete(p.acked, st.Alarm.ID)
		}
		if p.acked[st.Alarm.ID] != st.Occurrence || st.Occurrence == 0 || p.now.Mono-st.Since.Mono < 11*time.Minute || st.State != engine.Unacknowledged && st.State.String() != "returned, unacknowledged" {
			continue
		}
		done, err := p.engine.Act(engine.Act{Event: engine.Acknowledge, Alarm: st.Alarm.ID, Occurrence: st.Occurrence, By: "ana", At: p.now}, nil)
		if err == nil {
			p.write(done)
			delete(p.acked, st.Alarm.ID)
			if st.Alarm.Name == "beans-too-hot" {
				_, _ = p.book.Write(logbook.Entry{At: p.now, Kind: logbook.Note, Place: p.station, Lot: PastLot, Who: "ana", Text: "raked, layer thinned, shade cloth over the south half"})
			}
		}
	}
}

// hour is the hour of the estate's day.
func (p *past) hour() float64 {
	t := p.now.Wall.In(p.plan.Site.Zone)
	return float64(t.Hour()) + float64(t.Minute())/60
}

// waver is a probe's noise, the same each time.
func (p *past) waver(size float64, salt int64) float64 {
	x := uint64(p.now.Mono/time.Second)*0x9E3779B97F4A7C15 + uint64(salt)*0xBF58476D1CE4E5B9
	x ^= x >> 29
	x *= 0x94D049BB133111EB
	x ^= x >> 32
	return size * (float64(x%2000)/1000 - 1)
}

func good(point string, q units.Quantity, v float64) reading.Reading {
	return reading.Reading{Point: point, Quantity: q, Value: v}
}

// tank is one round of the probes of tank 1.
func (p *past) tank(time.Duration) []reading.Reading {
	from := p.lots.Standing()[0].From
	h := (p.now.Mono - from.Mono).Hours()
	c := 21.5 + 2.4*(1-math.Exp(-h/6)) + 0.9*math.Cos((p.hour()-15)/24*2*math.Pi) + p.waver(0.05, 1)
	ph := 5.62 - 1.55/(1+math.Exp(-0.42*(h-12.4))) + p.waver(0.02, 2)
	acid := good("tank-1/ph", units.PH, ph)
	switch {
	case h > 7.2 && h < 7.75:
		acid = reading.Missing("tank-1/ph", units.PH, p.now, "no answer")
	case h > 9.5 && h < 10.3:
		acid.Quality, acid.Cause = reading.Uncertain, "temperature for the compensation is not known"
	}
	warm := good("tank-1/temperature", units.Temperature, c)
	if h > 9.5 && h < 10.3 {
		warm = reading.Missing("tank-1/temperature", units.Temperature, p.now, "checksum")
	}
	return []reading.Reading{warm, acid}
}

// deckStep is as long as the probes of the deck bear without being overdue.
const deckStep = 20 * time.Second

// deck is one round of the probes of the deck, and so much drying.
func (p *past) deck(d time.Duration) []reading.Reading {
	days := p.now.Mono.Hours() / 24
	warm := 9 + 3*math.Sin(days*1.7)
	c := 24.5 + warm*math.Cos((p.hour()-14)/24*2*math.Pi) + p.waver(0.2, 3)
	rh := min(97, 100*float64(coffee.SaturationPressure(12.5)/coffee.SaturationPressure(units.Celsius(c)))) + p.waver(0.6, 4)
	if next, err := coffee.Dried(p.clean, units.Celsius(c), coffee.RelativeHumidity(rh), deckStep); err == nil && next < p.clean {
		p.clean = next
	}
	p.beans = p.clean
	bean := c - 1 + 7.2*max(0, math.Cos((p.hour()-13)/24*2*math.Pi)) + p.waver(0.1, 5)
	list := []reading.Reading{good("deck-a/air-temperature", units.Temperature, c), good("deck-a/air-humidity", units.Humidity, rh), good("deck-a/bean-temperature", units.Temperature, bean)}
	if int(days) == 3 && p.hour() > 9 && p.hour() < 10.6 {
		for i := range list[:2] {
			list[i] = reading.Missing(list[i].Point, list[i].Quantity, p.now, "checksum")
		}
	}
	if d%(2*deckStep) == 0 {
		list = append(list, good("deck-a/moisture", units.Moisture, float64(p.beans.Wet())+p.waver(0.25, 6)))
	}
	return list
}

func (p *past) bin(time.Duration) []reading.Reading {
	c := 19.5 + 0.8*math.Cos((p.hour()-18)/24*2*math.Pi) + p.waver(0.05, 7)
	return []reading.Reading{good("bin-1/temperature", units.Temperature, c), good("bin-1/humidity", units.Humidity, 58.5+0.6*math.Sin(p.now.Mono.Hours()/20)+p.waver(0.3, 8)),
		good("bin-1/moisture", units.Moisture, 11.05+p.waver(0.08, 9))}
}

// roast is one round of the roaster's panel: charge at 204 °C, turn at 90 °C, drop at 221 °C after 14:30.
func (p *past) roast(d time.Duration) []reading.Reading {
	curve := []struct{ min, bean, exhaust float64 }{{0, 206, 190}, {1, 204, 188}, {1.7, 128, 170}, {2.5, 91, 165}, {4, 112, 178}, {6, 142, 195}, {8, 166, 208}, {10.75, 183, 219}, {13, 203, 228}, {15.5, 221, 236}, {15.7, 205, 220}, {16.2, 160, 190}}
	at := d.Minutes()
	bean, exhaust := curve[len(curve)-1].bean, curve[len(curve)-1].exhaust
	for i := 1; i < len(curve); i++ {
		if a, b := curve[i-1], curve[i]; at <= b.min {
			part := (at - a.min) / (b.min - a.min)
			bean, exhaust = a.bean+part*(b.bean-a.bean), a.exhaust+part*(b.exhaust-a.exhaust)
			break
		}
	}
	return []reading.Reading{good("roaster-1/bean-temperature", units.Temperature, bean+p.waver(0.3, 10)), good("roaster-1/exhaust-temperature", units.Temperature, exhaust+p.waver(0.5, 11)),
		good("roaster-1/drum", units.State, 1), good("roaster-1/burner", units.State, 1)}
}
