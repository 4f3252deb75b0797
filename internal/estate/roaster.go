package estate

import "math"

// Roaster is a drum roaster that roasts one batch after another by day.
type Roaster struct {
	Bean    float64 // °C, what its own bean probe shows
	Exhaust float64
	Drum    bool
	Burner  bool

	Batches int     // still to roast
	inBatch float64 // s since charge; negative: seconds until the next charge
}

// A batch: charge with the probe at 204 °C (400 °F), the turn after about a minute and a half, drop at 221 °C (430 °F) after about 15 min.
const (
	charge      = 204.0
	green       = 25.0
	environment = 250.0
	beanSlow    = 439.0 // s; gives 221 °C after 900 s
	probeSlow   = 28.0  // s; the probe's own way down after the charge
	dropAt      = 221.0
	pause       = 25 * 60.0
)

func newRoaster() Roaster { return Roaster{Bean: 60, Exhaust: 55, Batches: 2, inBatch: -20 * 60} }

// Roasting tells whether a batch is in the drum.
func (r *Roaster) Roasting() bool { return r.inBatch > 0 }

func (r *Roaster) advance(seconds float64) {
	if r.Batches == 0 && !r.Roasting() {
		r.Burner, r.Drum = false, r.Bean > 60
		r.Bean += (22 - r.Bean) * (1 - math.Exp(-seconds/1500))
		r.Exhaust += (22 - r.Exhaust) * (1 - math.Exp(-seconds/1500))
		return
	}
	r.inBatch += seconds
	r.Burner, r.Drum = true, true
	if r.Roasting() {
		t := r.inBatch
		r.Bean = environment - (environment-green)*math.Exp(-t/beanSlow) + (charge-green)*math.Exp(-t/probeSlow)
		if t > 120 && r.Bean >= dropAt {
			r.Batches--
			r.inBatch = -pause
		}
	} else {
		r.Bean += (charge - r.Bean) * (1 - math.Exp(-seconds/240))
	}
	r.Exhaust += (r.Bean + 18 - r.Exhaust) * (1 - math.Exp(-seconds/60))
}
