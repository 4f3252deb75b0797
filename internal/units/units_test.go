package units

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// Conversion factors from outside. SP 811: NIST Special Publication 811 (2008), appendix B.8, factors that it prints in bold as exact;
// SI: prefixes of the SI brochure; ITS-90: fixed points and t/°C = T/K - 273.15.
func TestParse_factors(t *testing.T) {
	for _, c := range []struct {
		text   string
		want   Quantity
		value  float64
		source string
	}{
		{"212 °F", Temperature, 100, "SP 811 B.8: t/°C = (t/°F - 32)/1.8"},
		{"32 °F", Temperature, 0, "SP 811 B.8"},
		{"-40 °F", Temperature, -40, "SP 811 B.8"},
		{"104 °F", Temperature, 40, "SP 811 B.8"},
		{"33.8 °F", Temperature, 1, "SP 811 B.8"},
		{"1 °F", Difference, 1 / 1.8, "SP 811 B.8: temperature interval, 1 °F = 1/1.8 K"},
		{"9 °F", Difference, 5, "SP 811 B.8"},
		{"1 lb", Mass, 0.45359237, "SP 811 B.8: pound (avoirdupois), exact"},
		{"100 lb", Mass, 45.359237, "SP 811 B.8"},
		{"1 ft", Length, 0.3048, "SP 811 B.8: foot, exact"},
		{"1 gal", Volume, 3.785411784, "SP 811 B.8: gallon (U.S.) 3.785 412 E-03 m3; 231 cubic inches of 2.54 cm"},
		{"1 bar", Pressure, 100, "SP 811 B.8: bar, 1.0 E+05 Pa"},
		{"1013.25 mbar", Pressure, 101.325, "SP 811 B.8: millibar, 1.0 E+02 Pa; standard atmosphere 1.013 25 E+05 Pa"},
		{"101325 Pa", Pressure, 101.325, "SP 811 B.8"},
		{"36 km/h", Speed, 10, "SP 811 B.8: kilometer per hour, 2.777 778 E-01 m/s"},
		{"1 h 30 min", Duration, 5400, "SP 811 table 6: 1 h = 3600 s, 1 min = 60 s"},
		{"2 d", Duration, 172800, "SP 811 table 6: 1 d = 86 400 s"},
		{"250 ms", Duration, 0.25, "SI"},
		{"-1 h 30 min", Duration, -5400, "SP 811 table 6"},
		{"20 mA", Current, 0.02, "SI"},
		{"512 mV", Voltage, 0.512, "SI"},
		{"4.7 kΩ", Resistance, 4700, "SI"},
		{"4.7 kohm", Resistance, 4700, "SI"},
		{"1 %", Concentration, 10000, "one in a hundred, in parts per million"},
		{"1 ppm", Concentration, 1, "SI brochure 5.4.7"},
		{"500 ppb", Concentration, 0.5, "SI brochure 5.4.7"},
		{"1.5 t", Mass, 1500, "SP 811 table 6"},
		{"0.25 m³", Volume, 250, "SP 811 table 6: 1 L = 10^-3 m3"},
		{"3 °C/min", Temperature.Rate(), 0.05, "60 s"},
		{"9 °F/h", Temperature.Rate(), 5.0 / 3600, "SP 811 B.8"},
		{"6 L/min", Volume.Rate(), 0.1, "60 s"},
		{"90 1/min", Count.Rate(), 1.5, "60 s"},
		{"6 m/min", Length.Rate(), 0.1, "60 s"},
		{"4.2", PH, 4.2, "no unit"}, {"4.2 pH", PH, 4.2, "pH"},
		{"on", State, 1, "word"}, {"off", State, 0, "word"}, {"yes", YesNo, 1, "word"},
		{"−5 °C", Temperature, -5, "typeset minus"},
	} {
		got, err := Parse(c.text, c.want)
		if err != nil || got.Quantity != c.want || math.Abs(got.Value-c.value) > 1e-15*math.Abs(c.value) {
			t.Errorf("Parse(%q) = %v, %v; want %v (%s)", c.text, got.Value, err, c.value, c.source)
		}
	}
}

// wb = 100 db / (100 + db). Check values: Cenicafé's bulk densities are printed at 122 % and 12.36 % db, which are 54.95 and 11.00 % wb
// (coffee reference, trade-conversions, "bulk density parchment"); 25 kg of water on 100 kg of dry matter are a fifth of the whole.
func TestParse_dryBase(t *testing.T) {
	for text, want := range map[string]float64{"122 %db": 54.95, "12.36 %db": 11.00, "25 % db": 20, "0 %db": 0, "100 %db": 50} {
		got, err := Parse(text, Moisture)
		if err != nil || math.Abs(got.Value-want) > 0.005 {
			t.Errorf("Parse(%q) = %v, %v; want %v %%wb", text, got.Value, err, want)
		}
	}
	u, ok := Choose("%db", Moisture)
	if !ok || !u.Bends() {
		t.Fatal("per cent of the dry weight is no bending unit of moisture")
	}
	for wb := 0.0; wb < 90; wb += 0.5 {
		if back := u.ToBase(u.FromBase(wb)); math.Abs(back-wb) > 1e-12 {
			t.Errorf("%v %%wb came back as %v", wb, back)
		}
	}
	if units := Lookup("%db/h"); units != nil {
		t.Errorf("%%db/h is %v, want nothing: it bends", units)
	}
}

// Whole tenths of a degree and of the small units must be the nearest double, so that 104 °F is not above 40 °C.
func TestToBase_exact(t *testing.T) {
	for tenth := -400; tenth <= 3000; tenth++ {
		celsius := float64(tenth) / 10
		if got, err := Parse(Choice{Fahrenheit: true}.exact(celsius), Temperature); err != nil || got.Value != celsius {
			t.Fatalf("%v °C in °F and back is %v, %v", celsius, got.Value, err)
		}
	}
	for i := range 3000 {
		for _, unit := range []struct {
			text string
			q    Quantity
			over float64
		}{{"mm", Length, 1000}, {"g", Mass, 1000}, {"mV", Voltage, 1000}, {"hPa", Pressure, 10}, {"cm", Length, 100}} {
			u, _ := Choose(unit.text, unit.q)
			if got := u.ToBase(float64(i)); got != float64(i)/unit.over {
				t.Fatalf("%d %s is %v, want %v", i, unit.text, got, float64(i)/unit.over)
			}
		}
	}
}

// exact writes a temperature of whole tenths of °C in °F, which has two decimals then.
func (c Choice) exact(celsius float64) string {
	hundredths := math.Round(celsius*180) + 3200
	whole, part := math.Trunc(hundredths/100), math.Abs(math.Mod(hundredths, 100))
	sign := ""
	if hundredths < 0 && whole == 0 {
		sign = "-"
	}
	return sign + formatInt(whole) + "." + strings.Repeat("0", 2-len(formatInt(part))) + formatInt(part) + " °F"
}

func formatInt(x float64) string { return Choice{}.Number(x, Count) }

func TestParse_messages(t *testing.T) {
	for _, c := range []struct {
		text string
		want Quantity
		kind error
		says string
	}{
		{"45", Temperature, ErrUnit, `"45": unit missing: a temperature takes one of °C, °F; write for example 45 °C`},
		{"45 K", Temperature, ErrUnit, `"45 K": unit K is for a temperature difference, not for a temperature; write for example 45 °C`},
		{"45 grad", Temperature, ErrUnit, `"45 grad": unit "grad" is not known: a temperature takes one of °C, °F; write for example 45 °C`},
		{"4 °C", PH, ErrUnit, `"4 °C": unit °C is for a temperature, not for a pH; write for example 4.2 pH`},
		{"12 %", Moisture, ErrUnit, `"12 %": unit % is for a share, not for a moisture; write for example 11 %wb`},
		{"3 kg", Count, ErrUnit, `"3 kg": unit kg is for a mass, not for a plain number; write for example 3`},
		{"3 x", Count, ErrUnit, `"3 x": unit "x" is not known: a plain number takes no unit; write for example 3`},
		{"4,2 pH", PH, ErrNumber, `"4,2 pH": not a number: "4,2" has a comma, the decimal mark is a point; write for example 4.2 pH`},
		{"1e3 W", Power, ErrNumber, `"1e3 W": not a number: "1e3"; write for example 750 W`},
		{"1_000 W", Power, ErrNumber, `"1_000 W": not a number: "1_000"; write for example 750 W`},
		{"", Mass, ErrNumber, `"": not a number: ""; write for example 50 kg`},
		{"NaN kg", Mass, ErrNumber, `"NaN kg": not a number: ""; write for example 50 kg`},
		{"+5 kg", Mass, ErrNumber, `"+5 kg": not a number: "+5"; write for example 50 kg`},
		{".5 kg", Mass, ErrNumber, `".5 kg": not a number: ".5"; write for example 50 kg`},
		{"5. kg", Mass, ErrNumber, `"5. kg": not a number: "5."; write for example 50 kg`},
		{"1 h -30 min", Duration, ErrNumber, `"1 h -30 min": not a number: the minus stands once, at the front; write for example 5 min`},
		{"1 h 30", Duration, ErrUnit, `"1 h 30": unit missing: a time takes one of s, ms, min, h, d; write for example 5 min`},
		{"-100 %db", Moisture, ErrNumber, `"-100 %db": not a number: it is beyond all bounds; write for example 11 %wb`},
		{"3 °C", Temperature.Rate(), ErrUnit, `"3 °C": unit °C is for a temperature, not for a rate of temperature; write for example 1 °C/min`},
		{"3", Temperature.Rate(), ErrUnit, `"3": unit missing: a rate of temperature takes one of °C/min, °F/min; write for example 1 °C/min`},
		{"maybe", State, ErrNumber, `"maybe": not a number: ""; write for example on`},
		{strings.Repeat("9", 400) + " kg", Mass, ErrNumber, ""},
	} {
		got, err := Parse(c.text, c.want)
		if !errors.Is(err, c.kind) || c.says != "" && err.Error() != c.says {
			t.Errorf("Parse(%q, %v) = %v, %v\nwant %s", c.text, c.want, got, err, c.says)
		}
	}
}

// Every example that a message offers must itself be taken, and every unit that it lists.
func TestExample(t *testing.T) {
	for q := Temperature; q < count; q++ {
		for _, q := range []Quantity{q, q.Rate()} {
			if q == State.Rate() || q == YesNo.Rate() || q == Duration.Rate() || q == Difference {
				continue // no such rates; the difference is under Temperature.Rate
			}
			if _, err := Parse(Example(q), q); err != nil {
				t.Errorf("the example of %v: %v", q, err)
			}
			for _, unit := range Of(q) {
				if _, err := Parse("1 "+unit, q); unit != "" && err != nil {
					t.Errorf("%v lists %s: %v", q, unit, err)
				}
			}
		}
	}
}

// Names, printed base units and the tables behind them agree for every quantity and rate.
func TestQuantity_tables(t *testing.T) {
	for q := Temperature; q < count; q++ {
		if found, ok := ByName(q.Name()); !ok || found != q {
			t.Errorf("ByName(%q) = %v, %v; want %v", q.Name(), found, ok, q)
		}
		if q.StepsPerUnit() < 1 || perUnit[q] == 0 {
			t.Errorf("%v keeps %v steps", q, q.StepsPerUnit())
		}
		if q.String() == "" || q.Article() == "" {
			t.Errorf("quantity %d has no name", q)
		}
		if q != Difference {
			if found, ok := ByName(q.Rate().Name()); !ok || found != q.Rate() || !found.IsRate() || found.Of() != q {
				t.Errorf("ByName(%q) = %v, %v", q.Rate().Name(), found, ok)
			}
		}
		if base := q.Base(); base != "" {
			if u, ok := Choose(base, q); !ok || u.ToBase(7.5) != 7.5 {
				t.Errorf("base unit %q of %v is %+v, %v", base, q, u, ok)
			}
		}
	}
	for _, name := range []string{"", "none", "rate:", "rate:none", "rate:rate:ph", "beauty"} {
		if q, ok := ByName(name); ok {
			t.Errorf("ByName(%q) = %v, want nothing", name, q)
		}
	}
	if q := Quantity(99); q.Name() != "none" || q.Base() != "" || q.String() != "nothing" || q.StepsPerUnit() == 0 {
		t.Error("a quantity that is none has a name")
	}
	if Temperature.Step() != Difference || PH.Step() != PH || Difference.Rate() != Temperature.Rate() {
		t.Error("the step of a temperature is a difference, and both have one rate")
	}
}

// An absolute temperature and a difference are two quantities: no unit but K tells them apart, so both must be offered.
func TestLookup(t *testing.T) {
	for text, want := range map[string][]Quantity{
		"°C":     {Temperature, Difference},
		"K":      {Difference},
		"%":      {Share, Humidity, Concentration},
		"°C/min": {Temperature.Rate()},
		"m/s":    {Speed, Length.Rate()},
		"W/m2":   {Irradiance},
		"W/m2/h": {Irradiance.Rate()},
		"K/min":  nil,
		"s/s":    nil,
		"1/h":    {Count.Rate()},
		"/s":     nil,
		"":       nil,
		"kg/kg":  nil,
	} {
		found := Lookup(text)
		if len(found) != len(want) {
			t.Errorf("Lookup(%q) = %v, want %v", text, found, want)
			continue
		}
		for _, q := range want {
			if _, ok := Choose(text, q); !ok {
				t.Errorf("Lookup(%q) has no %v", text, q)
			}
		}
	}
}

func TestChoice_Print(t *testing.T) {
	us := Choice{Fahrenheit: true, Pounds: true}
	for _, c := range []struct {
		choice Choice
		value  float64
		q      Quantity
		want   string
	}{
		{Choice{}, 51.04, Temperature, "51.0 °C"}, {us, 45, Temperature, "113.0 °F"},
		{Choice{}, 5, Difference, "5.0 K"}, {us, 5, Difference, "9.0 °F"},
		{Choice{}, 0.05, Temperature.Rate(), "3.0 °C/min"}, {us, 0.05, Temperature.Rate(), "5.4 °F/min"},
		{us, 45.359237, Mass, "100.0 lb"}, {Choice{}, 4.2, PH, "4.20 pH"}, {Choice{}, -0.01, Temperature, "0.0 °C"},
		{Choice{}, 1.5, Count.Rate(), "90.0 1/min"}, {Choice{}, 3, Count, "3"},
		{Choice{}, 1, State, "on"}, {Choice{}, 0, YesNo, "no"},
		{Choice{}, math.NaN(), PH, "– pH"}, {Choice{}, math.Inf(1), Duration, "–"},
		{Choice{}, 0, Duration, "0 s"}, {Choice{}, 0.25, Duration, "250 ms"}, {Choice{}, 0.9999, Duration, "1 s"}, {Choice{}, 45, Duration, "45 s"},
		{Choice{}, 59.7, Duration, "1 min"}, {Choice{}, 90, Duration, "1 min 30 s"}, {Choice{}, 599.8, Duration, "10 min"},
		{Choice{}, 63600, Duration, "17 h 40 min"}, {Choice{}, 86390, Duration, "1 d"}, {Choice{}, 273600, Duration, "3 d 4 h"}, {Choice{}, -5400, Duration, "-1 h 30 min"},
	} {
		if got := c.choice.Print(c.value, c.q); got != c.want {
			t.Errorf("Print(%v, %v) = %q, want %q", c.value, c.q, got, c.want)
		}
	}
}

// Aim: what the program says in sentences is turned amount by amount into the units of the reader, by the factors of NIST SP 811, appendix B.8; differences by their scale alone, and what is no
// such amount stays. A °F of a sentence may be either, so it stays too.
func TestChoice_Sentence(t *testing.T) {
	us := Choice{Fahrenheit: true, Pounds: true}
	for _, c := range []struct {
		choice     Choice
		says, want string
	}{
		{us, "deck A bean temperature is 40.6 °C, limit 40.0 °C, for 15 min, since 11:42:20", "deck A bean temperature is 105.1 °F, limit 104.0 °F, for 15 min, since 11:42:20"},
		{us, "rise(air-temperature, 2 min) is 3.0 °C/min, limit 1.0 °C/min", "rise(air-temperature, 2 min) is 5.4 °F/min, limit 1.8 °F/min"},
		{us, "3.2 K warmer, -40 °C outside; 262 kg, 4.20 pH, 11.8 %wb", "5.8 °F warmer, -40 °F outside; 578 lb, 4.20 pH, 11.8 %wb"},
		{Choice{Fahrenheit: true}, "20.0 °C and 100 kg", "68.0 °F and 100 kg"},
		{Choice{}, "40.6 °C, 262 kg", "40.6 °C, 262 kg"},
		{Choice{}, "1.8 °F/min, 100.0 lb, 9.0 °F", "1.0 °C/min, 45.4 kg, 9.0 °F"},
		{us, "40 °Cx, 3 Kelvin, 5 kgs", "40 °Cx, 3 Kelvin, 5 kgs"},
	} {
		if got := c.choice.Sentence(c.says); got != c.want {
			t.Errorf("%+v: %q, want %q", c.choice, got, c.want)
		}
	}
}

func TestCelsius(t *testing.T) {
	if d := Celsius(45).Sub(40); d != 5 {
		t.Errorf("45 °C less 40 °C is %v K", d)
	}
	if c := Celsius(40).Add(5); c != 45 {
		t.Errorf("40 °C and 5 K is %v °C", c)
	}
	if f := Celsius(100).Fahrenheit(); f != 212 {
		t.Errorf("100 °C is %v °F", f)
	}
	if c := FromFahrenheit(212); c != 100 {
		t.Errorf("212 °F is %v °C", c)
	}
}

// FuzzParse: never a panic, never a value that is no number, and what is printed of what was read is read again.
func FuzzParse(f *testing.F) {
	for _, text := range []string{"45 °C", "1 h 30 min", "12.5%wb", "-100 %db", "3 °C/min", "on", "−5 °F", "90 1/min", "4,2", "1e9 kg", "9 d 9 d"} {
		for _, q := range []Quantity{Temperature, Duration, Moisture, Temperature.Rate(), State, Count.Rate(), PH} {
			f.Add(text, uint8(q))
		}
	}
	f.Fuzz(func(t *testing.T, text string, quantity uint8) {
		q := Quantity(quantity)
		a, err := Parse(text, q)
		if err != nil {
			if !errors.Is(err, ErrNumber) && !errors.Is(err, ErrUnit) {
				t.Fatalf("Parse(%q, %v): %v is of no kind", text, q, err)
			}
			return
		}
		if math.IsNaN(a.Value) || math.IsInf(a.Value, 0) {
			t.Fatalf("Parse(%q, %v) = %v", text, q, a.Value)
		}
		if printed := a.String(); q != None && q < count && !strings.Contains(printed, "–") {
			if _, err := Parse(printed, q); err != nil {
				t.Fatalf("Parse(%q, %v) printed %q: %v", text, q, printed, err)
			}
		}
	})
}
