package models_test

import (
	"math"
	"testing"
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/coffee/tanktest"
	"millwarden/internal/reading"
)

// layerOnScale is a dryer with a scale under a layer that loses its water by an exponential: invented, and none of the ways of the forecast.
type layerOnScale struct {
	*floor
	dry   float64 // kg of dry matter
	since time.Duration
}

const freshPercent, restPercent, layerHours = 54.5, 8, 10.0 // %wb; %wb; h in which what is free falls to a third

func newLayerOnScale(t *testing.T, byHand ...string) *layerOnScale {
	dryer := one("dryer-1", "dryer")
	delete(dryer.Measured, "moisture")
	dryer.Measured["weight"], dryer.ByHand = time.Minute, map[string]bool{}
	for _, point := range byHand {
		dryer.Measured[point], dryer.ByHand[point] = 12*time.Hour, true
	}
	l := &layerOnScale{floor: start(t, site(dryer)), dry: 200}
	l.m.Load("dryer-1", "143", l.stamp(), l.stamp())
	return l
}

// percent is the true moisture.
func (l *layerOnScale) percent() float64 {
	fresh, rest := 100*freshPercent/(100-freshPercent), 100.0*restPercent/(100-restPercent)
	m := rest + (fresh-rest)*math.Exp(-(l.now-l.since).Hours()/layerHours)
	return 100 * m / (100 + m)
}

func (l *layerOnScale) kg() float64 { return l.dry * 100 / (100 - l.percent()) }

func (l *layerOnScale) dries(d time.Duration, weighed bool) {
	for range int(d / (30 * time.Second)) {
		l.sees("dryer-1/air-temperature", 42)
		l.sees("dryer-1/air-humidity", 25)
		if weighed {
			l.sees("dryer-1/weight", l.kg())
		}
		l.tick(30 * time.Second)
	}
}

// CHK-03 of the trade's tables: 100 kg at 53 %wb, which fresh parchment has, weigh 52.809 kg at 11.
func TestBed_weightOfTheTables(t *testing.T) {
	l := newLayerOnScale(t, "weight")
	l.sees("dryer-1/weight", 100)
	for range 26 {
		l.dries(time.Hour, false)
	}
	l.sees("dryer-1/weight", 52.809)
	l.dries(time.Minute, false)
	l.is("dryer-1/estimated-moisture", 11, 0.02)
}

// Aim: a scale under a layer tells its moisture, since its dry matter stays: uncertain as long as it rests on what fresh parchment usually has, and truly once a meter has told it.
// Coffee that is taken away or put there does not dry.
func TestBed_byWeight(t *testing.T) {
	l := newLayerOnScale(t)
	l.dries(8*time.Hour, true)
	l.is("dryer-1/estimated-moisture", l.percent(), 2.5) // it was 1.5 % wetter than usual
	if r := l.newest["dryer-1/estimated-moisture"]; r.Quality != reading.Uncertain {
		t.Errorf("a moisture that rests on an assumed one is %s", r.Quality)
	}
	l.m.Measure("dryer-1", coffee.WetBasis(l.percent()), l.stamp())
	l.dries(6*time.Hour, true)
	l.is("dryer-1/estimated-moisture", l.percent(), 0.4)
	if r := l.newest["dryer-1/estimated-moisture"]; r.Quality != reading.Good {
		t.Errorf("a moisture that rests on a meter is %s", r.Quality)
	}
	left := -layerHours*math.Log((12.36-8.70)/(119.78-8.70)) - 14 // h, to 11 %wb, by the exponential
	if in := l.newest["dryer-1/drying-in"]; math.Abs(in.Value/3600-left) > 0.25*left {
		t.Errorf("11 %%wb foreseen in %.1f h, true %.1f", in.Value/3600, left)
	}
	for range 150 {
		l.sees("dryer-1/weight", l.kg(), reading.Uncertain)
		l.dries(30*time.Second, false)
	}
	if r := l.newest["dryer-1/estimated-moisture"]; r.Quality != reading.Uncertain || r.Cause != "its moisture was worked out from an uncertain weight" {
		t.Errorf("by an uncertain weight: %s %s", r.Quality, r.Cause)
	}
	l.dry *= 0.8 // a fifth is taken away: what dries in those ten minutes goes unseen
	l.dries(2*time.Hour, true)
	l.is("dryer-1/estimated-moisture", l.percent(), 1)
	l.dry *= 1.3
	l.dries(2*time.Hour, true)
	l.is("dryer-1/estimated-moisture", l.percent(), 1.2)
}

// A basket is weighed now and then, and the meter read before or after it: the two belong together, and neither spoils the other.
func TestBed_basketWeighedByHand(t *testing.T) {
	for _, meterFirst := range []bool{true, false} {
		l := newLayerOnScale(t, "weight", "moisture")
		weigh := func() { l.sees("dryer-1/weight", l.kg()/100) }
		l.dries(20*time.Minute, false)
		weigh()
		l.dries(4*time.Hour, false)
		weigh()
		l.dries(time.Minute, false)
		l.is("dryer-1/estimated-moisture", l.percent(), 2.5)
		l.dries(4*time.Hour, false)
		if meterFirst {
			l.sees("dryer-1/moisture", l.percent())
			l.dries(5*time.Minute, false)
			weigh()
		} else {
			weigh()
			l.dries(5*time.Minute, false)
			l.sees("dryer-1/moisture", l.percent())
		}
		l.dries(time.Minute, false)
		l.is("dryer-1/estimated-moisture", l.percent(), 0.3)
		l.dries(3*time.Hour, false)
		weigh()
		l.dries(time.Minute, false)
		l.is("dryer-1/estimated-moisture", l.percent(), 0.6)
	}
}

// Aim: a moisture that people enter at a point counts at once, each one; it need not come twice within an hour as from a probe.
func TestBed_enteredByHand(t *testing.T) {
	l := newLayerOnScale(t, "moisture")
	for range 4 {
		l.dries(3*time.Hour, false)
		l.sees("dryer-1/moisture", l.percent())
		l.dries(time.Minute, false)
		l.is("dryer-1/estimated-moisture", l.percent(), 0.2)
	}
	if in := l.newest["dryer-1/drying-in"]; in.Quality == reading.Bad {
		t.Errorf("no forecast: %s", in.Cause)
	}
}

// A thermometer and a hygrometer on the wall that are read every two hours stand in between.
func TestBed_airReadByHand(t *testing.T) {
	deck := one("dryer-1", "dryer")
	deck.ByHand = map[string]bool{"air-temperature": true, "air-humidity": true}
	deck.Measured["air-temperature"], deck.Measured["air-humidity"] = 6*time.Hour, 6*time.Hour
	f := start(t, site(deck))
	f.m.Load("dryer-1", "143", f.stamp(), f.stamp())
	for range 4 {
		f.sees("dryer-1/air-temperature", 42)
		f.sees("dryer-1/air-humidity", 25)
		for range 240 {
			f.tick(30 * time.Second)
		}
	}
	if r := f.newest["dryer-1/drying-in"]; r.Quality == reading.Bad {
		t.Errorf("no forecast: %s", r.Cause)
	}
	if r := f.newest["dryer-1/estimated-moisture"]; r.Quality == reading.Bad || r.Value > 50 {
		t.Errorf("estimated moisture %v %s %s", r.Value, r.Quality, r.Cause)
	}
}

// Aim: a tank whose pH and warmth are read by hand every hour and a half has a forecast from the second reading on, and knows when it is ready; what stands between two readings is not guessed.
func TestTank_readByHand(t *testing.T) {
	tank := one("tank-1", "tank")
	tank.Measured["ph"], tank.Measured["temperature"] = 5*time.Hour, 5*time.Hour
	tank.ByHand = map[string]bool{"ph": true, "temperature": true}
	f := start(t, site(tank))
	seed, end := uint64(1), time.Duration(0)
	for ; end < 14*time.Hour || end > 17*time.Hour; seed++ { // an overnight
		end, _ = tanktest.Ready(tanktest.Gompertz, seed, 4.6)
	}
	truth := tanktest.New(tanktest.Gompertz, seed-1)
	f.m.Load("tank-1", "143", f.stamp(), f.stamp())
	goes := func(d time.Duration) {
		for range int(d / time.Minute) {
			if f.now%(90*time.Minute) == 0 {
				f.sees("tank-1/ph", truth.Electrode())
				f.sees("tank-1/temperature", truth.Thermometer())
			}
			truth.Minute()
			f.tick(time.Minute)
		}
	}
	goes(time.Hour)
	f.unknown("tank-1/wash-in", coffee.SaysTooSoon)
	f.unknown("tank-1/ph-slope", "cannot say: pH read by hand is too seldom for a slope")
	goes(end/2 - f.now)
	left := end.Seconds() - f.now.Seconds()
	f.is("tank-1/wash-in", left, 0.35*left)
	if r := f.newest["tank-1/wash-in"]; r.Quality != reading.Good {
		t.Errorf("wash-in is %s: %s", r.Quality, r.Cause)
	}
	if early, late := f.newest["tank-1/wash-in-early"].Value, f.newest["tank-1/wash-in-late"].Value; early > left || late < left {
		t.Errorf("wash-in from %.0f to %.0f s, the truth is %.0f", early, late, left)
	}
	for f.newest["tank-1/lowest-ph"].Value > 4.6 {
		goes(10 * time.Minute)
	}
	goes(40 * time.Minute) // the last one read still tells that it is ready
	f.is("tank-1/wash-in", 0, 0)
}

// A pH that was read as low as the limit tells that the tank is ready, whatever the curves make of the readings before, and not only in the ten minutes in which it was read.
func TestTank_readyAsRead(t *testing.T) {
	tank := one("tank-1", "tank")
	tank.Measured["ph"], tank.ByHand = 5*time.Hour, map[string]bool{"ph": true}
	f := start(t, site(tank))
	f.m.Load("tank-1", "143", f.stamp(), f.stamp())
	for _, ph := range []float64{5.6, 5.5, 4.6} {
		f.sees("tank-1/ph", ph)
		for range 90 * 6 {
			f.sees("tank-1/temperature", 21)
			f.tick(10 * time.Second)
		}
	}
	f.is("tank-1/wash-in", 0, 0)
}

// A deck that was measured dry is dry, though nobody knows a day of its air yet.
func TestBed_dryAlready(t *testing.T) {
	deck := one("deck-a", "deck")
	deck.ByHand = map[string]bool{"moisture": true}
	f := start(t, site(deck))
	f.m.Load("deck-a", "143", f.stamp(), f.stamp())
	sees := func(percent float64) {
		f.sees("deck-a/moisture", percent)
		for range 90 {
			f.sees("deck-a/air-temperature", 28)
			f.sees("deck-a/air-humidity", 45)
			f.tick(10 * time.Second)
		}
	}
	sees(20)
	f.unknown("deck-a/drying-in", "cannot say yet: less than a day of this air is known")
	sees(10.8)
	f.is("deck-a/drying-in", 0, 0)
	f.is("deck-a/never-dries", 0, 0)
}
