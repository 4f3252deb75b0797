// Package catalog is the one table of all drivers. Adding a part is adding one line here.
//
// Concurrency: never changed after start.
package catalog

import (
	"millwarden/drivers"
	"millwarden/drivers/ads1115"
	"millwarden/drivers/aht20"
	"millwarden/drivers/bme280"
	"millwarden/drivers/bus"
	"millwarden/drivers/byhand"
	"millwarden/drivers/counter"
	"millwarden/drivers/ds18b20"
	"millwarden/drivers/hwmon"
	"millwarden/drivers/hx711"
	"millwarden/drivers/iio"
	"millwarden/drivers/input"
	"millwarden/drivers/lm75"
	"millwarden/drivers/max31855"
	"millwarden/drivers/max31856"
	"millwarden/drivers/max31865"
	"millwarden/drivers/max6675"
	"millwarden/drivers/mcp9600"
	"millwarden/drivers/modbus"
	"millwarden/drivers/radio"
	"millwarden/drivers/scd4x"
	"millwarden/drivers/sht3x"
	"millwarden/drivers/sht4x"
	"millwarden/internal/phrase"
)

var table = []drivers.Driver{
	ads1115.Driver,
	aht20.Driver,
	bme280.Driver,
	byhand.Driver,
	counter.Driver,
	ds18b20.Driver,
	hwmon.Driver,
	hx711.Driver,
	iio.Driver,
	input.Driver,
	lm75.Driver,
	max31855.Driver,
	max31856.Driver,
	max31865.Driver,
	max6675.Driver,
	mcp9600.Driver,
	modbus.Driver,
	radio.Driver,
	scd4x.Driver,
	sht3x.Driver,
	sht4x.Driver,
	lm75.TMP102,
}

// All gives every driver, by the alphabet of their kinds.
func All() []drivers.Driver { return append([]drivers.Driver(nil), table...) }

// Find gives the driver of a part's kind.
func Find(kind string) (drivers.Driver, bool) {
	for _, d := range table {
		if d.Kind == kind {
			return d, true
		}
	}
	return drivers.Driver{}, false
}

// Text is what all parts and the buses that can be opened declare, in the form of the vocabulary.
func Text() string {
	text := bus.Declares
	for _, d := range table {
		text += d.Declares
	}
	return text
}

// Declarations is Text as rules read it.
func Declarations() ([]phrase.Declaration, error) { return phrase.Parse(Text()) }
