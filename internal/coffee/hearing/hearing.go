// Package hearing is a set of fermentation tanks and drying layers on which the forecasters of internal/coffee and rules/models are judged once. Who wrote it had read neither of them, had seen no figure of theirs but those that stand
// with the tests of the jury, and asked them about one tank cell and one dryer cell alone, to see that the seam works, without looking at what came out. Tests only.
//
// It stands for an ordinary year of small estates of washed coffee: four laws of souring in four yards, four laws of drying in three dryers and on a deck below film. Each pair is an estate, or a house, with weather, people and meters of its
// own, whose lots follow one another, so that something can be learnt. Laws, isotherms, weather, tanks and fires have other forms than those of assize, tribunal and jury; nothing here uses a formula of package coffee.
// Truth holds no chance once a lot is made: only probes and people do.
// A second sitting is of layers alone (second.go).
//
// What is to be foreseen: of a tank, when the mass truly passes the pH that its crew has set (Estate.Criterion); of a layer, when its mean truly comes to 11 %wb.
//
// An oracle that knows law and estate, but neither a lot's own draws nor errors of meters nor weather to come, and goes by the likest of 150 other lots (oracle_test.go, -hearing 2), is the one figure that spreads were looked at by. Half way its
// median, nine of ten and worst errors are 21, 54 and 115 min in 256 tanks; in per cent of the time left 3, 8 and 12 with a probe in 88 layers of dryers, 4, 12 and 20 with a meter in a hand. Where the set point is changed after it was asked, in
// 16 more, medians are 3 to 13 by place and meter; on 32 decks below film medians are 5 and 3, nine of ten 31, as nobody knows the weather to come.
//
// Each spread has its reason beside it: a source, "as quoted" where only a quotation of it was read; "from memory"; or "choice", where no published number was found. No lot is spoilt, no meter breaks, nobody forgets; but
// beans, weather, fire, meters and people differ as they do.
//
// Concurrency: what comes of one Estate or House is for one goroutine.
package hearing

import (
	"crypto/sha256"
	"fmt"
	"math"
	"math/rand/v2"
)

// TankSeed is the first seed of the estates that forecasts are judged on, LayerSeed of the houses.
const (
	TankSeed  = 2906100
	LayerSeed = 3417800
)

// draw is a stream of chance.
type draw struct{ *rand.Rand }

// drawn is the stream of a seed for a purpose, so that what probes and people draw moves no truth.
func drawn(seed uint64, purpose ...any) draw {
	return draw{rand.New(rand.NewChaCha8(sha256.Sum256(fmt.Append(nil, seed, purpose))))}
}

func (d draw) in(low, high float64) float64 { return low + (high-low)*d.Float64() }

// normal is of mean 0 and deviation 1, within 2.5.
func (d draw) normal() float64 { return between(-2.5, d.NormFloat64(), 2.5) }

// of is true with a chance.
func (d draw) of(chance float64) bool { return d.Float64() < chance }

func between(low, v, high float64) float64 { return math.Max(low, math.Min(high, v)) }

// mix is at a part of the way from one to another.
func mix(from, to, part float64) float64 { return from + (to-from)*part }

// rounded is to the step of a display.
func rounded(v, step float64) float64 { return math.Round(v/step) * step }

// saturation is the vapour pressure over water in kPa (FAO-56, as quoted).
func saturation(celsius float64) float64 { return 0.6108 * math.Exp(17.27*celsius/(celsius+237.3)) }

// pressure is that of the air in kPa at a height in m (FAO-56, as quoted).
func pressure(metres float64) float64 { return 101.3 * math.Pow((293-0.0065*metres)/293, 5.26) }

// air is what there is around a tank or a layer.
type air struct {
	t, rh float64 // °C; part of saturation
	sun   float64 // part of a clear noon
	rain  bool
}

// warmed is the same air, with its vapour, at another temperature.
func (a air) warmed(t float64) air {
	a.rh *= saturation(a.t) / saturation(t)
	a.t = t
	return a
}

// psychrometer is its constant for a kPa of air, 1/K (FAO-56, as quoted).
const psychrometer = 0.000665

// wetBulb is by Newton's steps.
func (a air) wetBulb(kPa float64) float64 {
	vapour, wet := a.rh*saturation(a.t), a.t-(1-a.rh)*10
	for range 4 {
		full := saturation(wet)
		wet -= (full - psychrometer*kPa*(a.t-wet) - vapour) / (full*17.27*237.3/((wet+237.3)*(wet+237.3)) + psychrometer*kPa)
	}
	return wet
}

// ratio is the kg of water in a kg of dry air, humidity the part of saturation at such a ratio.
func (a air) ratio(kPa float64) float64 {
	vapour := a.rh * saturation(a.t)
	return 0.622 * vapour / (kPa - vapour)
}

func humidity(t, ratio, kPa float64) float64 { return kPa * ratio / (0.622 + ratio) / saturation(t) }

// arrhenius is the pace at a temperature against that at 45 °C, kJ/mol.
func arrhenius(energy, celsius float64) float64 {
	return math.Exp(energy / 8.314e-3 * (1/(45+273.15) - 1/(celsius+273.15)))
}

// factor finds, by halving on a scale of factors, that at which hours, which fall with it, come to what is needed.
func factor(low, high, needs float64, hours func(factor float64) float64) float64 {
	for range 9 {
		if mid := math.Sqrt(low * high); hours(mid) > needs {
			low = mid
		} else {
			high = mid
		}
	}
	return math.Sqrt(low * high)
}
