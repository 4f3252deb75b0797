package models_test

import (
	"maps"
	"math"
	"os"
	"slices"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/internal/coffee/tanktest"
	"millwarden/internal/reading"
	"millwarden/rules"
	"millwarden/rules/check"
	"millwarden/rules/models"
)

// everyKind is the plan of a site with a station of each kind that has computed points, and every probe that they use.
func everyKind(t testing.TB) *check.Plan {
	t.Helper()
	text, err := os.ReadFile("testdata/every-kind.rules")
	if err != nil {
		t.Fatal(err)
	}
	words, err := vocabulary()
	if err != nil {
		t.Fatal(err)
	}
	plan, list, _ := rules.Load(fstest.MapFS{"every-kind.rules": {Data: text}}, "every-kind.rules", words)
	if list.HasErrors() {
		t.Fatal(list)
	}
	return plan
}

// lived is a floor with one station of a kind after a life in which all its points have come to be known: a day and more of readings once a minute, or for a roaster three roasts and half of a fourth.
func lived(t *testing.T, plan *check.Plan, kind string) *floor {
	t.Helper()
	c := models.Of(plan)
	c.Stations = slices.DeleteFunc(c.Stations, func(s models.Station) bool { return s.Kind != kind })
	if len(c.Stations) != 1 {
		t.Fatalf("%d stations of kind %s", len(c.Stations), kind)
	}
	f := start(t, c)
	if kind == "roaster" {
		for range 3 {
			f.roast(450)
			f.idle(60)
		}
		f.roast(300)
		return f
	}
	f.m.Load("the-"+kind, "7", f.stamp(), f.stamp())
	tank, minutes := tanktest.New(tanktest.Gompertz, 12), 26*60
	if kind == "tank" {
		minutes = 8 * 60 // well before it is ready
	}
	for minute := range minutes {
		tank.Minute()
		for _, point := range slices.Sorted(maps.Keys(c.Stations[0].Measured)) {
			value := usually[point]
			switch {
			case point == "ph":
				value = tank.Electrode()
			case kind == "tank":
				value = tank.Thermometer()
			case point == "moisture" && kind != "bin":
				value = 45 - float64(minute)/60
			}
			f.sees("the-"+kind+"/"+point, value)
		}
		f.tick(time.Minute)
	}
	return f
}

// roast plays so many readings of a roast, two seconds apart, of the drum of TestRoaster_roast.
func (f *floor) roast(readings int) {
	for i := range readings {
		s := float64(i) * 2
		f.drum(250 - 225*math.Exp(-s/439) + 179*math.Exp(-s/28))
	}
}

func (f *floor) idle(readings int) {
	for i := range readings {
		f.drum(204 - 17*math.Exp(-float64(i)/100))
	}
}

func (f *floor) drum(bean float64) {
	f.sees("the-roaster/bean-temperature", math.Round(bean*10)/10)
	f.sees("the-roaster/exhaust-temperature", 220)
	f.tick(2 * time.Second)
}

// Aim: at every kind of station and for every computed point: with any one of its inputs uncertain it is uncertain; with one bad, or silent for too long, it has no good value; and what does not rest on that input stays as it
// was. So each point must have been good before, or uncertain of itself, and is so again when the input is.
func TestComputed_qualityOfEachInput(t *testing.T) {
	plan := everyKind(t)
	// asked are points about entries that nobody made: with a lot entered nobody need ask whether one was loaded, whatever the probes say.
	asked := map[string]bool{"looks-loaded": true}
	for _, kind := range []string{"tank", "deck", "dryer", "bin", "store", "room", "yard", "huller", "roaster"} {
		name := "the-" + kind
		rests := map[string][]string{} // computed point to the inputs it cannot do without
		also := map[string][]string{}
		var inputs []string
		for i := range plan.Points {
			switch p := &plan.Points[i]; {
			case p.Station != name:
			case p.How == check.Computed:
				rests[p.Name] = p.From
				f, _ := models.Explain(kind, p.Short)
				for _, short := range f.Also {
					also[p.Name] = append(also[p.Name], name+"/"+short)
				}
			default:
				inputs = append(inputs, p.Name)
			}
		}
		before := lived(t, plan, kind).newest
		for point := range rests {
			if before[point].Quality == reading.Bad || before[point].Point == "" {
				t.Errorf("%s is unknown after a day of good readings: %q", point, before[point].Cause)
			}
		}
		for _, input := range inputs {
			f := lived(t, plan, kind)
			for _, how := range []string{"bad", "silent", "uncertain"} { // the last leaves traces in curves and means
				f.turns(inputs, input, "good")
				f.turns(inputs, input, how)
				for point, from := range rests {
					got, needs := f.newest[point], slices.Contains(from, input)
					uses := needs || slices.Contains(also[point], input)
					if input == name+"/weight" && slices.Contains(also[point], name+"/moisture") {
						uses = false // a scale counts where no meter tells
					}
					switch {
					case uses && how == "uncertain" && got.Quality == reading.Good:
						t.Errorf("%s is good with %s uncertain", point, input)
					case needs && how != "uncertain" && got.Quality != reading.Bad && !asked[point[len(name)+1:]] && len(also[point]) == 0:
						t.Errorf("%s is %v %s with %s %s", point, got.Value, got.Quality, input, how)
					case !uses && got.Quality != before[point].Quality:
						t.Errorf("%s went from %s to %s %q with %s %s, on which it does not rest", point, before[point].Quality, got.Quality, got.Cause, input, how)
					}
				}
			}
		}
	}
}

// turns lets one input be good, uncertain, bad or silent for so long that it must show, the others going on as they were first.
func (f *floor) turns(inputs []string, input, how string) {
	step, times := time.Minute, 5
	if input[:len("the-r")] == "the-r" && len(inputs) == 2 { // the roaster
		step, times = 2*time.Second, 6
	}
	last := map[string]float64{}
	for _, point := range inputs {
		if f.good == nil {
			f.good = map[string]float64{}
		}
		if _, known := f.good[point]; !known {
			f.good[point] = f.values[point]
		}
		last[point] = f.good[point]
	}
	for range times {
		for _, point := range inputs {
			if point == "the-roaster/bean-temperature" { // a roast goes on rising
				f.good[point] += 0.6
				last[point] = f.good[point]
			}
			switch {
			case point != input || how == "good":
				f.sees(point, last[point])
			case how == "uncertain":
				f.sees(point, last[point], reading.Uncertain)
			case how == "bad":
				f.sees(point, math.NaN(), reading.Bad)
			}
		}
		f.tick(step)
	}
}
