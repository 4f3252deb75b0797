package coffee

import "time"

// Dose adds up what people breathed: concentration by time.
type Dose struct {
	Sum   float64 // ppm by seconds
	Known time.Duration
}

// Shift is the length of time over which exposure limits are averaged [29 CFR 1910.1000(d)(1)(i)].
const Shift = 8 * time.Hour

// Add takes a concentration that stood for so long.
func (d *Dose) Add(ppm float64, t time.Duration) {
	d.Sum += ppm * t.Seconds()
	d.Known += t
}

// Average is the 8-hour time-weighted average: the sum divided by eight hours however long the work lasted [29 CFR 1910.1000(d)(1)(i)].
func (d Dose) Average() float64 { return d.Sum / Shift.Seconds() }
