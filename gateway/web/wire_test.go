package web

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// Aim: a stamp is placed on the monotonic clock of this boot, whatever the wall clock did.
func TestPrinter_at(t *testing.T) {
	now := fakeStamp(0)
	unset := now
	unset.Set = false
	before := reading.Stamp{Wall: now.Wall.Add(-40 * time.Hour), Mono: 5 * time.Minute, Boot: 2, Set: true}
	stepped := fakeStamp(time.Hour)
	stepped.Wall = stepped.Wall.Add(-20 * 365 * 24 * time.Hour) // the clock was wrong then
	unknown := before
	unknown.Set = false
	for _, c := range []struct {
		name string
		now  reading.Stamp
		at   reading.Stamp
		want int64
	}{
		{"never", now, reading.Stamp{}, 0},
		{"this boot", now, fakeStamp(time.Hour), (fakeMono - time.Hour).Milliseconds()},
		{"this boot, wall clock wrong", now, stepped, (fakeMono - time.Hour).Milliseconds()},
		{"this boot, wall clock unset", unset, fakeStamp(time.Hour), (fakeMono - time.Hour).Milliseconds()},
		{"the boot before", now, before, (fakeMono - 40*time.Hour).Milliseconds()},
		{"the boot before, wall clock unset now", unset, before, 0},
		{"the boot before, wall clock unset then", now, unknown, 0},
		{"the very start of the boot is not never", now, reading.Stamp{Wall: now.Wall, Boot: now.Boot}, 1},
	} {
		if got := (printer{now: c.now}).at(c.at); got != c.want {
			t.Errorf("%s: at() = %d, want %d", c.name, got, c.want)
		}
	}
}

// Aim: people see the site's choice of units everywhere: numbers, limits, bars, curves. 113 °F is 45 °C by definition of the scale.
func TestPoint_choice(t *testing.T) {
	p := printer{now: fakeStamp(0), choice: units.Choice{Fahrenheit: true}}
	pt := Point{Name: "dryer-1/air-temperature", Quantity: units.Temperature, Range: Band{15, 60}, Normal: Band{30, 40},
		Limits: []Limit{{Value: 45, Above: true}}, Reading: good("dryer-1/air-temperature", units.Temperature, 100, time.Second)}
	w, v := p.point(&pt), p.value(&pt)
	if w.Unit != "°F" || w.Limits[0].Value != 113 || w.Limits[0].Text != "113.0 °F" || *w.Range != (wireBand{59, 140}) || *w.Normal != (wireBand{86, 104}) {
		t.Errorf("point = %+v", w)
	}
	if v.Text != "212.0" || v.Number != 212 {
		t.Errorf("value = %+v, want 212.0", v)
	}
	c := p.curve(&pt, span{from: fakeWall.Add(-time.Hour), to: fakeWall, columns: 1}, []Column{{From: fakeWall.Add(-time.Hour), To: fakeWall, Low: 0, High: 100, Last: 45}})
	if c.Unit != "°F" || c.Low[0] != 32 || c.High[0] != 212 || c.Last[0] != 113 {
		t.Errorf("curve = %+v", c)
	}
}

// Aim: what is bad has no number, only its reason; a point that was never read says so.
func TestValue_quality(t *testing.T) {
	p := printer{now: fakeStamp(0)}
	bad := Point{Quantity: units.PH, Reading: reading.Reading{Value: 4.2, Quality: reading.Bad, Cause: "frozen", Stamp: fakeStamp(time.Second)}}
	if v := p.value(&bad); v.Text != "" || !math.IsNaN(float64(v.Number)) || v.Quality != "bad" || v.Cause != "frozen" {
		t.Errorf("a frozen value is shown as %+v", v)
	}
	never := Point{Quantity: units.PH}
	if v := p.value(&never); v.Quality != "bad" || v.Cause != "not yet read" || v.Text != "" {
		t.Errorf("a point never read is shown as %+v", v)
	}
	uncertain := Point{Quantity: units.PH, Reading: reading.Reading{Value: 4.2, Quality: reading.Uncertain, Cause: "cold", Stamp: fakeStamp(0)}}
	if v := p.value(&uncertain); v.Text != "4.20" || v.Quality != "uncertain" || v.Cause != "cold" {
		t.Errorf("an uncertain value is shown as %+v", v)
	}
	fan := Point{Quantity: units.State, Reading: reading.Reading{Value: 1, Stamp: fakeStamp(0)}}
	if v := p.value(&fan); v.Text != "on" || p.point(&fan).Unit != "" {
		t.Errorf("a state is shown as %+v", v)
	}
}

func TestTitled(t *testing.T) {
	for in, want := range map[string]string{"ph": "pH", "ph slope": "pH slope", "mean co2 8h": "mean CO2 8h", "phase": "phase", "": "", "Deck  A": "Deck  A"} {
		if got := titled(in); got != want {
			t.Errorf("titled(%q) = %q, want %q", in, got, want)
		}
	}
}

func TestNumber_json(t *testing.T) {
	for in, want := range map[float64]string{math.NaN(): "null", math.Inf(1): "null", 4.1: "4.1", 4.10004999: "4.1", 1e6: "1000000", -0.00001: "0", 0.1 + 0.2: "0.3"} {
		got, err := json.Marshal(number(in))
		if err != nil || string(got) != want {
			t.Errorf("number %v = %s, %v; want %s", in, got, err, want)
		}
	}
}

// Aim: stations stand in the order the coffee walks, of one kind in the order of the rules file; a kind the order does not know comes last.
func TestStations_coffeeOrder(t *testing.T) {
	s := Snapshot{Stations: []Station{{Name: "y", Kind: "yard"}, {Name: "new", Kind: "sorter"}, {Name: "r", Kind: "roaster"}, {Name: "t2", Kind: "tank"}, {Name: "b", Kind: "bin"},
		{Name: "t1", Kind: "tank"}, {Name: "d", Kind: "dryer"}, {Name: "k", Kind: "deck"}, {Name: "h", Kind: "huller"}, {Name: "o", Kind: "room"}, {Name: "s", Kind: "store"}}}
	got := ""
	for _, st := range s.stations(printer{}) {
		got += st.Name + " "
	}
	if want := "t2 t1 k d b h r s o y new "; got != want {
		t.Errorf("order %q, want %q", got, want)
	}
}

// Aim: stretches without a known reading are joined and keep their cause; the columns around them stay.
func TestCurve_gaps(t *testing.T) {
	at := func(min int) time.Time { return fakeWall.Add(time.Duration(min) * time.Minute) }
	c := printer{}.curve(&Point{Quantity: units.PH}, span{from: at(0), to: at(5), columns: 5}, []Column{
		{From: at(0), To: at(1), Low: 4, High: 5, Last: 4.5}, {From: at(1), To: at(2), Bad: true, Cause: "no answer"},
		{From: at(2), To: at(3), Bad: true, Cause: "no answer"}, {From: at(3), To: at(4), Bad: true, Cause: "frozen"},
		{From: at(4), To: at(5), Low: 4, High: 4, Last: 4, Uncertain: true}})
	if len(c.Time) != 2 || c.Time[0] != at(0).Unix()+30 || c.Uncertain[0] || !c.Uncertain[1] || c.Step != 60 {
		t.Errorf("columns %+v", c)
	}
	want := []wireReason{{at(1).Unix(), at(3).Unix(), "no answer"}, {at(3).Unix(), at(4).Unix(), "frozen"}}
	if len(c.Bad) != 2 || c.Bad[0] != want[0] || c.Bad[1] != want[1] {
		t.Errorf("bad = %+v, want %+v", c.Bad, want)
	}
}
