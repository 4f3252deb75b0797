// Package tribunal is a set of fermentation tanks and drying layers on which the forecasters of internal/coffee and rules/models are judged once. Who wrote it had read neither of them. It was asked once, on
// 30 November 2026, and is opened since: the next improvement wants a new one. Tests only.
//
// It stands for what a small estate of washed coffee has. Five laws of souring stand in four kinds of tanks, seven laws of drying in five places; each pair is one estate with weather, habits and probes
// of its own, where lots follow one another, so that something can be learnt. Nothing here uses a formula of package coffee. Truth holds no chance once a lot is made: only probes and people do.
//
// Each spread has its reason beside it: a source, as quoted unless it was read; "from memory"; or "choice", where no published number was found and an ordinary estate was pictured. It is neither a torture
// chamber nor a gift: no lot is spoilt, no probe breaks, nobody forgets; but beans, weather, fire, meters and people differ as they do.
//
// Concurrency: what comes of one Estate or House is for one goroutine.
package tribunal

import (
	"math"
	"math/rand/v2"
)

// TankSeed is the first seed of the estates that forecasts are judged on, LayerSeed of the houses.
const (
	TankSeed  = 40300
	LayerSeed = 70900
)

// Draw gives a number between two others.
type Draw func(low, high float64) float64

// drawn is a stream of a seed; what tells streams apart is mixed into one number (FNV-1a).
func drawn(seed uint64, what ...int) Draw {
	mixed := uint64(14695981039346656037)
	for _, w := range what {
		mixed = (mixed ^ uint64(w)) * 1099511628211
	}
	r := rand.New(rand.NewPCG(seed, mixed))
	return func(low, high float64) float64 { return low + (high-low)*r.Float64() }
}

// normal is of mean 0 and deviation 1, within 3.5.
func (d Draw) normal() float64 {
	sum := 0.0
	for range 4 {
		sum += d(-1, 1)
	}
	return sum * math.Sqrt(3) / 2
}

// of is true with a chance.
func (d Draw) of(chance float64) bool { return d(0, 1) < chance }

// What streams are for, so that what probes draw moves no truth.
const (
	forEstate = iota
	forWeather
	forLot
	forFire
	forHands
	forIdle
	forSibling
)

// saturation is the vapour pressure over water in kPa (Magnus, with the constants of Sonntag 1990, from memory; within 0.3 % of the tables at 5 to 60 °C).
func saturation(celsius float64) float64 { return 0.6112 * math.Exp(17.62*celsius/(243.12+celsius)) }

// heated is the relative humidity of air after it was warmed from one temperature to another, at the same vapour.
func heated(rh, from, to float64) float64 { return rh * saturation(from) / saturation(to) }

// pressure is that of the air in kPa at a height in m (standard atmosphere).
func pressure(metres float64) float64 { return 101.325 * math.Pow(1-2.25577e-5*metres, 5.2559) }

// gas is in kJ/(mol K), kelvin 0 °C.
const gas, kelvin = 8.314e-3, 273.15

// arrhenius is the pace at a temperature against that at another.
func arrhenius(energy, at, to float64) float64 {
	return math.Exp(energy / gas * (1/(at+kelvin) - 1/(to+kelvin)))
}

func between(low, v, high float64) float64 { return math.Max(low, math.Min(high, v)) }

// interpolate is at a part of the way from one to another.
func interpolate(from, to, part float64) float64 { return from + (to-from)*part }
