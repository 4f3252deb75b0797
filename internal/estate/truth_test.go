package estate

import (
	"math"
	"testing"
	"time"
)

// Check values: washed coffee soaks 15 to 18 h as an overnight (common practice, no source).
func TestTank_readyOvernight(t *testing.T) {
	tank := Tank{Celsius: 23}
	tank.Load()
	hours := 0.0
	for ; tank.PH > 4.6; hours += 1.0 / 60 {
		tank.Celsius = 23
		tank.advance(60, 23)
	}
	if hours < 13 || hours > 18 {
		t.Errorf("pH 4.6 after %.1f h at 23 °C, want 13 to 18 h", hours)
	}
}

// Check values: a roast takes about 15 min, charge at 400 °F, drop at 430 °F on that roaster's own probe (common practice, no source).
func TestRoaster_roastsAboutAQuarterHour(t *testing.T) {
	r := newRoaster()
	for !r.Roasting() {
		r.advance(1)
	}
	minutes, lowest := 0.0, math.Inf(1)
	for ; r.Roasting(); minutes += 1.0 / 60 {
		lowest = math.Min(lowest, r.Bean)
		r.advance(1)
	}
	if minutes < 13 || minutes > 17 {
		t.Errorf("the roast took %.1f min, want about 15", minutes)
	}
	if lowest > 110 {
		t.Errorf("the probe turned at %.0f °C, want a plunge after the charge", lowest)
	}
}

// The dryer's fan fails: the air passes the 45 °C that parchment stands within minutes, and its own cut-out ends it.
func TestDryer_runsAwayWithoutFan(t *testing.T) {
	truth := NewTruth(18, 1)
	truth.Advance(time.Hour)
	if truth.Dryer.Air > 43 {
		t.Fatalf("a healthy dryer has %.1f °C", truth.Dryer.Air)
	}
	truth.Dryer.FailFan()
	truth.Advance(5 * time.Minute)
	if truth.Dryer.Air < 45 {
		t.Errorf("after 5 min without fan %.1f °C, want above 45", truth.Dryer.Air)
	}
	truth.Advance(30 * time.Minute)
	if truth.Dryer.Burner {
		t.Error("the cut-out did not end it")
	}
}

func TestTruth_sameSeedSameEstate(t *testing.T) {
	a, b := NewTruth(18, 7), NewTruth(18, 7)
	a.Advance(3 * time.Hour)
	for range 3 {
		b.Advance(time.Hour)
	}
	if a.Tanks[0].PH != b.Tanks[0].PH || a.Deck.Moisture != b.Deck.Moisture || a.Noisy(0, 1) != b.Noisy(0, 1) {
		t.Error("the same seed and time gave another estate")
	}
}
