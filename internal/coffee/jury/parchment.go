package jury

import "math"

// Drying is a law by which parchment dries.
type Drying uint8

const (
	// Newton is the exponential model with the nine constants that Phitakwinai 2019 fitted to parchment (table 2, as quoted).
	Newton Drying = iota
	// Screens are beans of five sizes, screen 14 to 18, each with water on its hull that goes first; the smaller the quicker.
	Screens
	// Sheet lets water diffuse in half a bean as in a plane sheet (Crank 1975), the slower the drier and the cooler, and through the film of air and hull.
	Sheet
	// Reaction drives water off against a barrier that grows as the bean dries (Chen 2008, the reaction engineering approach, from memory).
	Reaction
	// Aghbashlo is the exponential model whose pace changes with age (Aghbashlo 2009, from memory), by equivalent time.
	Aghbashlo
	Dryings
)

func (l Drying) String() string {
	return [...]string{"Newton as fitted", "screens", "sheet", "reaction", "Aghbashlo"}[l]
}

// parchment is such a law, as an estate's coffee has it: h hours in air of t °C and a part rh of saturation, for the state of a handful of beans.
type parchment interface {
	fresh(m float64) []float64 // % of the dry weight
	pass(state []float64, h, t, rh float64)
	mean(state []float64) float64
	soak(state []float64, m float64) // by rain, % of the dry weight
}

// wetBasis is % of the whole, dryBasis % of the dry weight.
func wetBasis(m float64) float64 { return 100 * m / (100 + m) }
func dryBasis(w float64) float64 { return 100 * w / (100 - w) }

// taking is how much slower beans take up water than they give it (hysteresis; choice).
const taking = 0.35

// newParchment makes a law as an estate has it. Energies of activation of 20 to 35 kJ/mol are those of coffee in the literature (from memory; those of Newton's table come to 30 to 35); isotherms of estates lie within 5 % of the usual one, whose
// own error was 0.5 in some 12 % (Trejos 1989, as quoted). Other numbers are choices that keep the course of a layer near that of the fits.
func newParchment(law Drying, own Draw) parchment {
	holds := own(0.95, 1.05)
	switch law {
	case Newton:
		return &newton{holds}
	case Screens:
		return &screens{hull: own(0.12, 0.25), energy: own(24, 34), damp: own(0.012, 0.018), holds: holds}
	case Sheet:
		return &sheet{energy: own(20, 30), wetter: own(0.002, 0.006), film: own(3, 10), holds: holds}
	case Reaction:
		return &reaction{barrier: own(3, 5), power: own(0.85, 1.1), holds: holds}
	}
	return &aghbashlo{quickens: own(0.02, 0.09), energy: own(24, 34), damp: own(0.012, 0.018), holds: holds}
}

// peleg is the isotherm in the form of Peleg 1993: % of the dry weight in air of t °C and a part h of saturation. Its constants were fitted to the equation of Trejos, Roa, Oliveros 1989 at 15 to 55 °C and 12 to 90 %RH.
func peleg(t, h float64) float64 {
	h = below(h)
	return (15.054*math.Pow(h, 0.45) + 13.455*math.Pow(h, 7)) * math.Exp(-0.004*(t-25))
}

// below keeps the humidity where isotherms hold.
func below(h float64) float64 { return between(0.03, h, 0.95) }

// toward is a change of so much toward the rest, slower where water is taken up.
func toward(change float64) float64 {
	if change > 0 {
		return taking * change
	}
	return change
}

// fittedNewton are the constants of table 2, an hour, by 10, 20, 30 %RH and by 50, 60, 70 °C.
var fittedNewton = [3][3]float64{{0.13392, 0.19754, 0.24881}, {0.11736, 0.17297, 0.2049}, {0.09931, 0.13797, 0.16585}}

type newton struct{ holds float64 }

// constant is between the lines of the table, its logarithm straight with 1/T and with the humidity; outside it goes on as steeply as between the two lines that are nearest (choice: the paper measured no cooler and no damper air).
func (p *newton) constant(t, rh float64) float64 {
	i, j := int(between(0, 10*rh-1, 1)), int(between(0, t/10-5, 1))
	of := func(celsius float64) float64 { return 1 / (celsius + kelvin) }
	low, high := float64(50+10*j), float64(60+10*j)
	x, y := 10*rh-1-float64(i), (of(t)-of(low))/(of(high)-of(low))
	at := func(i int) float64 {
		return interpolate(math.Log(fittedNewton[i][j]), math.Log(fittedNewton[i][j+1]), y)
	}
	return math.Exp(interpolate(at(i), at(i+1), x))
}

func (p *newton) soak(s []float64, m float64)  { s[0] += m }
func (p *newton) fresh(m float64) []float64    { return []float64{m} }
func (p *newton) mean(state []float64) float64 { return state[0] }
func (p *newton) pass(s []float64, h, t, rh float64) {
	s[0] += toward((1 - math.Exp(-h*p.constant(t, rh))) * (p.holds*peleg(t, rh) - s[0]))
}

// sizes are the part of each screen, and how much larger it is across than 16.
var sizes = [...]struct{ part, wide float64 }{{0.1, 0.875}, {0.22, 0.94}, {0.36, 1}, {0.22, 1.06}, {0.1, 1.125}}

// screens holds the water within beans of each size, and last that on the hulls: a part of what is above 40 %.
type screens struct{ hull, energy, damp, holds float64 }

func (p *screens) soak(s []float64, m float64) { s[len(sizes)] += m }
func (p *screens) fresh(m float64) []float64 {
	s, hull := make([]float64, len(sizes)+1), p.hull*math.Max(0, m-40)
	for i := range sizes {
		s[i] = m - hull
	}
	s[len(sizes)] = hull
	return s
}

func (p *screens) mean(s []float64) float64 {
	sum := s[len(sizes)]
	for i, size := range sizes {
		sum += size.part * s[i]
	}
	return sum
}

func (p *screens) pass(s []float64, h, t, rh float64) {
	h *= 0.085 * arrhenius(p.energy, 42, t) * math.Exp(-100*p.damp*(rh-0.2))
	end, last := p.holds*peleg(t, rh), len(sizes)
	off := math.Min(s[last], 110*h) // as quick as beans of Newton's begin
	s[last] -= off
	h *= 1 - 0.9*off/(110*h)
	for i, size := range sizes {
		s[i] += toward(1.25 * h / (size.wide * size.wide) * (end - s[i]))
	}
}

// leaves of the sheet are of equal thickness, the last one below the skin.
const leaves = 6

type sheet struct{ energy, wetter, film, holds float64 }

func (p *sheet) soak(s []float64, m float64) { s[leaves-1] += leaves * m }
func (p *sheet) fresh(m float64) []float64 {
	s := make([]float64, leaves)
	for i := range s {
		s[i] = m
	}
	return s
}

func (p *sheet) mean(s []float64) (sum float64) {
	for _, m := range s {
		sum += m / leaves
	}
	return sum
}

func (p *sheet) pass(s []float64, h, t, rh float64) {
	const half = 0.5 / leaves              // from the middle of a leaf to its side
	h *= 0.05 * arrhenius(p.energy, 42, t) // of the square of half a bean
	quick := func(m float64) float64 { return math.Exp(p.wetter * (m - 50)) }
	flow := 0.0 // into the leaf from within
	for i := range s {
		in := flow
		if i < leaves-1 {
			flow = h * quick((s[i]+s[i+1])/2) / (2 * half) * (s[i] - s[i+1])
		} else {
			flow = -toward(h / (half/quick(s[i]) + 1/p.film) * (p.holds*peleg(t, rh) - s[i]))
		}
		s[i] += leaves * (in - flow)
	}
}

type reaction struct{ barrier, power, holds float64 }

func (p *reaction) soak(s []float64, m float64)  { s[0] += m }
func (p *reaction) fresh(m float64) []float64    { return []float64{m} }
func (p *reaction) mean(state []float64) float64 { return state[0] }
func (p *reaction) pass(s []float64, h, t, rh float64) {
	rh = below(rh)
	over := (s[0] - p.holds*peleg(t, rh)) / 100
	if over <= 0 {
		s[0] -= taking * 7 * h * over
		return
	}
	part := math.Exp(-p.barrier * math.Pow(over, p.power)) // of the barrier of beans at rest
	s[0] -= math.Min(100*over, 0.95*h*saturation(t)*(math.Pow(rh, part)-rh))
}

type aghbashlo struct{ quickens, energy, damp, holds float64 }

func (p *aghbashlo) soak(s []float64, m float64)  { s[0] += m }
func (p *aghbashlo) fresh(m float64) []float64    { return []float64{m, m} }
func (p *aghbashlo) mean(state []float64) float64 { return state[0] }
func (p *aghbashlo) pass(s []float64, h, t, rh float64) {
	end := p.holds * peleg(t, rh)
	h *= 0.08 * arrhenius(p.energy, 42, t) * math.Exp(-100*p.damp*(rh-0.2))
	if s[0] <= end {
		s[0] += taking * h * (end - s[0])
		return
	}
	gone := -math.Log(math.Min(1, (s[0]-end)/(s[1]-end))) // k age / (1 - quickens age)
	age := math.Min(gone/(1+p.quickens*gone)+h, 0.9/p.quickens)
	s[0] = math.Min(s[0], end+(s[1]-end)*math.Exp(-age/(1-p.quickens*age)))
}

// hoursOf is how long a thin layer needs from 54 to 11 %wb in such air.
func hoursOf(p parchment, t, rh float64) float64 {
	s, hours := p.fresh(dryBasis(54)), 0.0
	for ; wetBasis(p.mean(s)) > Dry && hours < 600; hours += step {
		p.pass(s, step, t, rh)
	}
	return hours
}

// step is that of all drying, in h.
const (
	stepMinutes = 5
	step        = stepMinutes / 60.0
)
