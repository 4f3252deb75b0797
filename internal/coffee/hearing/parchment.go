package hearing

import "math"

// Drying is a law by which parchment dries.
type Drying uint8

const (
	// Thompson is the equation t = A ln MR + B ln² MR of Thompson, Peart, Foster 1968, with the warmth of A and B as they fitted it to corn (from memory), by equivalent time where the air changes. Isotherm of Smith 1947.
	Thompson Drying = iota
	// Resistances are two in series: warmth must come to the bean, by how far the air is above its wet bulb, and water through it (sum of the inverse rates). Isotherm of Lewicki 1998.
	Resistances
	// Brick lets water diffuse out of a brick of the bean's three sizes: the product of three plane sheets (Newman 1936; Crank 1975), by its modes. Isotherm of Ferro Fontán 1982.
	Brick
	// Order is a reaction of an order between one and that of Peleg's hyperbola, 2 (Peleg 1988), its pace a power of the deficit of vapour in the air. Isotherm Sigma-Copace, as Brazilian studies of coffee use it.
	Order
	// Dryings ends those of the first sitting; the second has its own (second.go).
	Dryings
)

func (l Drying) String() string {
	return [...]string{"Thompson", "resistances", "brick", "order", "Misra", "logistic", "husk", "wetted"}[l]
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

// Isotherms: % of the dry weight in air of t °C and a part h of saturation. Their constants were fitted to the equation of Trejos, Roa, Oliveros 1989 at 15 to 55 °C and 12 to 90 %RH, each within 0.33 to 0.54 (root of the mean square); that
// equation's own error was 0.54 (as quoted).
func smith(t, h float64) float64 {
	return 6.4687 - 0.045063*(t-25) - (6.2028-0.0022801*(t-25))*math.Log(1-holding(h))
}

func lewicki(t, h float64) float64 {
	h = holding(h)
	return 19.062 * (math.Pow(1-h, -0.20248) - 1/(1+math.Pow(h, 0.41557))) * math.Exp(-0.0038039*(t-25))
}

func ferroFontan(t, h float64) float64 {
	return math.Pow(105.5/math.Log(1.1241/holding(h)), 1/2.0417) * math.Exp(-0.0037957*(t-25))
}

func copace(t, h float64) float64 {
	return math.Exp(1.1715 - 0.0037891*t + 0.78344*math.Exp(holding(h)))
}

// holding keeps the humidity where isotherms hold.
func holding(h float64) float64 { return between(0.05, h, 0.94) }

// toward is a change of so much toward rest, slower where water is taken up (hysteresis; choice).
func toward(change float64) float64 {
	if change > 0 {
		return 0.35 * change
	}
	return change
}

// newParchment makes a law as an estate has it. Energies of activation of 32 to 36 kJ/mol lie near the 30 to 35 that Newton's constants of Phitakwinai 2019 come to (table 2, as quoted); isotherms of estates lie within 5 % of the usual one (choice). Other numbers are choices that keep a
// thin layer near the hours of the published fits.
func newParchment(law Drying, own draw) parchment {
	holds := own.in(0.95, 1.05)
	if law >= Dryings {
		return newSecond(law, own, holds)
	}
	switch law {
	case Thompson:
		part := own.in(0.3, 0.5) // of 24 h at 45 °C, to the 0.066th part
		return &thompson{linear: 24 * part / 2.72, square: 24 * (1 - part) / (2.72 * 2.72), holds: holds}
	case Resistances:
		return &resistances{outer: own.in(1.2, 2), inner: own.in(0.13, 0.15), energy: own.in(32, 36), holds: holds}
	case Brick:
		return newBrick(own.in(1.6, 1.9), own.in(2.2, 2.7), own.in(32, 36), holds)
	}
	order := own.in(1.12, 1.4)
	return &reaction{order: order, pace: (math.Pow(0.074, 1-order) - math.Pow(1.12, 1-order)) / (order - 1) / 24, power: own.in(0.75, 0.95), holds: holds}
}

// thompson holds the moisture now and when it was fresh; linear and square are A and B of a minus sign, in h at 45 °C.
type thompson struct{ linear, square, holds float64 }

func thompsonA(celsius float64) float64 { return 0.00488*(32+1.8*celsius) - 1.86178 }
func thompsonB(celsius float64) float64 { return 427.3640 * math.Exp(-0.03301*(32+1.8*celsius)) }

func (p *thompson) fresh(m float64) []float64    { return []float64{m, m} }
func (p *thompson) mean(state []float64) float64 { return state[0] }
func (p *thompson) pass(s []float64, h, t, rh float64) {
	a, b := p.linear*thompsonA(t)/thompsonA(45), p.square*thompsonB(t)/thompsonB(45)
	end := p.holds * smith(t, rh)
	if s[0] <= end+1e-9 {
		s[0] += toward(h / a * (end - s[0]))
		return
	}
	x := math.Max(0, -math.Log((s[0]-end)/(math.Max(s[0], s[1])-end)))
	x2 := (math.Sqrt(a*a+4*b*(a*x+b*x*x+h)) - a) / (2 * b)
	s[0] = end + (s[0]-end)*math.Exp(x-x2)
}

// resistances: % of the dry weight an h for each K, part an h at 45 °C.
type resistances struct{ outer, inner, energy, holds float64 }

func (p *resistances) fresh(m float64) []float64    { return []float64{m} }
func (p *resistances) mean(state []float64) float64 { return state[0] }
func (p *resistances) pass(s []float64, h, t, rh float64) {
	over := s[0] - p.holds*lewicki(t, rh)
	if over <= 0 {
		s[0] += toward(-h * p.inner * over)
		return
	}
	depression := math.Max(0.1, t-air{t: t, rh: rh}.wetBulb(85))
	outer, inner := p.outer*depression, p.inner*over*arrhenius(p.energy, t)
	bean := t - depression*inner/(inner+outer) // what gives water quickly stays cool
	inner = p.inner * over * arrhenius(p.energy, bean)
	s[0] -= h * inner * outer / (inner + outer)
}

// modes are those of each of the three sheets that are followed.
const modes = 3

type brick struct {
	weight, rate  [modes * modes * modes]float64 // part; 1/h at 45 °C
	energy, holds float64
}

// newBrick is of a bean that is so many times as wide and as long as it is thick; D/a² is 0.021 an h at 45 °C.
func newBrick(wide, long, energy, holds float64) *brick {
	p, sum := &brick{energy: energy, holds: holds}, 0.0
	for i := range p.weight {
		p.weight[i] = 1
		for axis, n := range []int{i % modes, i / modes % modes, i / modes / modes} {
			odd, across := float64(2*n+1), [...]float64{1, wide, long}[axis]
			p.weight[i] *= 8 / (math.Pi * math.Pi * odd * odd)
			p.rate[i] += 0.021 * odd * odd * math.Pi * math.Pi / 4 / (across * across)
		}
		sum += p.weight[i]
	}
	p.weight[len(p.weight)-1] += 1 - sum // what higher modes would hold goes with the quickest
	return p
}

func (p *brick) fresh(m float64) []float64 {
	s := make([]float64, len(p.weight))
	for i := range s {
		s[i] = m
	}
	return s
}

func (p *brick) mean(s []float64) (sum float64) {
	for i, m := range s {
		sum += p.weight[i] * m
	}
	return sum
}

func (p *brick) pass(s []float64, h, t, rh float64) {
	h *= arrhenius(p.energy, t)
	end := p.holds * ferroFontan(t, rh)
	for i := range s {
		s[i] += toward((1 - math.Exp(-h*p.rate[i])) * (end - s[i]))
	}
}

type reaction struct{ order, pace, power, holds float64 }

func (p *reaction) fresh(m float64) []float64    { return []float64{m} }
func (p *reaction) mean(state []float64) float64 { return state[0] }
func (p *reaction) pass(s []float64, h, t, rh float64) {
	h *= p.pace * math.Pow(math.Max(0.02, saturation(t)*(1-rh))/7.67, p.power) // 7.67 kPa: 45 °C, 20 %RH
	over := s[0] - p.holds*copace(t, rh)
	if over <= 0 {
		s[0] += toward(-h * over)
		return
	}
	s[0] -= over * (1 - math.Pow(1+(p.order-1)*h*math.Pow(over/100, p.order-1), -1/(p.order-1)))
}
