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
//   - start at pH 5.6 ± 0.2 (5.5 to 5.8, Jackels 2005), levelling off 1.8 ± 0.3 lower (3.6 to 4.0 is severely over, Jackels 2006);
//   - Q10 of 1.5, 2 or 2.6 (no measured one was found);
//   - a fall that quickens towards the end is likelier than one that slows: from 4.6 on pH falls 0.2 to 0.27 an hour, three times its mean (Jackels 2006);
//   - what was measured long ago counts less, since no tank follows one curve to its end.
type Souring struct {
	pace  Pace
	nodes [souringNodes]souringNode
	age   [len(souringQ10)]float64 // h at the reference temperature, by Q10
	last  float64                  // newest pH
	seen  int
	// chance is the scratch of a forecast: how likely the end lies in each step of forecastStep.
	chance [forecastSteps + 1]float64
}

// SouringStep is the time that one pH given to Souring should stand for: a median of that long. It is chosen, and the weights rest on it.
const SouringStep = 10 * time.Minute

const (
	souringTimes, souringShapes = 19, 7
	souringNodes                = souringTimes * souringShapes * len(souringQ10)

	usualStart, startSpread = 5.6, 0.20
	usualDrop, dropSpread   = 1.8, 0.20
	usualEnd                = 4.6
	readySpread             = 0.32 // of the logarithm of the time needed
	leastSpread             = 0.10
	// stepNoise is how far a ten-minute median may lie off its curve. Electrodes do better (0.03); chosen: wide, because neighbours err alike.
	stepNoise = 0.05
	// forgetHalf is after how many reference hours a value counts half.
	forgetHalf = 2.0
	// probeOffset is what a calibrated electrode may be off by over a stay, and a curve near its end; chosen, from 0.04 pH a day and buffers good to 0.02.
	probeOffset = 0.07

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
	rate, middle, first       float64 // 1/h, h, logistic at the start
	prior                     float64 // logarithm
	q10                       int
	n, s, ss, y, sy, yy, past float64
}

// Habit is what is known before a tank is measured: how long such tanks need at the reference temperature, how their pH falls, how warmth hastens them. It is
// plain data, so that it can be kept; the estate's own washed tanks sharpen it.
type Habit struct {
	Pace   Pace
	Ready  time.Duration
	Spread float64 // standard deviation of the logarithm of the time needed
	Shapes [souringShapes]float64
	Q10s   [len(souringQ10)]float64
	Tanks  int // washed tanks it rests on
}

// UsualHabit is that of a mill without washed tanks of its own.
func UsualHabit(p Pace, ready time.Duration) Habit {
	return Habit{Pace: p, Ready: ready, Spread: readySpread, Shapes: shapeChance, Q10s: q10Chance}
}

// With is the habit after one more tank of the same estate, which passed its end after so many hours at the reference temperature. The habit of before counts
// as one tank for the time and as two for the shape (chosen); lots never differ by less than a tenth (chosen).
func (h Habit) With(s *Souring, ended time.Duration) Habit {
	if ended <= 0 {
		return h
	}
	n := float64(h.Tanks + 1)
	off := math.Log(ended.Hours() / h.Ready.Hours())
	h.Ready = time.Duration(float64(h.Ready) * math.Exp(off/(n+1)))
	h.Spread = max(leastSpread, math.Sqrt((n*h.Spread*h.Spread+off*off*n/(n+1))/(n+1)))
	shapes, q10s := s.likely()
	for i := range h.Shapes {
		h.Shapes[i] += (shapes[i] - h.Shapes[i]) / (n + 2)
	}
	for i := range h.Q10s {
		h.Q10s[i] += (q10s[i] - h.Q10s[i]) / (n + 2)
	}
	h.Tanks++
	return h
}

// Ended is the age at the reference temperature, by the Q10 of the pace.
func (s *Souring) Ended() time.Duration { return time.Duration(s.age[1] * float64(time.Hour)) }

// likely is how likely each shape and Q10 is by now.
func (s *Souring) likely() (shapes [souringShapes]float64, q10s [len(souringQ10)]float64) {
	best := math.Inf(-1)
	for i := range s.nodes {
		_, _, _, _, _, good := s.nodes[i].fit()
		best = max(best, good)
	}
	total := 0.0
	for i := range s.nodes {
		_, _, _, _, _, good := s.nodes[i].fit()
		w := math.Exp(good - best)
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
	s := &Souring{pace: h.Pace}
	i := 0
	for q := range souringQ10 {
		for t := range souringTimes {
			off := -2.4 + 4.8*float64(t)/(souringTimes-1) // standard deviations
			for k, shape := range souringShapesAt {
				first := 1 / (1 + math.Exp(shape))
				done := first + (usualStart-usualEnd)/usualDrop*(1-first)
				hours := h.Ready.Hours() * math.Exp(off*h.Spread)
				rate := (shape + math.Log(done/(1-done))) / hours
				s.nodes[i] = souringNode{rate: rate, middle: shape / rate, first: first, q10: q, prior: math.Log(h.Q10s[q]*h.Shapes[k]) - off*off/2}
				i++
			}
		}
	}
	return s
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
	for i := range s.age {
		s.age[i] += d.Hours() * s.speed(i, t)
	}
}

// See takes the median pH of the last SouringStep.
func (s *Souring) See(ph float64) {
	s.last = ph
	s.seen++
	for i := range s.nodes {
		n := &s.nodes[i]
		age := s.age[n.q10]
		keep := math.Exp2((n.past - age) / forgetHalf)
		n.past = age
		x := n.done(age)
		n.n, n.s, n.ss = n.n*keep+1, n.s*keep+x, n.ss*keep+x*x
		n.y, n.sy, n.yy = n.y*keep+ph, n.sy*keep+x*ph, n.yy*keep+ph*ph
	}
}

// done is the part of the drop that is done at an age.
func (n *souringNode) done(age float64) float64 {
	return (1/(1+math.Exp(-n.rate*(age-n.middle))) - n.first) / (1 - n.first)
}

// age is when a part of the drop is done; the inverse of done.
func (n *souringNode) age(part float64) float64 {
	whole := n.first + part*(1-n.first)
	return n.middle + math.Log(whole/(1-whole))/n.rate
}

// fit is the start and the drop of a curve with their variances, and the logarithm of how well it fits. Bayesian linear regression of pH = start - drop*s with
// normal priors (for example Gelman et al., Bayesian Data Analysis, 3rd ed., section 14.8), on two unknowns by hand.
func (n *souringNode) fit() (start, drop, vStart, vDrop, both, good float64) {
	const noise = stepNoise * stepNoise
	const pa, pb = 1 / (startSpread * startSpread), 1 / (dropSpread * dropSpread)
	aa, ab, bb := pa+n.n/noise, -n.s/noise, pb+n.ss/noise
	ya, yb := pa*usualStart+n.y/noise, pb*usualDrop-n.sy/noise
	det := aa*bb - ab*ab
	start, drop = (bb*ya-ab*yb)/det, (aa*yb-ab*ya)/det
	rest := pa*usualStart*usualStart + pb*usualDrop*usualDrop + n.yy/noise - start*ya - drop*yb
	return start, drop, bb / det, aa / det, -ab / det, n.prior - (rest+math.Log(det/(pa*pb)))/2
}

// Forecast is when something will be, as time from now: the middle and the ends of an interval that should hold the truth in four cases of five.
type Forecast struct {
	Early, Middle, Late time.Duration
}

// Why a forecast cannot be made.
const (
	SaysTooSoon  = "cannot say yet: less than an hour of pH is known"
	SaysTooWide  = "cannot say yet: the readings allow too many ends"
	SaysNoEnd    = "cannot say: the pH does not fall as in a fermentation"
	widestRatio  = 3.0 // chosen: 8 h to 24 h after loading is the prior alone, and still tells the crew to sleep first
	leastSeen    = 6   // an hour of SouringStep
	neverAllowed = 0.2 // chosen
	// cut is where the interval ends. The curves held differ by more than tanks do, so their middle two thirds hold four truths of five: found on the laws Gompertz
	// and Broken of package tanktest, and judged on its others.
	cut = 0.17
)

// souringEnds are the points and weights by which a normal deviation is gone through: means of fifths.
var souringEnds = [...]float64{-1.40, -0.53, 0, 0.53, 1.40}

// Until forecasts when the pH reaches target, the mass staying at t. Without a forecast it says why.
func (s *Souring) Until(target float64, t units.Celsius, since time.Duration) (f Forecast, why string) {
	if s.seen < leastSeen {
		return f, SaysTooSoon
	}
	clear(s.chance[:])
	best := math.Inf(-1)
	for i := range s.nodes {
		_, _, _, _, _, good := s.nodes[i].fit()
		best = max(best, good)
	}
	var speeds [len(souringQ10)]float64
	for i := range speeds {
		speeds[i] = s.speed(i, t)
	}
	total := 0.0
	for i := range s.nodes {
		total += s.spread(&s.nodes[i], target, best, &speeds)
	}
	if total == 0 || s.chance[forecastSteps] > neverAllowed*total {
		return f, SaysNoEnd
	}
	f = Forecast{s.quantile(cut * total), s.quantile(0.5 * total), s.quantile((1 - cut) * total)}
	if float64(since+f.Late) > widestRatio*float64(since+f.Early) {
		return f, SaysTooWide
	}
	return f, ""
}

// spread adds the ends of one curve to the chances and gives its weight.
func (s *Souring) spread(n *souringNode, target, best float64, speeds *[len(souringQ10)]float64) float64 {
	start, drop, vStart, vDrop, both, good := n.fit()
	weight := math.Exp(good - best)
	if weight < 1e-4 || drop < 0.1 {
		return 0
	}
	part := (start - target) / drop
	deviation := math.Sqrt(max(0, vStart-2*part*both+part*part*vDrop)+probeOffset*probeOffset) / drop
	for _, end := range souringEnds {
		step := forecastSteps
		if p := part + end*deviation; p <= 0 {
			step = 0
		} else if p < 0.995 {
			if left := (n.age(p) - s.age[n.q10]) / speeds[n.q10] * float64(time.Hour/forecastStep); left < float64(forecastSteps) {
				step = max(0, int(left))
			}
		}
		s.chance[step] += weight
	}
	return weight * float64(len(souringEnds))
}

// quantile is the time by which so much of the chance is used up.
func (s *Souring) quantile(want float64) time.Duration {
	sum := 0.0
	for i, c := range s.chance {
		if sum+c >= want && c > 0 {
			return time.Duration((float64(i) + (want-sum)/c) * float64(forecastStep))
		}
		sum += c
	}
	return time.Duration(forecastSteps) * forecastStep
}
