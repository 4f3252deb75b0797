// Package units holds the quantities of the mill: parse, print, convert. Inside the program every value is in the base unit of its
// quantity; people see the site's choice. A temperature and a difference of temperatures are different quantities, so that they
// cannot be compared by mistake.
//
// Concurrency: values and tables that never change.
package units

// Quantity is what a value is of. The high bit makes it the rate of that quantity per second.
type Quantity uint8

// The quantities. Their base units stand in the table below.
const (
	None Quantity = iota
	Temperature
	Difference // of temperatures
	PH
	Humidity
	Moisture // of beans, in per cent of the wet weight
	WaterActivity
	Concentration
	Pressure
	Mass
	Length
	Volume
	Speed
	Voltage
	Current
	Resistance
	Power
	Irradiance
	Rotation
	Duration
	HeatDose
	Share
	Count
	State // on or off: 1 or 0
	YesNo // a condition: 1 or 0
	count
)

const rateBit Quantity = 0x80

// Rate is the rate of q per second; the rate of a temperature is that of a difference.
func (q Quantity) Rate() Quantity {
	if q == Difference {
		q = Temperature
	}
	return q | rateBit
}

// IsRate tells whether q is a rate.
func (q Quantity) IsRate() bool { return q&rateBit != 0 }

// Of is the quantity whose rate q is.
func (q Quantity) Of() Quantity { return q &^ rateBit }

// Step is the quantity of the difference of two values of q: that of temperatures is Difference, all others are their own.
func (q Quantity) Step() Quantity {
	if q == Temperature {
		return Difference
	}
	return q
}

type facts struct {
	name, article, base string
	decimals            int // printed unless the unit says otherwise
}

var table = [count]facts{
	None:          {"nothing", "nothing", "", 0},
	Temperature:   {"temperature", "a temperature", "°C", 1},
	Difference:    {"temperature difference", "a temperature difference", "K", 1},
	PH:            {"pH", "a pH", "pH", 2},
	Humidity:      {"humidity", "a humidity", "%RH", 1},
	Moisture:      {"moisture", "a moisture", "%wb", 1},
	WaterActivity: {"water activity", "a water activity", "aw", 2},
	Concentration: {"concentration", "a concentration", "ppm", 0},
	Pressure:      {"pressure", "a pressure", "kPa", 2},
	Mass:          {"mass", "a mass", "kg", 1},
	Length:        {"length", "a length", "m", 2},
	Volume:        {"volume", "a volume", "L", 1},
	Speed:         {"speed", "a speed", "m/s", 1},
	Voltage:       {"voltage", "a voltage", "V", 3},
	Current:       {"current", "a current", "A", 4},
	Resistance:    {"resistance", "a resistance", "Ω", 1},
	Power:         {"power", "a power", "W", 0},
	Irradiance:    {"irradiance", "an irradiance", "W/m2", 0},
	Rotation:      {"rotation", "a rotation", "rpm", 0},
	Duration:      {"time", "a time", "s", 0},
	HeatDose:      {"heat dose", "a heat dose", "°C·h", 1},
	Share:         {"share", "a share", "%", 0},
	Count:         {"count", "a plain number", "", 0},
	State:         {"state", "on or off", "", 0},
	YesNo:         {"condition", "a condition", "", 0},
}

// String is the name people read, for example "temperature" or "rate of temperature".
func (q Quantity) String() string {
	if q.IsRate() {
		return "rate of " + q.Of().String()
	}
	if q >= count {
		return "nothing"
	}
	return table[q].name
}

// Article is the name with its article, for example "a temperature".
func (q Quantity) Article() string {
	if q.IsRate() {
		return "a rate of " + q.Of().String()
	}
	if q >= count {
		return "nothing"
	}
	return table[q].article
}

// Base is the printed base unit; a rate's is per second.
func (q Quantity) Base() string {
	if q.IsRate() {
		return q.Of().top() + "/s"
	}
	if q >= count {
		return ""
	}
	return table[q].base
}

// top is what stands before the slash of a rate: the base unit, 1 where there is none.
func (q Quantity) top() string {
	if base := q.Base(); base != "" {
		return base
	}
	return "1"
}

// ByName finds a quantity by the word that declarations write: "temperature", "water-activity", "rate:ph", "yes-no", "duration".
func ByName(name string) (Quantity, bool) {
	if rest, ok := cutRate(name); ok {
		q, found := names[rest]
		if !found {
			return None, false
		}
		return q.Rate(), true
	}
	q, found := names[name]
	return q, found
}

func cutRate(name string) (string, bool) {
	const prefix = "rate:"
	if len(name) > len(prefix) && name[:len(prefix)] == prefix {
		return name[len(prefix):], true
	}
	return "", false
}

// words are the names that declarations write; their order is that of the quantities.
var words = [count]string{
	None: "none", Temperature: "temperature", Difference: "difference", PH: "ph", Humidity: "humidity", Moisture: "moisture",
	WaterActivity: "water-activity", Concentration: "concentration", Pressure: "pressure", Mass: "mass", Length: "length",
	Volume: "volume", Speed: "speed", Voltage: "voltage", Current: "current", Resistance: "resistance", Power: "power",
	Irradiance: "irradiance", Rotation: "rotation", Duration: "duration", HeatDose: "heat-dose", Share: "share", Count: "count",
	State: "state", YesNo: "yes-no",
}

var names = func() map[string]Quantity {
	m := make(map[string]Quantity, count)
	for q := Temperature; q < count; q++ {
		m[words[q]] = q
	}
	return m
}()

// Celsius is an absolute temperature.
type Celsius float64

// Kelvin is a difference of temperatures, never an absolute one.
type Kelvin float64

// Sub is the difference of two temperatures.
func (c Celsius) Sub(other Celsius) Kelvin { return Kelvin(c - other) }

// Add moves a temperature by a difference.
func (c Celsius) Add(k Kelvin) Celsius { return c + Celsius(k) }

// Fahrenheit is the same temperature in °F.
func (c Celsius) Fahrenheit() float64 { return float64(c)*9/5 + 32 }

// FromFahrenheit is a temperature given in °F.
func FromFahrenheit(f float64) Celsius { return Celsius((f - 32) * 5 / 9) }

// Name is the word by which declarations and tags know q: the inverse of ByName.
func (q Quantity) Name() string {
	if q.IsRate() {
		return "rate:" + q.Of().Name()
	}
	if q >= count {
		return words[None]
	}
	return words[q]
}

// perUnit is how many steps of one base unit the history keeps: 1000 keeps thousandths. Chosen: ten times finer than the best probe of
// the kind, so that keeping a value never shows in it.
var perUnit = [count]float64{
	Temperature: 1000, Difference: 1000, PH: 1000, Humidity: 100, Moisture: 1000, WaterActivity: 1e4, Concentration: 10, Pressure: 1e4, Mass: 1000,
	Length: 1e4, Volume: 100, Speed: 100, Voltage: 1e6, Current: 1e7, Resistance: 1000, Power: 10, Irradiance: 10, Rotation: 10,
	Duration: 1000, HeatDose: 100, Share: 100, Count: 1000, State: 1, YesNo: 1,
}

// StepsPerUnit is how many steps of one base unit are kept.
func (q Quantity) StepsPerUnit() float64 {
	if q.IsRate() {
		return 1e6
	}
	if q >= count || perUnit[q] == 0 {
		return 1000
	}
	return perUnit[q]
}
