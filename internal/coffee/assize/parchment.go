package assize

import "math"

// Drying is a law by which parchment dries.
type Drying uint8

const (
	// Page goes along MR = exp(-k t^n) (Page 1949), by the age of equal moisture; its rate falls with the humidity of the air as Phitakwinai 2019 found for parchment (table 2, 50 °C: 0.134 an
	// hour at 10 %RH, 0.099 at 30), and rises with warmth by Arrhenius, 22 to 28 kJ/mol (coffee about 22.6, Corrêa 2010, from memory). Isotherm of Henderson.
	Page Drying = iota
	// TwoTerm is the two-term exponential (Henderson 1974): parchment and bean side by side, one quick, one slow. Isotherm GAB.
	TwoTerm
	// Sphere lets water diffuse in a ball (Crank 1975) and through a film of air; Arrhenius. Isotherm of Oswin.
	Sphere
	// Characteristic is a constant rate while the beans are wet, and a falling one below a critical moisture (van Meel 1958), driven by the deficit of the air (Dalton 1802). Isotherm of Chung
	// and Pfost.
	Characteristic
	// Front is a wet core that shrinks below a dry shell (Keey 1972; the unreacted core of Levenspiel 1972), driven by the deficit too. Isotherm of Halsey.
	Front
	Dryings
)

func (l Drying) String() string {
	return [...]string{"Page", "two terms", "sphere", "constant, then falling", "shrinking core"}[l]
}

// parchment is such a law, as an estate's coffee has it: h hours in air of t °C and a part rh of saturation, for the state of a handful of beans.
type parchment interface {
	fresh(m float64) []float64 // % of the dry weight
	pass(state []float64, h, t, rh float64)
	mean(state []float64) float64
}

// wetBasis is % of the whole, dryBasis % of the dry weight.
func wetBasis(m float64) float64 { return 100 * m / (100 + m) }
func dryBasis(w float64) float64 { return 100 * w / (100 - w) }

// arrhenius is the pace against that at 40 °C.
func arrhenius(energy, t float64) float64 {
	return math.Exp(energy / gas * (1/313.15 - 1/(t+273.15)))
}

// taking is how much slower beans take up water than they give it, below the moisture that the air would bring them to (hysteresis, from memory).
const taking = 0.3

func newParchment(law Drying, own Draw) parchment {
	switch law {
	case Page:
		return &page{power: own(1.02, 1.19), energy: own(22, 28), damp: own(0.012, 0.017)}
	case TwoTerm:
		return &twoTerms{part: own(0.55, 0.7), slower: own(0.25, 0.4), energy: own(22, 30)}
	case Sphere:
		return &sphere{film: own(8, 25), energy: own(24, 32)}
	case Characteristic:
		return &characteristic{critical: own(60, 85), bend: own(0.95, 1.2)}
	}
	return &front{film: own(1, 3)}
}

type page struct{ power, energy, damp float64 }

func (p *page) fresh(m float64) []float64    { return []float64{m, m} }
func (p *page) mean(state []float64) float64 { return state[0] }
func (p *page) pass(s []float64, h, t, rh float64) {
	end := henderson(t, rh)
	h *= 0.06 * arrhenius(p.energy, t) * math.Exp(-100*p.damp*(rh-0.25))
	if s[0] <= end+0.02 {
		s[0] += taking * h * (end - s[0])
		return
	}
	age := math.Pow(-math.Log(math.Min(1, (s[0]-end)/(s[1]-end))), 1/p.power)
	s[0] = end + (s[1]-end)*math.Exp(-math.Pow(age+h, p.power))
}

type twoTerms struct{ part, slower, energy float64 }

func (p *twoTerms) fresh(m float64) []float64 { return []float64{m, m} }
func (p *twoTerms) mean(s []float64) float64  { return p.part*s[0] + (1-p.part)*s[1] }
func (p *twoTerms) pass(s []float64, h, t, rh float64) {
	end := gab(t, rh)
	h *= 0.1 * arrhenius(p.energy, t)
	for i, slower := range [...]float64{1, p.slower} {
		toward := h * slower * (end - s[i])
		if toward > 0 {
			toward *= taking
		}
		s[i] += toward
	}
}

// shells are of equal thickness.
const shells = 6

type sphere struct{ film, energy float64 }

func (p *sphere) fresh(m float64) []float64 {
	s := make([]float64, shells)
	for i := range s {
		s[i] = m
	}
	return s
}

// volume is that of a shell, of the whole ball.
func volume(i int) float64 {
	in, out := float64(i)/shells, float64(i+1)/shells
	return out*out*out - in*in*in
}

func (p *sphere) mean(s []float64) (sum float64) {
	for i, m := range s {
		sum += m * volume(i)
	}
	return sum
}

func (p *sphere) pass(s []float64, h, t, rh float64) {
	h *= 0.008 * arrhenius(p.energy, t) // of the square of the radius
	end := oswin(t, rh)
	const last = shells - 1
	// Through the film and the outer half of the last shell.
	out := h * 3 * (s[last] - end) / (1/p.film + 0.5/shells)
	if out < 0 {
		out *= taking
	}
	for i := range last {
		r := float64(i+1) / shells
		flow := h * 3 * r * r * shells * (s[i] - s[i+1])
		s[i] -= flow / volume(i)
		s[i+1] += flow / volume(i+1)
	}
	s[last] -= out / volume(last)
}

type characteristic struct{ critical, bend float64 }

func (p *characteristic) fresh(m float64) []float64 { return []float64{m} }
func (p *characteristic) mean(s []float64) float64  { return s[0] }
func (p *characteristic) pass(s []float64, h, t, rh float64) {
	end := chungPfost(t, rh)
	h *= 1.2 * saturation(t) * (1 - rh) // % of the dry weight
	left := (s[0] - end) / (p.critical - end)
	switch {
	case left > 1:
		s[0] -= h
	case left > 0:
		s[0] -= h * math.Pow(left, p.bend)
	default:
		s[0] -= taking * h * left
	}
}

type front struct{ film float64 }

func (p *front) fresh(m float64) []float64 { return []float64{m, m} }
func (p *front) mean(s []float64) float64  { return s[0] }
func (p *front) pass(s []float64, h, t, rh float64) {
	end := halsey(t, rh)
	h *= 0.04 * saturation(t) * (1 - rh)
	if s[0] <= end+0.02 {
		s[0] += taking * h * (end - s[0])
		return
	}
	radius := math.Cbrt(math.Min(1, (s[0]-end)/(s[1]-end)))
	s[0] -= h * (s[1] - end) / (1/p.film + 1/math.Max(0.02, radius) - 1)
	s[0] = math.Max(s[0], end)
}

// hoursOf is how long one thin layer needs from 54 to 11 %wb in air of 40 °C and 25 %RH.
func hoursOf(p parchment) float64 {
	s, hours := p.fresh(dryBasis(54)), 0.0
	for ; wetBasis(p.mean(s)) > 11 && hours < 400; hours += 1.0 / 60 {
		p.pass(s, 1.0/60, 40, 0.25)
	}
	return hours
}
