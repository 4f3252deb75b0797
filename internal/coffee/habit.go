package coffee

import "math"

// LayerHabit is what an estate's own dried layers have taught about the next one: how likely each way is and how quick, by what part the forecasts were off, and how wide their intervals
// have to be. It is plain data, so that it can be kept. Its zero value has to be made usual first.
type LayerHabit struct {
	Layers  int                // dried to their target before the meter, that it rests on
	Chances [layerWays]float64 // logarithms
	Pace    [layerWays]float64 // logarithms, usual
	Paces   float64            // deviation of a layer's pace from that
	Unlike  float64            // sum of the squares of what layers differed by from those before them
	Late    float64            // logarithm of the time that was left by the time that was foreseen
	Wider   Wider
	Timed   int     // layers laid fresh that Took rests on
	Took    float64 // logarithm of the hours that one took, in the mean
	Apart   float64 // sum of the squares of what layers differed by in that from those before
	Courses [layerCourses]LayerCourse
	Missed  float64 // sum over layers of the mean square of what the ways were off by, logarithms
}

// UsualLayers is the habit of an estate that has dried nothing before the program yet.
func UsualLayers(deck bool) LayerHabit {
	if deck {
		return tradeDecks()
	}
	return tradeDryers()
}

// Chosen.
const (
	habitTrust = 0.8  // that the next layer goes as the estate's others did, after many
	habitFirst = 0.3  // layers that the trade counts for
	habitLots  = 0.15 // deviation of the logarithm of the pace from lot to lot, which are laid thicker or thinner, and
	habitCount = 2.0  // layers that it counts for
	habitPaces = 0.1  // the least
	habitLate  = 0.2  // of what a layer's forecasts were off by: the ways learn too
	habitOff   = 0.25 // deviation that ways and usual time are thought to be off by while one layer more than there were counts for it
	habitGone  = 0.85 // of the usual time: what is left of it then says nothing
	habitFar   = 1.0  // of a logarithm: one layer says no more
	hindsStay  = 8    // h that a layer has to lie for
	layerHinds = 48
	layerStep  = 1.0 // of the logarithm, if all forecasts of a layer missed
	// layerNarrow is the narrowest, a logarithm.
	layerNarrow = -0.3
)

// Hindsight is a forecast that is kept until it is known what came, hours since the beginning: the middle of the ways, and how wide its sides were thought to be.
type Hindsight struct{ Hours, End, Early, Late float64 }

// Hindsights are those of one layer, evenly over its stay.
type Hindsights struct {
	Kept  [layerHinds]Hindsight
	N     int
	Every int // hours; 0: 1
}

func (k *Hindsights) add(h Hindsight) {
	every := max(1, k.Every)
	if k.N > 0 && h.Hours-k.Kept[k.N-1].Hours < float64(every) {
		return
	}
	if k.N == layerHinds {
		k.N, k.Every = layerHinds/2, 2*every
		for i := range k.N {
			k.Kept[i] = k.Kept[2*i+1]
		}
	}
	k.Kept[k.N] = h
	k.N++
}

// Habit lets the layer be forecast as the estate's others went; to be called before Begin, and after a pause.
func (l *Layer) Habit(h *LayerHabit) { l.habit, l.ready = h, false }

// With is the habit after one more layer, which came to its target lately or is near to it.
func (h LayerHabit) With(l *Layer, target DryBasis) LayerHabit {
	l.settle()
	if l.blind || l.Passed < hindsStay {
		return h
	}
	ended := l.came(target)
	n := float64(h.Layers + 1)
	h.learnWays(l, n)
	before := h.Late
	off, squares, told := 0.0, 0.0, 0.0
	for _, k := range l.Hinds.Kept[:l.Hinds.N] {
		if part := k.Hours / ended; part >= hindsFrom && part <= hindsTo {
			by := max(-habitFar, min(habitFar, math.Log((ended-k.Hours)/max(widerSure, k.End-k.Hours))-before))
			off, squares, told = off+by, squares+by*by, told+1
		}
	}
	if told > 0 {
		h.Wider = h.Wider.afterLayer(l, ended, before)
		h.Late += habitLate * off / told
		h.Missed += squares / told
	}
	if l.fresh() {
		h.learnTime(math.Log(ended))
		if c, ok := l.course(target); ok {
			h.Courses[h.Layers%layerCourses] = c
		}
	}
	h.Layers++
	return h
}

// learnWays shifts chances and paces towards those of the layer.
func (h *LayerHabit) learnWays(l *Layer, n float64) {
	best, total, off := math.Inf(-1), 0.0, 0.0
	for i := range l.ways {
		best = max(best, l.good(i))
	}
	for i := range l.ways {
		total += math.Exp(l.good(i) - best)
	}
	for i := range l.ways {
		w := &l.ways[i]
		likely := math.Exp(l.good(i)-best) / total
		off += likely * (w.pace - h.Pace[i]) * (w.pace - h.Pace[i])
		h.Pace[i] += (w.pace - h.Pace[i]) / (n + habitFirst)
		const evenly = 1.0 / layerWays
		was := math.Exp(h.Chances[i]) * evenly
		h.Chances[i] = math.Log((was + (habitTrust*likely+(1-habitTrust)*evenly-was)/(n+1)) / evenly)
	}
	if n > 1 { // the first only differs from the trade
		h.Unlike += off * (n - 1) / n
	}
	lots := (habitCount*habitLots*habitLots + h.Unlike) / (habitCount + n - 1)
	h.Paces = max(habitPaces, math.Sqrt(lots*(1+1/(n+habitFirst))))
}

// learnTime takes the logarithm of the time that one more layer took.
func (h *LayerHabit) learnTime(took float64) {
	h.Timed++
	n, by := float64(h.Timed), took-h.Took
	h.Apart += by * by * (n - 1) / n
	h.Took += by / n
}

// Usual is the time that the estate's layers take when laid fresh, h, and the deviation of its logarithm; false: none was dried.
func (h *LayerHabit) Usual() (hours, spread float64, known bool) {
	n := float64(h.Timed)
	return math.Exp(h.Took), math.Sqrt((habitOff*habitOff + h.Apart) / n * (1 + 1/n)), n > 0
}

// beside lets the time that the estate's layers took, less the hours gone, count beside what the ways say is left: each by how far it was off so far. What both say is surer than what the ways say alone: by so much narrower, as a
// factor, is its interval.
func (h *LayerHabit) beside(left, gone float64) (both, narrower float64) {
	usual, spread, known := h.Usual()
	if !known || left <= 0 || gone > habitGone*usual {
		return left, 1
	}
	ways, time := math.Sqrt((habitOff*habitOff+h.Missed)/(1+float64(h.Layers))), spread/(1-gone/usual)
	part := ways * ways / (ways*ways + time*time) // that time counts for
	return left * math.Pow((usual-gone)/left, part), math.Sqrt(1 - part)
}

// afterLayer is it after one more layer, whose forecasts were moved by late. It never comes far below the usual: a few layers are little proof that the next is foreseen better.
func (w Wider) afterLayer(l *Layer, ended, late float64) Wider {
	n, tooEarly, tooLate := 0.0, 0.0, 0.0
	for _, k := range l.Hinds.Kept[:l.Hinds.N] {
		if part := k.Hours / ended; !(part >= hindsFrom && part <= hindsTo) {
			continue
		}
		n++
		left, by := ended-k.Hours, math.Exp(late)
		middle := by * (k.End - k.Hours)
		switch {
		case left < middle-by*math.Exp(w.Early)*k.Early:
			tooEarly++
		case left > middle+by*math.Exp(w.Late)*k.Late:
			tooLate++
		}
	}
	if n == 0 {
		return w
	}
	moved := func(v, missed float64) float64 {
		return max(layerNarrow, min(widerHigh, v+layerStep*(missed/n-widerMiss)))
	}
	return Wider{moved(w.Early, tooEarly), moved(w.Late, tooLate)}
}
