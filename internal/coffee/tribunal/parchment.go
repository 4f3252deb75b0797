package tribunal

import "math"

// Drying is a law by which parchment dries.
type Drying uint8

const (
	// FittedPage is the model of Page 1949 as Phitakwinai 2019 fitted it to parchment in a thin layer (table 2, as quoted), by equivalent time where the air changes; so are the next three.
	FittedPage Drying = iota
	// FittedHenderson is that of Henderson and Pabis 1961.
	FittedHenderson
	// FittedLogarithmic is the logarithmic one.
	FittedLogarithmic
	// FittedMidilli is the modified one of Midilli, Kucuk, Yapar 2002.
	FittedMidilli
	// HullAndBean holds water in two parts in series: the bean gives it to the hull, the hull to the air (compartments as in Sharma, Kunze, Tolley 1982 for rice, from memory).
	HullAndBean
	// Cylinder lets water diffuse in a long cylinder (Crank 1975), the slower the drier and the cooler the bean.
	Cylinder
	// Activity drives water out by the vapour pressure on the bean, which its isotherm tells, against that of the air, through a resistance that grows as the bean dries.
	Activity
	Dryings
)

func (l Drying) String() string {
	return [...]string{"Page as fitted", "Henderson as fitted", "logarithmic as fitted", "Midilli as fitted", "hull and bean", "cylinder", "activity"}[l]
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

// taking is how much slower beans take up water than they give it (hysteresis; choice).
const taking = 0.35

// newParchment makes a law as an estate has it. Energies of activation of 20 to 30 kJ/mol are those of coffee in the literature (from memory); isotherms of estates lie within 5 % of that of Trejos
// 1989, whose error was 0.5 in some 12 % (as quoted). Other numbers are choices that keep the course of a layer near that of the fits.
func newParchment(law Drying, own Draw) parchment {
	holds := own(0.95, 1.05)
	switch law {
	case FittedPage:
		return &fitted{fittedPage.table(), holds}
	case FittedHenderson:
		return &fitted{fittedHenderson.table(), holds}
	case FittedLogarithmic:
		return &fitted{fittedLogarithmic.table(), holds}
	case FittedMidilli:
		return &fitted{fittedMidilli.table(), holds}
	case HullAndBean:
		return &hullAndBean{hull: own(0.18, 0.3), within: own(0.07, 0.1), energy: own(22, 30), holds: holds}
	case Cylinder:
		return &cylinder{energy: own(20, 30), wetter: own(0.003, 0.008), holds: holds}
	}
	return &activity{critical: own(35, 60), power: own(0.9, 1.4), holds: holds}
}

// doubleLog is the isotherm of the double logarithm, the best of those tried on coffee by Collazos-Escobar 2020 (as quoted), modifiedGAB that of Guggenheim, Anderson and de Boer, chungPfost that of ASAE
// D245: % of the dry weight in air of t °C and a part h of saturation. Their constants were fitted to the equation of Trejos, Roa, Oliveros 1989 at 15 to 55 °C and 15 to 90 %RH.
func doubleLog(t, h float64) float64 {
	x := math.Log(-math.Log(below(h))) + 0.010366*(t-25)
	return math.Max(0.5, 9.5517-4.134*x+0.060661*x*x-0.12398*x*x*x)
}

func modifiedGAB(t, h float64) float64 {
	const more, held = 0.71618, 45.691
	h = below(h)
	return 7.2571 * math.Exp(-0.003744*(t-25)) * held * more * h / ((1 - more*h) * (1 - more*h + held*more*h))
}

const chungA, chungB, chungC = 710.98, 0.22026, 61.48

func chungPfost(t, h float64) float64 {
	return math.Max(0.5, -math.Log(-math.Log(below(h))*(t+chungC)/chungA)/chungB)
}

// resting is chungPfost the other way round: the part of saturation in which beans rest.
func resting(t, m float64) float64 { return math.Exp(-chungA / (t + chungC) * math.Exp(-chungB*m)) }

// below keeps the humidity where isotherms hold.
func below(h float64) float64 { return between(0.03, h, 0.97) }

// fitted holds the moisture now and when it was fresh.
type fitted struct {
	*table
	holds float64
}

func (p *fitted) fresh(m float64) []float64    { return []float64{m, m} }
func (p *fitted) mean(state []float64) float64 { return state[0] }
func (p *fitted) pass(s []float64, h, t, rh float64) {
	end, c := p.holds*doubleLog(t, rh), p.at(t, 100*rh)
	if s[0] <= end {
		s[0] += taking * h * c.pace * (end - s[0])
		return
	}
	age := c.age(math.Min(1, (s[0]-end)/(s[1]-end)))
	s[0] = math.Min(s[0], end+(s[1]-end)*c.left(age+h*c.pace)) // never up by a rounding
}

type hullAndBean struct{ hull, within, energy, holds float64 }

func (p *hullAndBean) fresh(m float64) []float64 { return []float64{m, m} }
func (p *hullAndBean) mean(s []float64) float64  { return p.hull*s[0] + (1-p.hull)*s[1] }
func (p *hullAndBean) pass(s []float64, h, t, rh float64) {
	h *= arrhenius(p.energy, 45, t)
	out := h * (s[0] - p.holds*modifiedGAB(t, rh))
	if out < 0 {
		out *= taking
	}
	flow := h * p.within * (s[1] - s[0])
	s[0] += flow*(1-p.hull)/p.hull - 0.8*out
	s[1] -= flow
}

// shells of the cylinder are of equal thickness.
const shells = 6

type cylinder struct{ energy, wetter, holds float64 }

func (p *cylinder) fresh(m float64) []float64 {
	s := make([]float64, shells)
	for i := range s {
		s[i] = m
	}
	return s
}

func (p *cylinder) mean(s []float64) (sum float64) {
	for i, m := range s {
		sum += m * float64(2*i+1) / (shells * shells)
	}
	return sum
}

func (p *cylinder) pass(s []float64, h, t, rh float64) {
	h *= 0.03 * arrhenius(p.energy, 45, t)                                      // of the square of the radius
	through := func(m float64) float64 { return math.Exp(p.wetter * (m - 60)) } // diffusivity against that at 60 %
	flow := 0.0                                                                 // into the shell from within
	for i := range s {
		in := flow
		if i < shells-1 {
			flow = h * 2 * float64(i+1) * through((s[i]+s[i+1])/2) * (s[i] - s[i+1])
		} else if flow = h * 2 * shells * 2 * through(s[i]) * (s[i] - p.holds*chungPfost(t, rh)); flow < 0 {
			flow *= taking
		}
		s[i] += (in - flow) * shells * shells / float64(2*i+1)
	}
}

type activity struct{ critical, power, holds float64 }

func (p *activity) fresh(m float64) []float64 { return []float64{m} }
func (p *activity) mean(s []float64) float64  { return s[0] }
func (p *activity) pass(s []float64, h, t, rh float64) {
	drive := saturation(t) * (resting(t, s[0]/p.holds) - rh)
	if drive < 0 {
		drive *= taking
	}
	s[0] -= h * 2 * drive / (1 + math.Pow(p.critical/s[0], p.power))
}

// hoursOf is how long one thin layer needs from 54 to 11 %wb in such air.
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
