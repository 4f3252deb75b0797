package estate

import "math"

// Bin is one bin of parchment or green coffee with a radio stick in it.
type Bin struct {
	Celsius  float64
	Humidity float64 // of the air between the beans
	Moisture float64
	Battery  float64 // %
	Heat     float64 // K above the room that the bin tends to
}

func newBin(moisture float64) Bin {
	return Bin{Celsius: 21.5, Moisture: moisture, Humidity: betweenBeans(moisture), Battery: 78}
}

// betweenBeans is roughly the humidity of the air that stands with beans of that moisture.
func betweenBeans(moisture float64) float64 { return 58 + (moisture-11)*8 }

func (b *Bin) advance(seconds, room float64) {
	b.Celsius += (room + 1 + b.Heat - b.Celsius) * (1 - math.Exp(-seconds/90000))
	b.Humidity = betweenBeans(b.Moisture)
}
