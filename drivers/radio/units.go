package radio

import "millwarden/internal/units"

// meaning is what a SenML unit is here: base = value * factor + shift.
type meaning struct {
	quantity      units.Quantity
	factor, shift float64
}

// senmlUnits are the registered units that a probe of a mill may send [RFC 8428 section 12.1; secondary ones RFC 8798 section 3]. "/" and "%" are
// ratios of many things: what is due decides.
var senmlUnits = map[string][]meaning{
	"Cel":   {{units.Temperature, 1, 0}, {units.Difference, 1, 0}},
	"K":     {{units.Temperature, 1, -273.15}, {units.Difference, 1, 0}},
	"pH":    {{units.PH, 1, 0}},
	"%RH":   {{units.Humidity, 1, 0}},
	"/":     {{units.Share, 100, 0}, {units.Humidity, 100, 0}, {units.Moisture, 100, 0}, {units.WaterActivity, 1, 0}, {units.Concentration, 1e6, 0}, {units.State, 1, 0}},
	"%":     {{units.Share, 1, 0}, {units.Humidity, 1, 0}, {units.Moisture, 1, 0}, {units.Concentration, 1e4, 0}}, // deprecated by the registry, still sent
	"/100":  {{units.Share, 1, 0}, {units.Humidity, 1, 0}, {units.Moisture, 1, 0}, {units.Concentration, 1e4, 0}},
	"%EL":   {{units.Share, 1, 0}},
	"ppm":   {{units.Concentration, 1, 0}},
	"Pa":    {{units.Pressure, 1e-3, 0}},
	"hPa":   {{units.Pressure, 0.1, 0}},
	"kg":    {{units.Mass, 1, 0}},
	"g":     {{units.Mass, 1e-3, 0}},
	"m":     {{units.Length, 1, 0}},
	"mm":    {{units.Length, 1e-3, 0}},
	"cm":    {{units.Length, 1e-2, 0}},
	"m3":    {{units.Volume, 1e3, 0}},
	"l":     {{units.Volume, 1, 0}},
	"m/s":   {{units.Speed, 1, 0}},
	"km/h":  {{units.Speed, 1 / 3.6, 0}},
	"V":     {{units.Voltage, 1, 0}},
	"mV":    {{units.Voltage, 1e-3, 0}},
	"A":     {{units.Current, 1, 0}},
	"mA":    {{units.Current, 1e-3, 0}},
	"Ohm":   {{units.Resistance, 1, 0}},
	"W":     {{units.Power, 1, 0}},
	"kW":    {{units.Power, 1e3, 0}},
	"W/m2":  {{units.Irradiance, 1, 0}},
	"s":     {{units.Duration, 1, 0}},
	"ms":    {{units.Duration, 1e-3, 0}},
	"min":   {{units.Duration, 60, 0}},
	"h":     {{units.Duration, 3600, 0}},
	"count": {{units.Count, 1, 0}},
}

// toBase turns a value with its SenML unit into the base unit of what is due. A record without unit is taken to be in that base unit.
func toBase(unit string, value float64, due units.Quantity) (units.Quantity, float64, bool) {
	if unit == "" {
		return due, value, true
	}
	for _, m := range senmlUnits[unit] {
		if m.quantity == due || due == units.None {
			return m.quantity, value*m.factor + m.shift, true
		}
	}
	return due, 0, false
}
