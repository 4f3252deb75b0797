package coffee

import (
	"math"
	"time"

	"millwarden/internal/units"
)

// Souring follows the pH of one tank and forecasts when it reaches a value. It holds many curves at once, each an S that levels off, at paces that
// differ in time needed, shape and Q10, and weighs them by how well they pass through what was measured; where little was measured the prior decides:
// the time that such tanks need at their temperature. For every curve the start and the drop are fitted exactly (two linear unknowns), so only three need
// a grid. The interval is that of the weighted curves, not of the best one.
//
// What is assumed, all chosen but for the sources named:
//   - the time to the usual end point, pH 4.6, lies within a third of Ready at the reference temperature in two cases of three
//     (15 h at 20 to 26 °C, Jackels 2006; 12 to 36 h over all places and methods, Codex par. 27);
//   - start at pH 5.6 ± 0.2 (5.5 to 5.8, Jackels 2005), levelling off 2.0 ± 0.2 lower (3.6 to 4.0 is severely over, Jackels 2006);
//   - Q10 of 1.5, 2 or 2.6 (no measured one was found);
//   - a fall that quickens towards the end is likelier than one that slows: from 4.6 on pH falls 0.2 to 0.27 an hour, three times its mean (Jackels 2006);
//   - what was measured long ago counts less, since no tank follows one curve to its end.
type Souring struct {
	pace   Pace
	nodes  [souringNodes]souringNode
	used   int                // of nodes
	ready  float64            // h at the reference temperature that such tanks need
	own    [coursesKept]curve // of the habit
	trail  trail
	age    [len(souringQ10)]float64 // h at the reference temperature, by Q10
	seenAt [len(souringQ10)]float64 // age at the newest pH
	last   float64                  // newest pH
	seen   int
	// firstSeen is when the first pH came, h after loading.
	firstSeen float64
	// chance is the scratch of a forecast: how likely the end lies in each step of forecastStep.
	chance  [forecastSteps + 1]float64
	fits    [souringNodes]fitted
	past    backTest
	warmth  trend // beside the estate's own tanks
	warming Warming
	hourly  hourly
	wider   Wider
	ahead   [len(souringQ10)]aging // scratch
}

// SouringStep is the time that one pH given to Souring should stand for: a median of that long. It is chosen, and the weights rest on it.
const SouringStep = 10 * time.Minute

const (
	souringTimes, souringShapes = 19, 7
	courseTimes                 = 15
	logisticNodes               = souringTimes * souringShapes * len(souringQ10)
	courseNodes                 = courseTimes * (len(rests) + coursesKept*len(souringQ10))
	souringNodes                = logisticNodes + courseNodes

	usualStart, startSpread = 5.6, 0.20
	usualDrop, dropSpread   = 2.0, 0.20
	usualEnd                = 4.6
	readySpread             = 0.32 // of the logarithm of the time needed
	leastSpread             = 0.10
	newestCount             = 5
	// stepNoise is how far a ten-minute median may lie off its curve. Electrodes do better (0.03); chosen: wide, because neighbours err alike.
	stepNoise = 0.05
	// forgetHalf is after how many reference hours a value counts half.
	forgetHalf = 3.0
	// probeOffset is what a calibrated electrode may be off by over a stay (0.04 pH a day, buffers good to 0.02), a curve near its end, and the mass about the electrode from the whole; chosen.
	probeOffset = 0.10

	forecastStep  = 5 * time.Minute
	forecastSteps = int(96 * time.Hour / forecastStep)
)

var souringQ10 = [...]float64{1.5, 2, 2.6}

var q10Chance = [...]float64{0.25, 0.5, 0.25}

// souringShapesAt are k times the middle of the logistic curve: 0 falls from the start and ever slower, 4.5 waits for long and then falls quickly.
var souringShapesAt = [souringShapes]float64{0.01, 1, 2, 3, 4, 5.5, 7.5}

var shapeChance = [souringShapes]float64{0.03, 0.07, 0.12, 0.18, 0.22, 0.22, 0.16}

// souringNode is one curve: the part s of the drop that is done after a time, and what was measured, as weighted sums.
type souringNode struct {
	rate, middle, first float64 // 1/h, h, logistic at the start
	prior               float64 // logarithm
	q10                 int
	course              *curve  // nil: a logistic one
	drop, narrow        float64 // of the drop: its usual, and 1 by the square of its deviation
	n, s, ss, y, sy, yy float64
}

// Habit is what is known before a tank is measured: how long such tanks need at the reference temperature, how their pH falls, how warmth hastens them. It is
// plain data, so that it can be kept; the estate's own washed tanks sharpen it.
type Habit struct {
	Pace    Pace
	Ready   time.Duration
	Spread  float64 // standard deviation of the logarithm of the time needed
	Shapes  [souringShapes]float64
	Q10s    [len(souringQ10)]float64
	By      [len(souringQ10)]time.Duration // Ready by Q10; 0: as Ready
	Tanks   int                            // washed tanks it rests on
	Ways    [coursesKept]Course            // of the newest of them
	Wider   Wider                          // than usual
	Warming Warming
}

// UsualHabit is that of a mill without washed tanks of its own.
func UsualHabit(p Pace, ready time.Duration) Habit {
	return Habit{Pace: p, Ready: ready, Spread: readySpread, Shapes: shapeChance, Q10s: q10Chance}
}

// With is the habit after one more tank of the same estate, which passed its end after so many hours at the reference temperature. The habit of before counts
// as one tank for the time and as two for the shape, and never for more than newestCount, as fruit and weather change within a season (chosen); lots never differ by less than a tenth (chosen).
func (h Habit) With(s *Souring, ended time.Duration) Habit {
	if ended <= 0 {
		return h
	}
	n := float64(min(h.Tanks+1, newestCount))
	off := math.Log(ended.Hours() / h.Ready.Hours())
	for i := range h.By {
		by := h.by(i)
		h.By[i] = time.Duration(by * math.Exp(math.Log(s.age[i]/by)/(n+1)) * float64(time.Hour))
	}
	h.Ready = time.Duration(float64(h.Ready) * math.Exp(off/(n+1)))
	if way, ok := s.trail.course(s.age); ok {
		h.Ways[h.Tanks%coursesKept] = way
	}
	h.Spread = max(leastSpread, math.Sqrt((n*h.Spread*h.Spread+off*off*n/(n+1))/(n+1)))
	shapes, q10s := s.likely()
	for i := range h.Shapes {
		h.Shapes[i] += (shapes[i] - h.Shapes[i]) / (n + 2)
	}
	for i := range h.Q10s {
		h.Q10s[i] += (q10s[i] - h.Q10s[i]) / (n + 2)
	}
	h.Wider = h.Wider.after(&s.past)
	h.Warming = h.Warming.after(&s.hourly)
	h.Tanks++
	return h
}

// by is the time needed at a Q10, h.
func (h *Habit) by(i int) float64 {
	if h.By[i] > 0 {
		return h.By[i].Hours()
	}
	return h.Ready.Hours()
}

// Ended is the age at the reference temperature, by the Q10 of the pace.
func (s *Souring) Ended() time.Duration { return time.Duration(s.age[1] * float64(time.Hour)) }

// likely is how likely each shape and Q10 is by now.
func (s *Souring) likely() (shapes [souringShapes]float64, q10s [len(souringQ10)]float64) {
	best := s.fit(logisticNodes)
	total := 0.0
	for i := range logisticNodes {
		w := math.Exp(s.fits[i].good - best)
		shapes[i%souringShapes] += w
		q10s[s.nodes[i].q10] += w
		total += w
	}
	for i := range shapes {
		shapes[i] /= total
	}
	for i := range q10s {
		q10s[i] /= total
	}
	return shapes, q10s
}

// NewSouring begins a tank of that habit.
func NewSouring(h Habit) *Souring {
	s := &Souring{pace: h.Pace, ready: h.by(1), wider: h.Wider, warming: h.Warming}
	ways := 0
	for i := range h.Ways {
		if c, ok := h.Ways[i].curve(); ok {
			s.own[ways] = c
			ways++
		}
	}
	rest, own := restTrust, 0.0
	if ways > 0 {
		own = 1 - (1-courseTrust)/float64(ways)
		rest *= 1 - own
	}
	for q := range souringQ10 {
		for t := range souringTimes {
			off := spreadOver(t, souringTimes)
			for k, shape := range souringShapesAt {
				first := 1 / (1 + math.Exp(shape))
				done := first + (usualStart-usualEnd)/usualDrop*(1-first)
				rate := (shape + math.Log(done/(1-done))) / (h.by(q) * math.Exp(off*h.Spread))
				s.begin(souringNode{rate: rate, middle: shape / rate, first: first, q10: q, drop: usualDrop, narrow: 1 / (dropSpread * dropSpread),
					prior: math.Log((1-rest-own)*h.Q10s[q]*h.Shapes[k]/souringTimes) - off*off/2})
			}
		}
	}
	for t := range courseTimes {
		off := spreadOver(t, courseTimes)
		for q := range souringQ10 {
			rate := 1 / (h.by(q) * math.Exp(off*h.Spread))
			for i := range ways {
				s.follow(&s.own[i], rate, q, math.Log(own*h.Q10s[q]/float64(ways)/courseTimes)-off*off/2)
			}
		}
		for i := range rests {
			s.follow(&rests[i], 1/(h.by(1)*math.Exp(off*h.Spread)), 1, math.Log(rest/float64(len(rests))/courseTimes)-off*off/2)
		}
	}
	return s
}

// spreadOver is the i-th of n even steps over the time needed, in standard deviations.
func spreadOver(i, n int) float64 { return -2.4 + 4.8*float64(i)/float64(n-1) }

func (s *Souring) begin(n souringNode) {
	s.nodes[s.used] = n
	s.used++
}

func (s *Souring) follow(c *curve, rate float64, q10 int, prior float64) {
	s.begin(souringNode{course: c, rate: rate, q10: q10, drop: c.drop, narrow: 1 / (c.wide * c.wide), prior: prior})
}

// q10 is the i-th Q10 held: the middle one is that of the pace.
func (s *Souring) q10(i int) float64 {
	return math.Pow(s.pace.Q10, math.Log(souringQ10[i])/math.Log(souringQ10[1]))
}

func (s *Souring) speed(i int, t units.Celsius) float64 {
	return math.Pow(s.q10(i), float64(t.Sub(s.pace.Reference))/10)
}

// Age lets time pass at a temperature.
func (s *Souring) Age(d time.Duration, t units.Celsius) {
	s.past.hours += d.Hours()
	s.past.celsius = t
	s.warmth.add(d.Hours(), float64(t)-s.warming.since(s.past.hours))
	s.hourly.add(s.past.hours, float64(t))
	for i := range s.age {
		s.age[i] += d.Hours() * s.speed(i, t)
	}
}

// See takes the median pH of the last SouringStep.
func (s *Souring) See(ph float64) {
	s.last = ph
	if ph <= usualEnd && s.past.ended == 0 {
		s.past.ended = s.past.hours
	}
	if s.seen == 0 {
		s.firstSeen = s.past.hours
	}
	s.seen++
	s.trail.add(s.age, ph)
	copy(s.past.recent[1:], s.past.recent[:])
	s.past.recent[0] = ph
	var keeps [len(souringQ10)]float64
	for i := range keeps {
		keeps[i] = math.Exp2((s.seenAt[i] - s.age[i]) / forgetHalf)
	}
	s.seenAt = s.age
	for i := range s.nodes[:s.used] {
		n := &s.nodes[i]
		x, keep := n.done(s.age[n.q10]), keeps[n.q10]
		n.n, n.s, n.ss = n.n*keep+1, n.s*keep+x, n.ss*keep+x*x
		n.y, n.sy, n.yy = n.y*keep+ph, n.sy*keep+x*ph, n.yy*keep+ph*ph
	}
	if s.seen%stepsAnHour == 0 {
		s.lookBack()
	}
}

// done is the part of the drop that is done at an age.
func (n *souringNode) done(age float64) float64 {
	if n.course != nil {
		return n.course.at(age * n.rate)
	}
	return (1/(1+math.Exp(-n.rate*(age-n.middle))) - n.first) / (1 - n.first)
}

// age is when a part of the drop is done; the inverse of done.
func (n *souringNode) age(part float64) float64 {
	if n.course != nil {
		return n.course.when(part) / n.rate
	}
	whole := n.first + part*(1-n.first)
	return n.middle + math.Log(whole/(1-whole))/n.rate
}

// fitted is a curve with its start and drop, their variances, and the logarithm of how well it fits.
type fitted struct{ start, drop, vStart, vDrop, both, good float64 }

// fit is Bayesian linear regression of pH = start - drop*s with normal priors (for example Gelman et al., Bayesian Data Analysis, 3rd ed., section 14.8), on two unknowns by hand.
func (n *souringNode) fit() fitted {
	const noise = stepNoise * stepNoise
	const pa = 1 / (startSpread * startSpread)
	pb := n.narrow
	aa, ab, bb := pa+n.n/noise, -n.s/noise, pb+n.ss/noise
	ya, yb := pa*usualStart+n.y/noise, pb*n.drop-n.sy/noise
	det := aa*bb - ab*ab
	start, drop := (bb*ya-ab*yb)/det, (aa*yb-ab*ya)/det
	rest := pa*usualStart*usualStart + pb*n.drop*n.drop + n.yy/noise - start*ya - drop*yb
	return fitted{start, drop, bb / det, aa / det, -ab / det, n.prior - (rest+math.Log(det/(pa*pb)))/2}
}
