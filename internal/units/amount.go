package units

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Amount is a value in the base unit of its quantity.
type Amount struct {
	Value    float64
	Quantity Quantity
}

// Unit is one way to write a quantity: base = (written + Shift) * Scale, but for %db, which bends.
type Unit struct {
	Printed  string // as the formatter writes it
	Quantity Quantity
	Scale    float64
	Shift    float64
	over     float64 // if set, Scale is 1/over: 250 / 1000 is the double nearest to 0.25 and its like, 250 * 0.001 is not always
	dry      bool    // %db
}

// ToBase turns a written number into the base unit.
func (u Unit) ToBase(written float64) float64 {
	switch {
	case u.dry:
		return 100 * written / (100 + written)
	case u.Shift != 0: // a billionth of a kelvin: what was lost in adding 32 must not put 104 °F beyond 40 °C
		return math.Round((written+u.Shift)*u.Scale*1e9) / 1e9
	case u.over != 0:
		return written / u.over
	}
	return written * u.Scale
}

// FromBase turns a value of the base unit into what is written in u.
func (u Unit) FromBase(value float64) float64 {
	switch {
	case u.dry:
		return 100 * value / (100 - value)
	case u.over != 0:
		return value * u.over
	}
	return value/u.Scale - u.Shift
}

// Bends tells that u is no straight line against the base unit, so differences cannot be written in it.
func (u Unit) Bends() bool { return u.dry }

type spelling struct {
	unit Unit
	also []string
}

func simple(printed string, q Quantity, scale float64, also ...string) spelling {
	return spelling{Unit{Printed: printed, Quantity: q, Scale: scale}, also}
}

// parted is a unit of which over make one base unit.
func parted(printed string, q Quantity, over float64, also ...string) spelling {
	return spelling{Unit{Printed: printed, Quantity: q, Scale: 1 / over, over: over}, also}
}

// poundKg is exact [NIST SP 811, appendix B.8].
const poundKg = 0.45359237

// spellings lists every unit with the ways people type it. The first of a quantity is its base or the one shown by default.
var spellings = []spelling{
	simple("°C", Temperature, 1, "C", "degC", "ºC", "˚C", "℃", "degc"),
	{Unit{Printed: "°F", Quantity: Temperature, Scale: 5.0 / 9, Shift: -32}, []string{"F", "degF", "ºF", "˚F", "℉", "degf"}},
	simple("K", Difference, 1, "k"),
	simple("°C", Difference, 1, "C", "degC", "ºC", "˚C", "℃", "degc"),
	parted("°F", Difference, 1.8, "F", "degF", "ºF", "˚F", "℉", "degf"),
	simple("pH", PH, 1, "ph", "PH"),
	simple("%RH", Humidity, 1, "%rh", "% RH", "% rh", "%Rh"),
	simple("%wb", Moisture, 1, "% wb", "%WB"),
	{Unit{Printed: "%db", Quantity: Moisture, Scale: 1, dry: true}, []string{"% db", "%DB"}},
	simple("aw", WaterActivity, 1),
	simple("ppm", Concentration, 1),
	parted("ppb", Concentration, 1000),
	simple("kPa", Pressure, 1, "kpa"),
	parted("Pa", Pressure, 1000, "pa"),
	parted("hPa", Pressure, 10, "hpa", "mbar"),
	simple("bar", Pressure, 100),
	simple("kg", Mass, 1),
	parted("g", Mass, 1000),
	simple("lb", Mass, poundKg, "lbs"),
	simple("t", Mass, 1000),
	simple("m", Length, 1),
	parted("cm", Length, 100),
	parted("mm", Length, 1000),
	simple("km", Length, 1000),
	simple("ft", Length, 0.3048), // NIST SP 811 appendix B.8, exact
	simple("L", Volume, 1, "l"),
	parted("mL", Volume, 1000, "ml"),
	simple("m3", Volume, 1000, "m³"),
	simple("gal", Volume, 3.785411784), // US gallon of 231 cubic inches, NIST SP 811 appendix B.8
	simple("m/s", Speed, 1),
	parted("km/h", Speed, 3.6),
	simple("V", Voltage, 1, "v"),
	parted("mV", Voltage, 1000, "mv"),
	simple("A", Current, 1),
	parted("mA", Current, 1000, "ma"),
	simple("Ω", Resistance, 1, "ohm", "Ohm", "ohms", "Ω"),
	simple("kΩ", Resistance, 1000, "kohm", "kOhm", "kΩ"),
	simple("W", Power, 1, "w"),
	simple("kW", Power, 1000, "kw"),
	simple("W/m2", Irradiance, 1, "W/m²"),
	simple("rpm", Rotation, 1),
	simple("s", Duration, 1, "sec", "second", "seconds", "secs"),
	parted("ms", Duration, 1000),
	simple("min", Duration, 60, "minute", "minutes", "mins"),
	simple("h", Duration, 3600, "hour", "hours", "hr", "hrs"),
	simple("d", Duration, 86400, "day", "days"),
	simple("°C·h", HeatDose, 1, "degree-hours", "degree-hour", "C·h"),
	simple("%", Share, 1),
	simple("%", Humidity, 1),
	simple("%", Concentration, 10000), // per cent by volume
}

var byText = func() map[string][]Unit {
	m := map[string][]Unit{}
	add := func(text string, u Unit) { m[text] = append(m[text], u) }
	for _, s := range spellings {
		add(s.unit.Printed, s.unit)
		for _, text := range s.also {
			add(text, s.unit)
		}
	}
	return m
}()

// Lookup gives every meaning of a unit as written: "°C" is a temperature and a difference, "%" a share, a humidity or a concentration,
// "m/s" a speed and the rate of a length. Rates ("°C/min") are found too. No meaning: nil.
func Lookup(text string) []Unit {
	found := slices.Clip(byText[text])
	top, per, isRate := cutLast(text, '/')
	if !isRate {
		return found
	}
	seconds := byText[per]
	if len(seconds) != 1 || seconds[0].Quantity != Duration {
		return found
	}
	rate := func(u Unit) Unit {
		r := Unit{Printed: u.Printed + "/" + seconds[0].Printed, Quantity: u.Quantity.Rate(), Scale: u.Scale / seconds[0].Scale}
		if u.Scale == 1 && seconds[0].Scale >= 1 {
			r.over = seconds[0].Scale
		}
		return r
	}
	if top == "1" {
		return append(found, rate(Unit{Printed: "1", Quantity: Count, Scale: 1}))
	}
	for _, u := range byText[top] {
		if u.Quantity == Difference || u.dry || u.Quantity == Duration {
			continue // the rate of a temperature is that of its differences; %db bends
		}
		found = append(found, rate(u))
	}
	return found
}

func cutLast(text string, at byte) (string, string, bool) {
	i := strings.LastIndexByte(text, at)
	if i < 0 {
		return text, "", false
	}
	return text[:i], text[i+1:], true
}

// Choose gives the meaning of a unit for the quantity that is due there.
func Choose(text string, want Quantity) (Unit, bool) {
	for _, u := range Lookup(text) {
		if u.Quantity == want {
			return u, true
		}
	}
	return Unit{}, false
}

// Of lists the printed units of a quantity.
func Of(q Quantity) []string {
	if q.IsRate() {
		var rates []string
		for _, top := range Of(q.Of()) {
			if top != "%db" {
				rates = append(rates, top+"/min")
			}
		}
		if rates == nil {
			rates = []string{q.Of().top() + "/min"}
		}
		return rates
	}
	var printed []string
	for _, s := range spellings {
		if s.unit.Quantity == q {
			printed = append(printed, s.unit.Printed)
		}
	}
	return printed
}

// errors of Parse, told apart by callers that know more about the place.
var (
	ErrNumber = errors.New("not a number")
	ErrUnit   = errors.New("unit")
)

// Parse reads a number with its unit as the wanted quantity: "45 °C", "12.5%wb", "1 h 30 min", "on". It says what would be accepted.
func Parse(text string, want Quantity) (Amount, error) {
	fail := func(err error) (Amount, error) {
		return Amount{}, fmt.Errorf("%q: %w; write for example %s", text, err, Example(want))
	}
	rest := strings.ReplaceAll(strings.TrimSpace(text), "−", "-") // the typeset minus reads as the typed one
	if value, ok := word(rest, want); ok {
		return Amount{Value: value, Quantity: want}, nil
	}
	total := 0.0
	for first := true; first || rest != ""; first = false {
		number, unit, tail := split(rest, want)
		value, err := ParseNumber(number)
		if err != nil {
			return fail(err)
		}
		if !first && value < 0 {
			return fail(fmt.Errorf("%w: the minus stands once, at the front", ErrNumber))
		}
		u, err := unitFor(unit, want)
		if err != nil {
			return fail(err)
		}
		if total < 0 { // "-1 h 30 min" is an hour and a half ago
			value = -value
		}
		total += u.ToBase(value)
		rest = tail
	}
	if math.IsInf(total, 0) || math.IsNaN(total) {
		return fail(fmt.Errorf("%w: it is beyond all bounds", ErrNumber))
	}
	return Amount{Value: total, Quantity: want}, nil
}

// word reads the words that stand for a state or a condition.
func word(text string, want Quantity) (float64, bool) {
	switch {
	case want == State && text == "on", want == YesNo && text == "yes":
		return 1, true
	case want == State && text == "off", want == YesNo && text == "no":
		return 0, true
	}
	return 0, false
}

// split takes one number and its unit from the front; only a time goes on with further pieces.
func split(text string, want Quantity) (number, unit, rest string) {
	i := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("+-0123456789.,_eE", r) })
	if i < 0 {
		return text, "", ""
	}
	number, text = text[:i], strings.TrimSpace(text[i:])
	if want != Duration {
		return number, text, ""
	}
	j := strings.IndexFunc(text, func(r rune) bool { return r == ' ' || (r >= '0' && r <= '9') })
	if j < 0 {
		return number, text, ""
	}
	return number, text[:j], strings.TrimSpace(text[j:])
}

func unitFor(text string, want Quantity) (Unit, error) {
	if text == "" && (want == Count || want == PH || want == WaterActivity || want == State || want == YesNo) {
		return Unit{Quantity: want, Scale: 1}, nil
	}
	if text == "" {
		return Unit{}, fmt.Errorf("%w missing: %s", ErrUnit, takes(want))
	}
	if u, ok := Choose(text, want); ok {
		return u, nil
	}
	if others := Lookup(text); len(others) > 0 {
		return Unit{}, fmt.Errorf("%w %s is for %s, not for %s", ErrUnit, text, others[0].Quantity.Article(), want.Article())
	}
	return Unit{}, fmt.Errorf("%w %q is not known: %s", ErrUnit, text, takes(want))
}

func takes(want Quantity) string {
	switch of := Of(want); len(of) {
	case 0:
		return want.Article() + " takes no unit"
	case 1:
		return want.Article() + " takes " + of[0]
	default:
		return want.Article() + " takes one of " + strings.Join(of, ", ")
	}
}

// ParseNumber reads plain digits with a point: no exponent, no thousands mark, no comma.
func ParseNumber(text string) (float64, error) {
	if value, ok := shortNumber(text); ok {
		return value, nil
	}
	digits := strings.TrimPrefix(text, "-")
	whole, part, hasPoint := strings.Cut(digits, ".")
	if !allDigits(whole) || (hasPoint && !allDigits(part)) {
		if strings.Contains(text, ",") {
			return 0, fmt.Errorf("%w: %q has a comma, the decimal mark is a point", ErrNumber, text)
		}
		return 0, fmt.Errorf("%w: %q", ErrNumber, text)
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(value, 0) {
		return 0, fmt.Errorf("%w: %q", ErrNumber, text)
	}
	return value, nil
}

// shortNumber reads up to 15 digits, nearly every number there is: below 2^53, divided by an exact power of ten, it is as near as a float can be [Clinger,
// How to read floating point numbers accurately, 1990].
func shortNumber(text string) (float64, bool) {
	digits, points, after, whole := 0, 0, 0, int64(0)
	for i := range len(text) {
		switch c := text[i]; {
		case c >= '0' && c <= '9':
			whole = whole*10 + int64(c-'0')
			digits++
			after += points
		case c == '.' && digits > 0 && points == 0:
			points = 1
		case c == '-' && i == 0:
		default:
			return 0, false
		}
		if digits > 15 {
			return 0, false
		}
	}
	if digits == 0 || after == 0 && points == 1 {
		return 0, false
	}
	value := float64(whole) / powers[after]
	if text[0] == '-' {
		value = -value // zero too
	}
	return value, true
}

var powers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

func allDigits(text string) bool {
	return text != "" && strings.IndexFunc(text, func(r rune) bool { return r < '0' || r > '9' }) < 0
}

// Example is an amount of q as people write it, for messages.
func Example(q Quantity) string {
	if q.IsRate() {
		return map[Quantity]string{Temperature: "1 °C/min", PH: "0.1 pH/h", Moisture: "0.5 %wb/h"}[q.Of()] + exampleRate(q.Of())
	}
	return examples[q]
}

func exampleRate(q Quantity) string {
	if q == Temperature || q == PH || q == Moisture {
		return ""
	}
	return "1 " + q.top() + "/min"
}

var examples = map[Quantity]string{
	Temperature: "45 °C", Difference: "3 K", PH: "4.2 pH", Humidity: "60 %RH", Moisture: "11 %wb", WaterActivity: "0.70 aw",
	Concentration: "35 ppm", Pressure: "0.2 kPa", Mass: "50 kg", Length: "1450 m", Volume: "900 L", Speed: "3 m/s", Voltage: "2.048 V",
	Current: "20 mA", Resistance: "100 Ω", Power: "750 W", Irradiance: "800 W/m2", Rotation: "60 rpm", Duration: "5 min",
	HeatDose: "20 °C·h", Share: "10 %", Count: "3", State: "on", YesNo: "yes",
}
