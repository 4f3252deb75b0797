package estate

import (
	"math"
	"math/rand/v2"
	"time"
)

// Truth is what really happens on the estate at one moment.
type Truth struct {
	Now     time.Duration // since the beginning
	Yard    Air
	Tanks   [2]Tank
	Deck    Deck
	Dryer   Dryer
	Bins    [3]Bin
	Roaster Roaster
	Store   Air     // roasted coffee
	CO      float64 // ppm in the roastery
	Leak    float64 // ppm that a blocked flue adds to it in the end

	startHour float64 // hour of the day at the beginning
	noise     *rand.Rand
}

// Air is temperature and relative humidity.
type Air struct {
	Celsius, Humidity float64
}

// beginHour is the hour of the day at which the estate of the demo begins.
const beginHour = 18

// tankFresh is how warm the coffee was when it was loaded, °C.
var tankFresh = [2]float64{22.5, 21}

// step is the longest time that the physics goes at once.
const step = time.Second

// NewTruth begins at an hour of the day; the same seed gives the same estate.
func NewTruth(startHour float64, seed uint64) *Truth {
	t := &Truth{startHour: startHour, noise: rand.New(rand.NewPCG(seed, 0))}
	t.Tanks[0] = newTank(tankFresh[0], 17*time.Hour) // loaded in the night: ready now, over-fermented before midnight
	t.Tanks[1] = newTank(tankFresh[1], time.Hour)
	t.Deck = Deck{Moisture: 24, Bean: 24}
	t.Dryer = Dryer{Air: 38, Exhaust: 29, Fan: true, Burner: true, Moisture: 16}
	t.Bins = [3]Bin{newBin(11.0), newBin(11.2), newBin(11.9)}
	t.Roaster = newRoaster()
	t.Store = Air{Celsius: 21, Humidity: 55}
	t.CO = 4
	t.yard()
	return t
}

// Advance moves the estate on by d in steps of a second.
func (t *Truth) Advance(d time.Duration) {
	for d > 0 {
		now := min(d, step)
		t.advance(now)
		d -= now
	}
}

func (t *Truth) advance(d time.Duration) {
	t.Now += d
	seconds := d.Seconds()
	t.yard()
	for i := range t.Tanks {
		t.Tanks[i].advance(seconds, t.Yard.Celsius)
	}
	t.Deck.advance(seconds, t.Yard, t.sun())
	t.Dryer.advance(seconds, t.Yard.Celsius)
	for i := range t.Bins {
		t.Bins[i].advance(seconds, t.Yard.Celsius)
	}
	t.Roaster.advance(seconds)
	t.Store.Celsius += (t.Yard.Celsius - t.Store.Celsius) * seconds / 20000
	t.Store.Humidity += (55 - t.Store.Humidity) * seconds / 20000
	target := 4.0
	if t.Roaster.Roasting() {
		target = 14
	}
	t.CO += (target + t.Leak - t.CO) * seconds / 600
}

// hour is the hour of the day.
func (t *Truth) hour() float64 { return math.Mod(t.startHour+t.Now.Hours(), 24) }

// sun is 0 at night and 1 at noon.
func (t *Truth) sun() float64 { return math.Max(0, math.Sin((t.hour()-6)/12*math.Pi)) }

// yard follows the day: coolest at half past two in the morning, its dew point near 14 °C throughout.
func (t *Truth) yard() {
	c := 19 + 6*math.Cos((t.hour()-14.5)/24*2*math.Pi)
	t.Yard = Air{Celsius: c, Humidity: math.Min(98, 100*saturation(14)/saturation(c))}
}

// saturation is the vapour pressure over water in kPa (Magnus form with Sonntag's constants, from memory; the physics needs no better).
func saturation(celsius float64) float64 {
	return 0.6112 * math.Exp(17.62*celsius/(243.12+celsius))
}

// Noisy adds what a probe adds: a normal deviation of so much.
func (t *Truth) Noisy(value, deviation float64) float64 {
	return value + t.noise.NormFloat64()*deviation
}
