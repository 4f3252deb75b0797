package hearing

import "math"

// SecondSeed is the first seed of the houses of the second sitting, which judges a later drying forecast than the first did. It is of layers alone; instruments, people, fires, weather and places are the first's. Its own are seeds, laws and
// isotherms, so that nothing of the first moves.
//
// Who wrote it had read no forecaster and knew no error of theirs but those that stand with the jury, and asked them about one dryer cell alone, to see that the seam works, without looking at what came out.
//
// The oracle (oracle_test.go, -sitting 2), by which no spread was altered, is wrong half way by 4, 9 and 18 % of the time left (median, nine of ten, worst) with a probe in 86 layers of dryers, 4, 11 and 20 with a meter in a hand. Where the
// set point is changed after it was asked, in 18 more, medians are 9 to 12 by place and meter; on 32 decks below film medians are 6 and 5, nine of ten 30 and 33.
const SecondSeed = 5182300

// Laws of the second sitting, none of which another set has.
const (
	// Misra is the model of Page 1949 with the exponent that rises with the humidity and with how wet beans were when fresh, as Misra, Brooker 1980 fitted it to corn (from memory), by equivalent time where the air changes. Isotherm of Chen, Clayton 1971.
	Misra Drying = Dryings + iota
	// Logistic is the growth curve of Verhulst the other way round, a thin-layer model as well (from memory): the pace of what is left rises as beans dry. Isotherm of Caurie 1970.
	Logistic
	// Husk lets water diffuse in a ball (Crank 1975), the slower the drier, then through a gap that opens as the bean shrinks away from its hull, and the hull has its own water. Isotherm of D'Arcy, Watt 1970.
	Husk
	// Wetted gives free water from the part of the surface that is wet, as a wet bulb would, and beside it bound water by diffusion (Chen, Pei 1989, from memory). Isotherm of Corrêa, as Brazilian studies of coffee use it.
	Wetted
	// SecondDryings ends the laws of both sittings; those of the second begin at Dryings.
	SecondDryings
)

// Their isotherms (forms from memory), fitted as the first's are, each within 0.25 to 0.56.
func chenClayton(t, h float64) float64 {
	return -math.Log(-math.Log(holding(h))*math.Pow(t, 0.2971)/20.871) / (0.21307 * math.Pow(t, 0.0099899))
}

func caurie(t, h float64) float64 {
	return math.Exp(1.921 - 0.0075137*t + (1.2049+0.0056761*t)*holding(h))
}

// darcyWatt has no use for the straight term between its two.
func darcyWatt(t, h float64) float64 {
	h = holding(h)
	return (11.172*7.8112*h/(1+7.8112*h) + 2.6766*0.89502*h/(1-0.89502*h)) * math.Exp(-0.0038376*(t-25))
}

func correa(t, h float64) float64 {
	return 1 / (0.17386*math.Pow(t, 0.036427) - 0.15469*math.Pow(holding(h), 0.60487))
}

// newSecond makes a law of the second sitting as an estate has it; energies of activation are the first's. Page's exponents of Phitakwinai 2019 are 1.08 to 1.2 (table 2, as quoted), near which Misra and Logistic go; hulls are the sixth part of
// dry parchment (outturn of trade notes). Other numbers are choices that keep a thin layer near the hours of the published fits.
func newSecond(law Drying, own draw, holds float64) parchment {
	energy := own.in(32, 36)
	switch law {
	case Misra:
		return &misra{shift: own.in(-0.07, 0.03), damp: own.in(0.4, 0.8), energy: energy, holds: holds}
	case Logistic:
		return &logistic{slow: own.in(1.5, 5), damp: own.in(0.4, 0.8), energy: energy, holds: holds}
	case Husk:
		return &husk{wetter: own.in(0.15, 0.35), gap: own.in(0.1, 0.3), quick: own.in(2, 3), energy: energy, holds: holds}
	}
	return &wetted{free: own.in(3, 6), bound: own.in(0.085, 0.095), critical: own.in(40, 60), energy: energy, holds: holds}
}

// drier is the pace in air of t °C and a part rh against that at 45 °C and 20 %RH.
func drier(energy, damp, t, rh float64) float64 {
	return arrhenius(energy, t) * math.Pow((1-holding(rh))/0.8, damp)
}

// misra holds the moisture now and when it was fresh, and so does logistic.
type misra struct{ shift, damp, energy, holds float64 }

func (p *misra) fresh(m float64) []float64    { return []float64{m, m} }
func (p *misra) mean(state []float64) float64 { return state[0] }
func (p *misra) pass(s []float64, h, t, rh float64) {
	h *= 0.084 * drier(p.energy, p.damp, t, rh)
	end, power := p.holds*chenClayton(t, rh), 0.0811*math.Log(100*holding(rh))+0.0078*s[1]+p.shift
	if s[0] <= end+1e-9 {
		s[0] += toward(h * (end - s[0]))
		return
	}
	span := math.Max(s[0], s[1]) - end
	age := math.Pow(math.Log(span/(s[0]-end)), 1/power)
	s[0] = end + span*math.Exp(-math.Pow(age+h, power))
}

type logistic struct{ slow, damp, energy, holds float64 }

func (p *logistic) fresh(m float64) []float64    { return []float64{m, m} }
func (p *logistic) mean(state []float64) float64 { return state[0] }
func (p *logistic) pass(s []float64, h, t, rh float64) {
	h *= 0.11 * drier(p.energy, p.damp, t, rh)
	end := p.holds * caurie(t, rh)
	if s[0] <= end+1e-9 {
		s[0] += toward(h * (end - s[0]))
		return
	}
	span := math.Max(s[0], s[1]) - end
	grown := (1+p.slow)*span/(s[0]-end) - 1 // slow exp(age)
	s[0] = end + span*(1+p.slow)/(1+grown*math.Exp(h))
}

// shells of the ball are of equal thickness; after them comes the hull, which is so much of the whole. diffuses is what goes through a ball of 60 % at 45 °C, an h, of the square of its radius.
const shells, hull, diffuses = 5, 1.0 / 6, 0.019

type husk struct{ wetter, gap, quick, energy, holds float64 }

func (p *husk) fresh(m float64) []float64 {
	s := make([]float64, shells+1)
	for i := range s {
		s[i] = m
	}
	return s
}

// volume is that of a shell, of the ball.
func volume(i int) float64 { return float64(3*i*i+3*i+1) / (shells * shells * shells) }

func (p *husk) mean(s []float64) float64 { return mix(p.ball(s), s[shells], hull) }
func (p *husk) ball(s []float64) (sum float64) {
	for i := range shells {
		sum += volume(i) * s[i]
	}
	return sum
}

func (p *husk) pass(s []float64, h, t, rh float64) {
	h *= arrhenius(p.energy, t)
	d := 3 * h * diffuses
	through := func(m float64) float64 { return math.Pow(math.Max(1, m)/60, p.wetter) }
	gap, flow := p.gap*between(0, 1-p.ball(s)/110, 1), 0.0
	for i := range shells {
		in, r := flow, float64(i+1)/shells
		if i < shells-1 {
			flow = d * r * r * shells * through((s[i]+s[i+1])/2) * (s[i] - s[i+1])
		} else {
			flow = d / (0.5/(shells*through(s[i])) + gap) * (s[i] - s[shells])
		}
		s[i] += (in - flow) / volume(i)
	}
	s[shells] += flow * (1 - hull) / hull
	s[shells] += toward((1 - math.Exp(-h*p.quick)) * (p.holds*darcyWatt(t, rh) - s[shells]))
}

// wetted: % of the dry weight an h from what is wet all over in air of 45 °C and 20 %RH; part an h at 45 °C; % of the dry weight below which nothing is wet.
type wetted struct{ free, bound, critical, energy, holds float64 }

func (p *wetted) fresh(m float64) []float64    { return []float64{m} }
func (p *wetted) mean(state []float64) float64 { return state[0] }
func (p *wetted) pass(s []float64, h, t, rh float64) {
	bound := h * p.bound * arrhenius(p.energy, t) * (p.holds*correa(t, rh) - s[0])
	wet := between(0, (s[0]-p.critical)/(110-p.critical), 1)
	s[0] += toward(bound) - h*p.free*wet*(t-air{t: t, rh: rh}.wetBulb(85))/20.4
}
