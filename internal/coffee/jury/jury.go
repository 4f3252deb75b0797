// Package jury is a set of fermentation tanks and drying layers on which the forecasters of internal/coffee and rules/models are judged. Who wrote it had read neither of them, knew of their figures those
// that stand with the tests of the tribunal, and had them asked about one tank and three layers only, to see that it works, without looking at what came out. Once it was asked it is opened, and the next improvement wants a new one. Tests only.
//
// It stands for an ordinary year of small estates of washed coffee. Four laws of souring stand in four yards, five laws of drying in three places; each pair is an estate with weather, people and probes of its own, whose lots
// follow one another, so that something can be learnt. Their laws differ in form from those of assize and tribunal, and nothing here uses a formula of package coffee. Truth holds no chance once a lot is made: only probes and people do.
//
// What is to be foreseen: of a tank, when the mass truly passes the pH that its crew has set (Estate.Criterion); of a layer, when its mean truly comes to 11 %wb. What teaches is what the crew does: it washes by its own electrode or by
// feel, and takes a layer away when its own instrument and a bite say so, be they right or not.
//
// Each spread has its reason beside it: a source, as quoted unless it was read; "from memory"; or "choice", where no published number was found. It is neither a torture chamber nor a gift: no lot is spoilt, no probe breaks and
// nobody forgets, but beans, weather, fire, meters and people differ as they do.
//
// An oracle that knows law and estate, but neither a lot's own draws nor errors of meters nor weather to come, and goes by the likest of 150 other lots (oracle_test.go, -jury 2), is the one figure that spreads were looked at by. Half way its
// median, nine of ten and worst errors are 24, 64 and 148 min in 256 tanks; in per cent of the time left 4, 8 and 21 with a probe in 88 layers of dryers, 4, 11 and 22 with a meter in a hand. Where the set point is changed after it was asked,
// in 12 more, medians are 8 to 13 by place and meter; on 40 sun decks 23, 38, 62 and 19, 35, 64, as nobody knows the weather to come.
//
// Concurrency: what comes of one Estate or House is for one goroutine.
package jury

import (
	"math"
	"math/rand/v2"
)

// TankSeed is the first seed of the estates that forecasts are judged on, LayerSeed of the houses.
const (
	TankSeed  = 516200
	LayerSeed = 883100
)

// Draw gives a number between two others.
type Draw func(low, high float64) float64

// What streams are for, so that what probes and people draw moves no truth.
const (
	forEstate = iota
	forWeather
	forLot
	forFire
	forHands
	forIdle
	forSibling
)

// drawn is a stream of a seed; what tells streams apart is mixed into one number (SplitMix64's finalizer, from memory).
func drawn(seed uint64, what ...int) Draw {
	mixed := uint64(0)
	for _, w := range what {
		mixed += uint64(w) + 0x9e3779b97f4a7c15
		mixed = (mixed ^ mixed>>30) * 0xbf58476d1ce4e5b9
		mixed = (mixed ^ mixed>>27) * 0x94d049bb133111eb
		mixed ^= mixed >> 31
	}
	r := rand.New(rand.NewPCG(seed, mixed))
	return func(low, high float64) float64 { return low + (high-low)*r.Float64() }
}

// normal is of mean 0 and deviation 1, within 3.
func (d Draw) normal() float64 { return d(-1, 1) + d(-1, 1) + d(-1, 1) }

// of is true with a chance.
func (d Draw) of(chance float64) bool { return d(0, 1) < chance }

// saturation is the vapour pressure over water in kPa (Buck 1981, from memory).
func saturation(celsius float64) float64 { return 0.61121 * math.Exp(17.502*celsius/(240.97+celsius)) }

// heated is the part of saturation of air after it was warmed from one temperature to another, at the same vapour.
func heated(rh, from, to float64) float64 { return rh * saturation(from) / saturation(to) }

// pressure is that of the air in kPa at a height in m: the barometric formula at one temperature, with 8.43 km (from memory).
func pressure(metres float64) float64 { return 101.325 * math.Exp(-metres/8430) }

// gas is in kJ/(mol K), kelvin 0 °C.
const gas, kelvin = 8.314e-3, 273.15

// arrhenius is the pace at a temperature against that at another.
func arrhenius(energy, at, to float64) float64 {
	return math.Exp(energy / gas * (1/(at+kelvin) - 1/(to+kelvin)))
}

func between(low, v, high float64) float64 { return math.Max(low, math.Min(high, v)) }

// interpolate is at a part of the way from one to another.
func interpolate(from, to, part float64) float64 { return from + (to-from)*part }

// rounded is to the step of a display.
func rounded(v, step float64) float64 { return math.Round(v/step) * step }

// setting finds, by halving on a scale of factors, the factor at which hours, which fall with it, come to what is needed.
func setting(low, high, needs float64, hours func(factor float64) float64) float64 {
	for range 9 {
		mid := math.Sqrt(low * high)
		if hours(mid) > needs {
			low = mid
		} else {
			high = mid
		}
	}
	return math.Sqrt(low * high)
}
