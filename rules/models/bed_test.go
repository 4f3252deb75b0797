package models_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/models"
)

// layer is parchment that dries by other laws than the forecaster's. Skin and core: each bean has a skin that gives water to the air and a core that gives it to the skin, the
// isotherm is a Henderson curve, the pace of the skin follows the air's own deficit and that of the core its warmth. Plain: one body with the
// isotherm of Oswin whose pace follows its warmth alone; it was written after the constants of the forecast stood.
type layer struct {
	plain       bool
	core, skin  float64 // % of the dry weight
	quick, deep float64 // 1/h
}

func (l *layer) wet() float64 { return wetOf((2*l.core + l.skin) / 3) }

func (l *layer) minute(t, rh float64) {
	const h = 1.0 / 60
	if l.plain { // Oswin 1946, constants chosen to pass 12.4 % at 25 °C, 61 %RH
		end := (10.4 - 0.06*(t-25)) * math.Pow(rh/(100-rh), 0.4)
		l.core -= h * l.quick * math.Exp(0.045*(t-38)) * (l.core - end)
		l.skin = l.core
		return
	}
	// Henderson 1952 with constants chosen to pass 12.4 % at 25 °C, 61 %RH; 1.9 instead of 2 makes it another shape than a parabola.
	end := math.Pow(-math.Log(1-rh/100)/(9.3e-5*(t+60)), 1/1.9)
	deficit := 0.6108 * math.Exp(17.27*t/(t+237.3)) * (1 - rh/100) // FAO-56
	l.skin -= h * (l.quick*deficit*(l.skin-end) - 2*l.deep*math.Exp(0.03*(t-30))*(l.core-l.skin))
	l.core -= h * l.deep * math.Exp(0.03*(t-30)) * (l.core - l.skin)
}

// scene is the air of one run.
type scene struct {
	name, kind string
	changes    float64 // h at which somebody changes the set point for the last time; 0: never
	air        func(h float64, r *rand.Rand) (t, rh float64)
}

// heated is the humidity of outside air of dew point 14 °C after heating.
func heated(t float64) float64 {
	return 100 * float64(coffee.SaturationPressure(14)/coffee.SaturationPressure(units.Celsius(t)))
}

func scenes(seed uint64) []scene {
	r := rand.New(rand.NewPCG(seed, 77))
	set, step, after := 36+6*r.Float64(), 5+10*r.Float64(), 34+9*r.Float64()
	clouds := make([]float64, 40)
	for i := range clouds {
		clouds[i] = 0.75 + 0.5*r.Float64()
	}
	return []scene{
		{"dryer held steady", "dryer", 0, func(h float64, _ *rand.Rand) (float64, float64) { return set, heated(set) }},
		{"dryer with a new set point", "dryer", step, func(h float64, _ *rand.Rand) (float64, float64) {
			if h > step {
				return after, heated(after)
			}
			return set, heated(set)
		}},
		{"dryer that hunts and follows the night", "dryer", 0, func(h float64, _ *rand.Rand) (float64, float64) {
			t := set + 1.5*math.Sin(h*5) + 1.5*math.Cos((h-14)/24*2*math.Pi)
			return t, min(95, heated(t)*(1+0.15*math.Sin(h/5)))
		}},
		{"deck, the same sun every day", "deck", 0, func(h float64, _ *rand.Rand) (float64, float64) {
			t := 26 + 10*math.Cos((h-6)/24*2*math.Pi)
			return t, min(97, heated(t))
		}},
		{"deck, clouds come and go", "deck", 0, func(h float64, _ *rand.Rand) (float64, float64) {
			t := 25 + 9*clouds[int(h/24)%len(clouds)]*math.Cos((h-6)/24*2*math.Pi)
			return t, min(97, heated(t))
		}},
	}
}

// run is one lot in one air: its layer, what its meter is off by, and the air.
type run struct {
	layer func() parchment
	scene scene
	meter float64                          // %wb
	reads func(parchment, float64) float64 // nil: the truth and meter
	rng   *rand.Rand
}

// sees is what the meter stands at, without its noise.
func (r *run) sees(l parchment, h float64) float64 {
	if r.reads != nil {
		return r.reads(l, h)
	}
	return l.wet() + r.meter
}

// hours is when the layer comes to a moisture.
func (r *run) hours(until float64) (float64, bool) {
	l := r.layer()
	for m := range 21 * 24 * 60 {
		if l.wet() <= until {
			return float64(m) / 60, true
		}
		l.minute(r.scene.air(float64(m)/60, r.rng))
	}
	return 0, false
}

// estate is what is kept from layer to layer: the models of the last one, for what they were taught.
type estate struct {
	last   *models.Models
	layers int // that the forecasts of the newest layer rested on
}

// ask runs the models beside the layer and takes their forecasts at hours, then lets it dry until its meter says so.
func (e *estate) ask(t *testing.T, r *run, at []float64, metered bool) (f []coffee.Forecast, why []string) {
	station := one("bed", r.scene.kind)
	if !metered {
		delete(station.Measured, "moisture")
	}
	fl := start(t, site(station))
	if e.layers = 0; e.last != nil {
		e.layers = fl.m.Taught(e.last)
	}
	e.last = fl.m
	fl.m.Load("bed", "139", fl.stamp(), fl.stamp())
	l := r.layer()
	longest := 1.2 * at[len(at)-1] / wayParts[len(wayParts)-1]
	for m := 0; len(f) < len(at) || metered && *layersJudged > 1 && float64(m)/60 < longest; m++ {
		temperature, rh := r.scene.air(float64(m)/60, r.rng)
		fl.sees("bed/air-temperature", temperature+0.2*r.rng.NormFloat64())
		fl.sees("bed/air-humidity", math.Min(100, rh+r.rng.NormFloat64()))
		if m%5 == 0 && metered {
			fl.sees("bed/moisture", r.sees(l, float64(m)/60)+0.3*r.rng.NormFloat64())
		}
		fl.tick(time.Minute / 4)
		fl.now += 3 * time.Minute / 4
		l.minute(temperature, rh)
		if len(f) < len(at) && float64(m+1)/60 >= at[len(f)] {
			in := fl.newest["bed/drying-in"]
			why = append(why, map[bool]string{true: in.Cause}[in.Quality == reading.Bad])
			seconds := func(name string) time.Duration {
				return time.Duration(fl.newest["bed/"+name].Value * float64(time.Second))
			}
			f = append(f, coffee.Forecast{Early: seconds("drying-in-early"), Middle: seconds("drying-in"), Late: seconds("drying-in-late")})
		}
	}
	return f, why
}

// wayParts are the parts of the way at which forecasts are asked for.
var wayParts = [...]float64{0.25, 0.5, 0.75}

// verdict is how forecasts did at one part of the way.
type verdict struct {
	wrong        []float64 // % of the time left
	held, silent int
}

func (v *verdict) at(part float64) float64 {
	slices.Sort(v.wrong)
	return v.wrong[int(part*float64(len(v.wrong)-1))]
}

func (v *verdict) coverage() float64 { return 100 * float64(v.held) / float64(max(1, len(v.wrong))) }

func (v *verdict) add(o *verdict) {
	v.wrong, v.held, v.silent = append(v.wrong, o.wrong...), v.held+o.held, v.silent+o.silent
}

func (v *verdict) String() string {
	if len(v.wrong) == 0 {
		return fmt.Sprintf("none, silent %d", v.silent)
	}
	return fmt.Sprintf("%3.0f %2.0f/%2.0f/%3.0f held %2.0f %% silent %d", float64(len(v.wrong)), v.at(0.5), v.at(0.9), v.at(1), v.coverage(), v.silent)
}

// judge asks at each part of the way, the layers being those of one estate, one after the other: all, and those before which taughtFrom were dried. Where somebody changes the set point
// later than that, no forecast can know it: those come apart.
func judge(t *testing.T, runs []run, metered bool) (known, taught, later [len(wayParts)]verdict) {
	var e estate
	for i := range runs {
		r := &runs[i]
		hours, ever := r.hours(11)
		if !ever {
			continue
		}
		at := make([]float64, len(wayParts))
		for k, part := range wayParts {
			at[k] = part * hours
		}
		if *layersAlone {
			e = estate{}
		}
		forecasts, why := e.ask(t, r, at, metered)
		for k := range at {
			left := hours - at[k]
			if r.scene.changes > at[k]-0.5 {
				later[k].take(forecasts[k], why[k], left)
				continue
			}
			known[k].take(forecasts[k], why[k], left)
			if e.layers >= taughtFrom {
				taught[k].take(forecasts[k], why[k], left)
			}
		}
	}
	return known, taught, later
}

// taughtFrom is how many layers an estate has to have dried to be counted as one that has taught the program something.
const taughtFrom = 3

func (v *verdict) take(f coffee.Forecast, why string, left float64) {
	if why != "" {
		v.silent++
		return
	}
	v.wrong = append(v.wrong, 100*math.Abs(f.Middle.Hours()-left)/left)
	if f.Early.Hours() <= left && left <= f.Late.Hours() {
		v.held++
	}
}

var layersAlone = flag.Bool("alone", false, "every layer is the first of its estate: nothing was learned from others")

var layersJudged = flag.Int("layers", 0, "layers of each law in each air that drying forecasts are judged on; 0: one layer of each law in one air, to see that nothing broke")

// layerSeeds is how many layers are made of each law in each air.
func layerSeeds() uint64 { return uint64(max(1, *layersJudged)) }

// seenRuns are the runs that whoever improves the forecast may look at.
func seenRuns(law string, place int) []run {
	var list []run
	for seed := uint64(1); seed <= layerSeeds(); seed++ {
		r := rand.New(rand.NewPCG(seed, uint64(place)+9))
		l := layer{core: freshDry, skin: freshDry, quick: 0.045 + 0.06*r.Float64(), deep: 0.12 + 0.15*r.Float64(), plain: law == "plain"}
		meter := 0.4 * r.NormFloat64()
		if l.plain {
			l.quick = 0.05 + 0.09*r.Float64()
		}
		list = append(list, run{layer: func() parchment { fresh := l; return &fresh }, scene: scenes(seed)[place], meter: meter, rng: r})
	}
	return list
}

// unseenRuns were held out once: other laws, other airs, other seeds.
func unseenRuns(law string, place int) []run {
	var list []run
	for seed := uint64(1001); seed <= 1000+layerSeeds(); seed++ {
		fresh := func() parchment { return unseenLayers(rand.New(rand.NewPCG(seed, uint64(place)+31)))[law] }
		r := rand.New(rand.NewPCG(seed, uint64(place)+9))
		list = append(list, run{layer: fresh, scene: unseenScenes(seed)[place], meter: 0.4 * r.NormFloat64(), rng: r})
	}
	return list
}

// bedSet is a set of laws and airs, with what was reached on it, with a margin, so that a change for the worse shows.
type bedSet struct {
	name   string
	laws   []string
	places int
	runs   func(law string, place int) []run
	most   float64 // median error half way, % of the time left
	held   float64 // least part held half way, %
}

// bedResult is what one law gave.
type bedResult struct{ known, taught, later [len(wayParts)]verdict }

// bedSets are all sets, in the order of their making.
func bedSets() []bedSet {
	return []bedSet{
		{"looked at", []string{"skin and core", "plain"}, len(scenes(1)), seenRuns, 10, 85},
		{"held out once", unseenLaws, len(unseenScenes(1)), unseenRuns, 19, 75},
		{"opened", openedLaws, len(openedPlaces), openedRuns, 21, 80},
		{"sealed", sealedLaws, len(sealedPlaces), sealedRuns, 24, 80},
		{"verdict", verdictLaws, len(verdictPlaces), verdictRuns, 28, 75},
	}
}

// Aim: drying forecasts judged, through the whole model, on layers that dry by other laws, in air that changes: those that were looked at while the forecast was made, those that were
// held out then and are looked at since, those that were sealed and opened twice, and the verdict, asked once by somebody who improved nothing after it. Goals, with a moisture meter,
// half way: the middle is within 10 % of the time that is left in every other run, and the 80 % interval holds the truth in 70 to 90 %. What is missed stands in the doc of package coffee.
// Each cell tells, at 25, 50, 75 % of the way: runs, median / nine of ten / worst error in per cent of the time left, part held, silent ones.
func TestBed_judged(t *testing.T) {
	for _, set := range bedSets() {
		for _, metered := range [...]bool{true, false} {
			if *layersJudged == 0 && !metered {
				continue
			}
			results := make([]bedResult, len(set.laws))
			t.Run(fmt.Sprint(set.name, ", meter ", metered), func(t *testing.T) {
				for i, law := range set.laws {
					t.Run(law, func(t *testing.T) {
						t.Parallel()
						results[i] = set.judge(t, law, set.placesOf(i), metered)
					})
				}
			})
			set.sum(t, results, metered)
		}
	}
}

// placesOf are the places that the i-th law is judged in: all, or the first and the last in turn.
func (s *bedSet) placesOf(i int) (list []int) {
	if *layersJudged == 0 {
		return []int{i % 2 * (s.places - 1)}
	}
	for place := range s.places {
		list = append(list, place)
	}
	return list
}

// judge goes through places of a law.
func (s *bedSet) judge(t *testing.T, law string, places []int, metered bool) (all bedResult) {
	for _, place := range places {
		runs := s.runs(law, place)
		if !metered {
			runs = runs[:1] // hardly a forecast: shown, so that it is known
		}
		known, taught, later := judge(t, runs, metered)
		line := fmt.Sprintf("%-42s", runs[0].scene.name)
		for k := range known {
			line += " | " + known[k].String()
			all.known[k].add(&known[k])
			all.taught[k].add(&taught[k])
			all.later[k].add(&later[k])
		}
		t.Log(line)
	}
	return all
}

func (s *bedSet) sum(t *testing.T, results []bedResult, metered bool) {
	var all bedResult
	for i := range results {
		for k := range wayParts {
			all.known[k].add(&results[i].known[k])
			all.taught[k].add(&results[i].taught[k])
			all.later[k].add(&results[i].later[k])
		}
	}
	for k, part := range wayParts {
		t.Logf("%s, meter %v, all at %.0f %%: %v; with %d dried layers or more: %v; where the set point changes later: %v", s.name, metered, 100*part, &all.known[k], taughtFrom, &all.taught[k], &all.later[k])
	}
	half, least, most, held := all.known[1], 8**layersJudged, s.most, s.held
	if *layersJudged == 0 { // a handful: what it must not be by far
		half.add(&all.later[1])
		least, most, held = len(s.laws)/2, 100, min(50, s.held-10)
	}
	if metered && (len(half.wrong) < least || half.at(0.5) > most || half.coverage() < held) {
		t.Errorf("%s, half way: %v; want %d or more with a median of at most %v %%, held at least %v %%", s.name, &half, least, most, held)
	}
}

// A dryer in damp air says never, with the flag; a deck says nothing before it knows a day of its air.
func TestBed_never(t *testing.T) {
	f := start(t, site(one("dryer-1", "dryer"), one("deck-a", "deck")))
	f.m.Load("dryer-1", "138", f.stamp(), f.stamp())
	f.m.Load("deck-a", "139", f.stamp(), f.stamp())
	for range 3 * 180 {
		for _, name := range []string{"dryer-1", "deck-a"} {
			f.sees(name+"/air-temperature", 22)
			f.sees(name+"/air-humidity", 85)
			f.sees(name+"/moisture", 20)
		}
		f.tick(20 * time.Second)
	}
	f.is("dryer-1/never-dries", 1, 0)
	f.unknown("dryer-1/drying-in", coffee.SaysNever)
	f.unknown("deck-a/drying-in", "cannot say yet: less than a day of this air is known")
	f.is("dryer-1/estimated-moisture", 20, 0.5)
	if wet := f.newest["dryer-1/wet-time"].Value; wet < 2.5*3600 || wet > 3*3600 {
		t.Errorf("wet-time %v s: at 20 %%wb the water activity is above 0.80 all the time", wet)
	}
}

// A lot takes its moisture and its wet time along from the deck to the dryer.
func TestBed_lotMovesOn(t *testing.T) {
	f := start(t, site(one("deck-a", "deck"), one("dryer-1", "dryer")))
	f.m.Load("deck-a", "139", f.stamp(), f.stamp())
	see := func(name string, moisture bool) {
		f.sees(name+"/air-temperature", 25)
		f.sees(name+"/air-humidity", 60)
		if moisture {
			f.sees(name+"/moisture", 30)
		}
		f.tick(20 * time.Second)
	}
	for range 2 * 180 {
		see("deck-a", true)
	}
	f.m.Empty("deck-a", f.stamp())
	f.now += 10 * time.Minute
	f.m.Load("dryer-1", "139", f.stamp(), f.stamp())
	for range 5 {
		see("dryer-1", false)
	}
	f.is("dryer-1/estimated-moisture", 30, 0.5)
	f.is("dryer-1/wet-time", 2*3600, 700)
	f.unknown("deck-a/estimated-moisture", "no lot stands here")
}

// A layer that its meter sees come to the target teaches all beds of its kind, once, and what was taught is kept over a restart.
func TestBed_teaches(t *testing.T) {
	f := start(t, site(one("dryer-1", "dryer"), one("dryer-2", "dryer")))
	f.m.Load("dryer-1", "138", f.stamp(), f.stamp())
	taught := func(m *models.Models) int {
		other := start(t, site(one("dryer-3", "dryer")))
		return other.m.Taught(m)
	}
	moisture := 53.0
	for minute := range 20 * 60 {
		moisture = max(10.5, moisture-43.0/(16*60))
		f.sees("dryer-1/air-temperature", 40)
		f.sees("dryer-1/air-humidity", 22)
		f.sees("dryer-1/moisture", moisture)
		f.tick(time.Minute)
		if minute != 15*60 && minute != 20*60-1 {
			continue
		}
		if n := taught(f.m); n != minute/(18*60) {
			t.Errorf("after %d minutes at %.1f %%wb %d layers have taught the dryers something", minute, moisture, n)
		}
	}
	if d := f.m.Dried(); len(d) != 1 || len(d[0].Stations) != 2 || d[0].Layers != 1 || d[0].Target != 11 || math.Abs(d[0].Took.Hours()-42.0/43*16) > 0.7 || d[0].Spread <= 0 {
		t.Errorf("the season is told of %+v, want one layer that took %.1f h", d, 42.0/43*16)
	}
	saved, err := f.m.Save(f.stamp())
	if err != nil {
		t.Fatal(err)
	}
	again := start(t, site(one("dryer-1", "dryer"), one("dryer-2", "dryer")))
	if _, err := again.m.Restore(saved, f.stamp()); err != nil {
		t.Fatal(err)
	}
	if n := taught(again.m); n != 1 {
		t.Errorf("after a restart %d layers have taught the dryers something, want 1", n)
	}
}

// A layer that is taken away once a hand meter shows that it is dry, or nearly, teaches; one that is moved on wet does not.
func TestBed_teachesAtTheEnd(t *testing.T) {
	for _, c := range []struct {
		last  float64 // %wb, the last reading
		later time.Duration
		want  int
	}{{10.8, 0, 1}, {11.3, 0, 1}, {11.3, 5 * time.Hour, 1}, {13, 0, 1}, {14, 0, 0}} {
		station := one("dryer-1", "dryer")
		delete(station.Measured, "moisture")
		f := start(t, site(station))
		f.m.Load("dryer-1", "138", f.stamp(), f.stamp())
		pass := func(d time.Duration) {
			for range int(d / time.Minute) {
				f.sees("dryer-1/air-temperature", 40)
				f.sees("dryer-1/air-humidity", 22)
				f.tick(time.Minute)
			}
		}
		for _, percent := range []float64{40, 30, 22, 16, c.last} {
			pass(5*time.Hour + 20*time.Minute)
			f.m.Measure("dryer-1", coffee.WetBasis(percent), f.stamp())
		}
		pass(c.later)
		f.m.Empty("dryer-1", f.stamp())
		other := start(t, site(one("dryer-2", "dryer")))
		if n := other.m.Taught(f.m); n != c.want {
			t.Errorf("last measured at %.1f %%wb, %v before it was taken away: %d layers have taught, want %d", c.last, c.later, n, c.want)
		}
	}
}
