package coffee

import (
	"math"
	"time"

	"millwarden/internal/units"
)

// Forecast is when something will be, as time from now: the middle and the ends of an interval that should hold the truth in four cases of five.
type Forecast struct {
	Early, Middle, Late time.Duration
}

// Why a forecast cannot be made.
const (
	SaysTooSoon  = "cannot say yet: less than an hour of pH is known"
	SaysTooWide  = "cannot say yet: the readings allow too many ends"
	SaysNoEnd    = "cannot say: the pH does not fall as in a fermentation"
	widestRatio  = 2.4            // chosen: what is wider helps nobody
	farthest     = 30 * time.Hour // chosen: what is seen further off than a day is wild more often than right
	rising       = 0.15           // pH in an hour, chosen: a probe that was moved, or a liquor that was changed
	leastSeen    = 6              // an hour of SouringStep
	neverAllowed = 0.2            // chosen
	// cut is where the interval of the curves alone ends.
	cut = 0.17
)

// How much wider than the curves' own interval an honest one is: conformal factors (Vovk, Gammerman, Shafer 2005), chosen so that the interval holds four truths of five over all laws of package
// tanktest that may be looked at; what an estate's own tanks show comes on top (Wider).
const (
	widerEarly    = 0.52
	widerLate     = 0.72
	leastEarly    = 0.4  // h: near the end tanks quicken
	widerLateLeft = 0.12 // part of the time left
	// The interval of the curves is never narrower than by this part of the time left, and by this part of how far the forecasts of the last eight hours were from today's.
	widerLeft  = 0.2
	widerMoved = 0.3
	widerLeast = 0.05 // h
)

// Where the pH hardly fell yet, the curves through it say little: the usual time counts as much as they do. Chosen, on the laws that may be looked at.
const (
	hardlyFell   = 0.30 // pH below the usual start, and
	hardlyFalls  = 0.05 // pH an hour: above these the curves count alone,
	hardlyFellBy = 0.10 // and less by so much, the usual time has its whole part
	hardlyFallBy = 0.02
	usualPart    = 0.5
)

// The mass is ahead of what is read and quickens more than the curves do. Chosen, on all laws that may be looked at: on each set the middle tank came 9 to 17 min earlier than foreseen at nine tenths of the way.
const (
	electrodeLags = 0.2  // h: slime on the glass, and the median of ten minutes
	quickensBy    = 0.05 // part of the time left, once the pH
	quickensFell  = 0.6  // is so far below the usual start
	washedAbove   = 4.4  // pH: nothing was judged below
)

// stepsAnHour is how many SouringStep are an hour.
const stepsAnHour = 6

// backTest is what the tank's own past says of its forecasts: each hour's, held against those of the hours before.
type backTest struct {
	hours   float64                    // since loading
	celsius units.Celsius              // of the last step
	ends    [backHours + 1]float64     // h after loading at which the forecasts of the last hours saw the usual end, the newest first; 0: none
	recent  [2*stepsAnHour + 1]float64 // pH of the last steps, the newest first
	hinds   [hindsMost]hindsight
	told    int
	ended   float64 // h after loading at which the pH was first at the usual end; 0: not yet
}

const backHours = 8

// lookBack makes this hour's forecast of the usual end, for the hours to come to be held against.
func (s *Souring) lookBack() {
	b := &s.past
	copy(b.ends[1:], b.ends[:])
	b.ends[0] = 0
	if f, why := s.curves(usualEnd, b.celsius); why == "" {
		b.ends[0] = b.hours + f.Middle.Hours()
		if b.told < len(b.hinds) && b.ended == 0 {
			b.hinds[b.told] = hindsight{b.hours, b.ends[0], s.wide(&f)}
			b.told++
		}
	}
}

// moved is by how much the forecast of an hour, two, four, eight hours ago differed from the newest one at most, h.
func (b *backTest) moved() (most float64) {
	for back := 1; back <= backHours; back *= 2 {
		if b.ends[0] > 0 && b.ends[back] > 0 {
			most = max(most, math.Abs(b.ends[0]-b.ends[back]))
		}
	}
	return most
}

// rises tells that the pH rose over the last hour, as in no fermentation.
func (b *backTest) rises() bool {
	before := b.recent[stepsAnHour]
	return before > 0 && b.recent[0]-before > rising
}

// falls is the fall of the pH over the last two hours, an hour.
func (b *backTest) falls() float64 {
	const hours = 2
	return (b.recent[hours*stepsAnHour] - b.recent[0]) / hours
}

// Until forecasts when the pH reaches target, the mass being at t and going on from there as lately. Without a forecast it says why.
func (s *Souring) Until(target float64, t units.Celsius, since time.Duration) (f Forecast, why string) {
	if s.seen < leastSeen && !(s.seen > 1 && s.past.hours-s.firstSeen >= 1) { // by hand it is read now and then
		return f, SaysTooSoon
	}
	if f, why = s.curves(target, t); why != "" {
		return f, why
	}
	early, late := s.wider.sides(f.Middle.Hours(), s.wide(&f))
	if target > washedAbove {
		f.Middle = s.sooner(f.Middle)
	}
	f.Early, f.Late = max(0, f.Middle-hoursOf(early)), f.Middle+hoursOf(late)
	if float64(since+f.Late) > widestRatio*float64(since+f.Early) || f.Middle > farthest || s.past.rises() {
		return f, SaysTooWide
	}
	return f, ""
}

// sooner is the time left of the mass, by that of the curves.
func (s *Souring) sooner(left time.Duration) time.Duration {
	fell := max(0, min(1, (usualStart-s.last)/quickensFell))
	return max(0, time.Duration((1-quickensBy*fell)*float64(left))-hoursOf(electrodeLags))
}

func hoursOf(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

// wide is how wide the curves take a side of the interval to be, h.
func (s *Souring) wide(f *Forecast) float64 {
	half, left, moved := (f.Late-f.Early).Hours()/2, widerLeft*f.Middle.Hours(), widerMoved*s.past.moved()
	return math.Sqrt(half*half+left*left+moved*moved) + widerLeast
}

// curves is what the weighted curves say, and the usual time where the pH hardly fell.
func (s *Souring) curves(target float64, t units.Celsius) (f Forecast, why string) {
	clear(s.chance[:])
	best := s.fit(s.used)
	s.look(t)
	total := 0.0
	for i := range s.nodes[:s.used] {
		total += s.spread(i, target, best)
	}
	if total == 0 || s.chance[forecastSteps] > neverAllowed*total {
		return f, SaysNoEnd
	}
	f = Forecast{s.quantile(cut * total), s.quantile(0.5 * total), s.quantile((1 - cut) * total)}
	if part := s.usual(); part > 0 && target == usualEnd {
		if usual := hoursOf(s.ahead[1].hours(s.ready - s.age[1])); usual > 0 {
			f.Middle += time.Duration(part * float64(usual-f.Middle))
			f.Early, f.Late = min(f.Early, f.Middle), max(f.Late, f.Middle)
		}
	}
	return f, ""
}

// usual is the part that the usual time has in a forecast: none once the pH has fallen or falls.
func (s *Souring) usual() float64 {
	if s.seen <= 2*stepsAnHour {
		return 0
	}
	up := func(v, least, by float64) float64 { return max(0, min(1, (least-v)/by)) }
	return usualPart * up(usualStart-s.last, hardlyFell, hardlyFellBy) * up(s.past.falls(), hardlyFalls, hardlyFallBy)
}

// fit fits the first n curves and gives how well the best one fits.
func (s *Souring) fit(n int) float64 {
	best := math.Inf(-1)
	for i := range s.nodes[:n] {
		s.fits[i] = s.nodes[i].fit()
		best = max(best, s.fits[i].good)
	}
	return best
}

// souringEnds are the points and weights by which a normal deviation is gone through: means of fifths.
var souringEnds = [...]float64{-1.40, -0.53, 0, 0.53, 1.40}

// spread adds the ends of one curve to the chances and gives its weight.
func (s *Souring) spread(i int, target, best float64) float64 {
	n, f := &s.nodes[i], &s.fits[i]
	const least = -9.2 // one in ten thousand
	if f.good-best < least || f.drop < 0.1 {
		return 0
	}
	weight := math.Exp(f.good - best)
	part := (f.start - target) / f.drop
	deviation := math.Sqrt(max(0, f.vStart-2*part*f.both+part*part*f.vDrop)+probeOffset*probeOffset) / f.drop
	for _, end := range souringEnds {
		step := forecastSteps
		if p := part + end*deviation; p <= 0 {
			step = 0
		} else if p < 0.995 || n.course != nil {
			if left := s.ahead[n.q10].hours(n.age(p)-s.age[n.q10]) * float64(time.Hour/forecastStep); left < float64(forecastSteps) {
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
