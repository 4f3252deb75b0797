package reading

import (
	"math"

	"millwarden/internal/units"
)

// wire is how a quantity travels: its registered SenML unit and how many of our base units make one of it.
type wire struct {
	unit string
	per  float64 // base units in one wire unit: 100 %wb are the ratio 1, a thousandth of a kPa is one Pa
}

// wires: primary units of RFC 8428 section 12.1 only. A quantity without a registered unit (heat dose, most rates) travels in our base
// unit without one; what it is then says its quantity record.
var wires = [...]wire{
	units.Temperature:   {"Cel", 1},
	units.Difference:    {"K", 1},
	units.PH:            {"pH", 1},
	units.Humidity:      {"%RH", 1},
	units.Moisture:      {"/", 100}, // never %, which is discouraged and means the ratio
	units.WaterActivity: {"/", 1},
	units.Concentration: {"/", 1e6},
	units.Pressure:      {"Pa", 1e-3},
	units.Mass:          {"kg", 1},
	units.Length:        {"m", 1},
	units.Volume:        {"m3", 1000},
	units.Speed:         {"m/s", 1},
	units.Voltage:       {"V", 1},
	units.Current:       {"A", 1},
	units.Resistance:    {"Ohm", 1},
	units.Power:         {"W", 1},
	units.Irradiance:    {"W/m2", 1},
	units.Rotation:      {"1/s", 60},
	units.Duration:      {"s", 1},
	units.HeatDose:      {"", 1},
	units.Share:         {"/", 100},
	units.Count:         {"count", 1},
	units.State:         {"/", 1},
	units.YesNo:         {"/", 1},
}

func wireOf(q units.Quantity) wire {
	switch {
	case q == units.Volume.Rate():
		return wire{"m3/s", 1000}
	case q == units.Length.Rate():
		return wire{"m/s", 1}
	case q == units.Count.Rate():
		return wire{"1/s", 1}
	case q.IsRate() || int(q) >= len(wires):
		return wire{"", 1}
	}
	return wires[q]
}

// WireUnit is the SenML unit in which q is published; "" where none is registered.
func WireUnit(q units.Quantity) string { return wireOf(q).unit }

// ToWire turns a value in the base unit of q into what is published, rounded to the steps that the history keeps, so that it is short
// and comes back exactly.
func ToWire(value float64, q units.Quantity) float64 {
	per, steps := wireOf(q).per, q.StepsPerUnit()
	scaled := math.Round(value * steps)
	if math.Abs(scaled) >= 1<<53 || math.IsNaN(scaled) {
		return value / per
	}
	if per < 1 { // a whole number of wire units to the base unit: multiply by it, so that one division rounds, not two
		return scaled * math.Round(1/per) / steps
	}
	return scaled / (steps * per)
}

// FromWire turns a published value back: FromWire(ToWire(x)) is x for every x that the history holds.
func FromWire(value float64, q units.Quantity) float64 {
	return Round(value*wireOf(q).per, q)
}

// Round brings a value to the steps that the history keeps of its quantity.
func Round(value float64, q units.Quantity) float64 {
	steps := q.StepsPerUnit()
	if scaled := math.Round(value * steps); math.Abs(scaled) < 1<<53 {
		return scaled / steps
	}
	return value
}

// QuantityOf is the quantity that a SenML unit alone tells; "/" and "1/s" tell none.
func QuantityOf(unit string) (units.Quantity, bool) {
	q, ok := toldBy[unit]
	return q, ok
}

// toldBy holds the units that only one quantity uses.
var toldBy = func() map[string]units.Quantity {
	m := map[string]units.Quantity{}
	for q, w := range wires {
		if w.unit != "/" && w.unit != "1/s" && w.unit != "" {
			m[w.unit] = units.Quantity(q)
		}
	}
	return m
}()

// tells: the unit on the wire is enough to know the quantity.
func tells(q units.Quantity) bool { return int(q) < len(telling) && telling[q] }

var telling = func() (tell [len(wires)]bool) {
	for q := range tell {
		tell[q] = toldBy[wires[q].unit] == units.Quantity(q) && units.Quantity(q) != units.None
	}
	return tell
}()

// foreign are units that others may send for a quantity, beside the primary one: the secondary units of RFC 8798 section 3 and the
// discouraged ones of RFC 8428 section 12.1, with how many of our base units make one.
var foreign = map[string]map[units.Quantity]float64{
	"K":    {units.Difference: 1},
	"%":    {units.Moisture: 100, units.Share: 100, units.Concentration: 1e6},
	"/100": {units.Moisture: 1, units.Share: 1, units.Concentration: 1e4, units.WaterActivity: 0.01},
	"ppm":  {units.Concentration: 1},
	"ppb":  {units.Concentration: 1e-3},
	"%RH":  {units.Humidity: 1, units.WaterActivity: 0.01},
	"%EL":  {units.Share: 1},
	"hPa":  {units.Pressure: 0.1},
	"g":    {units.Mass: 1e-3},
	"mm":   {units.Length: 1e-3},
	"cm":   {units.Length: 1e-2},
	"km":   {units.Length: 1e3},
	"l":    {units.Volume: 1},
	"l/s":  {units.Volume.Rate(): 1},
	"km/h": {units.Speed: 1 / 3.6},
	"mV":   {units.Voltage: 1e-3},
	"mA":   {units.Current: 1e-3},
	"kW":   {units.Power: 1e3},
	"1/min": {
		units.Rotation:     1,
		units.Count.Rate(): 1.0 / 60,
	},
	"ms":  {units.Duration: 1e-3},
	"min": {units.Duration: 60},
	"h":   {units.Duration: 3600},
}

// FromUnit turns a value that came in a SenML unit into the base unit of the quantity that is due; false where the unit is for
// something else. A record without unit is taken to be in the base unit.
func FromUnit(value float64, unit string, q units.Quantity) (float64, bool) {
	switch {
	case unit == "":
		return value, true
	case unit == "K" && q == units.Temperature:
		return value - 273.15, true // ITS-90
	case unit == WireUnit(q):
		return value * wireOf(q).per, true
	}
	per, ok := foreign[unit][q]
	return value * per, ok
}
