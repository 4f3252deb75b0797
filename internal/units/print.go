package units

import (
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Choice is what people want to see: °F instead of °C, lb instead of kg.
type Choice struct {
	Fahrenheit bool
	Pounds     bool
}

// Asked are the units that a reader asks for by name, "us" or "metric"; those of c where that is none of them.
func (c Choice) Asked(name string) Choice {
	switch name {
	case "us":
		return Choice{Fahrenheit: true, Pounds: true}
	case "metric":
		return Choice{}
	}
	return c
}

// Unit is the unit in which a value of q is shown.
func (c Choice) Unit(q Quantity) Unit {
	printed := q.Of().Base()
	switch {
	case (q.Of() == Temperature || q == Difference) && c.Fahrenheit:
		printed = "°F"
	case q.Of() == Mass && c.Pounds:
		printed = "lb"
	}
	if q.IsRate() {
		if printed == "" {
			printed = "1"
		}
		printed += slowness(q)
	}
	if u, ok := Choose(printed, q); ok {
		return u
	}
	return Unit{Printed: printed, Quantity: q, Scale: 1}
}

// slowness is the time of a rate as people say it: what ferments and dries moves in hours, what is heated in minutes.
func slowness(rate Quantity) string {
	if rate.Of() == PH || rate.Of() == Moisture {
		return "/h"
	}
	return "/min"
}

// Number prints the value alone in the unit of choice, with the decimals usual for the quantity.
func (c Choice) Number(value float64, q Quantity) string {
	shown := c.Unit(q).FromBase(value)
	if math.IsNaN(shown) || math.IsInf(shown, 0) {
		return "–"
	}
	decimals := 1
	if !q.IsRate() && q < count {
		decimals = table[q].decimals
	} else if q.Of() == PH {
		decimals = 2
	}
	text := strconv.FormatFloat(shown, 'f', decimals, 64)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-") // never "-0.0"
	}
	return text
}

// Print prints value and unit: "45.0 °C", "on", "1 h 30 min".
func (c Choice) Print(value float64, q Quantity) string {
	switch q {
	case State:
		return map[bool]string{true: "on", false: "off"}[value != 0]
	case YesNo:
		return map[bool]string{true: "yes", false: "no"}[value != 0]
	case Duration:
		return printDuration(value)
	}
	number := c.Number(value, q)
	if unit := c.Unit(q).Printed; unit != "" {
		return number + " " + unit
	}
	return number
}

// amounts finds what of a sentence is in a unit that people choose: "40.6 °C", "3.0 °C/min", "388 kg".
var amounts = regexp.MustCompile(`(-?\d+(?:\.(\d+))?) (°[CF](?:/min|/h)?|K|kg|lb)\b`)

// inOther are those units, each with its other. °F is not turned back: in a sentence nothing tells a temperature from a difference of two.
var inOther = map[string]struct {
	unit      string
	scale, to float64 // shown in the other: value times scale, and to
	us        bool    // whether the other is one of °F and lb
}{
	"°C": {"°F", 1.8, 32, true}, "K": {"°F", 1.8, 0, true}, "°C/min": {"°F/min", 1.8, 0, true}, "°C/h": {"°F/h", 1.8, 0, true}, "kg": {"lb", 1 / poundKg, 0, true},
	"°F/min": {"°C/min", 1 / 1.8, 0, false}, "°F/h": {"°C/h", 1 / 1.8, 0, false}, "lb": {"kg", poundKg, 0, false},
}

// Sentence gives a sentence of the program, which says amounts in the units of its site, in those of choice, with as many decimals.
func (c Choice) Sentence(text string) string {
	return amounts.ReplaceAllStringFunc(text, func(amount string) string {
		found := amounts.FindStringSubmatch(amount)
		turn, turns := inOther[found[3]]
		us := c.Fahrenheit
		if found[3] == "kg" || found[3] == "lb" {
			us = c.Pounds
		}
		value, err := strconv.ParseFloat(found[1], 64)
		if err != nil || !turns || turn.us != us {
			return amount
		}
		return strconv.FormatFloat(value*turn.scale+turn.to, 'f', len(found[2]), 64) + " " + turn.unit
	})
}

// String prints an amount in the base units that people use.
func (a Amount) String() string { return Choice{}.Print(a.Value, a.Quantity) }

// printDuration prints at most two neighbouring units, rounded: "45 s", "4 min", "17 h 40 min", "3 d 4 h".
func printDuration(seconds float64) string {
	if math.IsNaN(seconds) || math.IsInf(seconds, 0) {
		return "–"
	}
	sign := ""
	if seconds < 0 {
		sign, seconds = "-", -seconds
	}
	switch {
	case seconds < 0.9995 && seconds > 0:
		return sign + strconv.FormatFloat(math.Round(seconds*1000), 'f', 0, 64) + " ms"
	case seconds < 59.5:
		return sign + strconv.FormatFloat(math.Round(seconds), 'f', 0, 64) + " s"
	case seconds < 600 && math.Mod(math.Round(seconds), 60) != 0:
		return sign + pair(math.Round(seconds), 60, "min", "s")
	case seconds < 86400-30:
		return sign + pair(math.Round(seconds/60), 60, "h", "min")
	}
	return sign + pair(math.Round(seconds/3600), 24, "d", "h")
}

func pair(small, ratio float64, bigUnit, smallUnit string) string {
	big, rest := math.Floor(small/ratio), math.Mod(small, ratio)
	switch {
	case big == 0:
		return strconv.FormatFloat(rest, 'f', 0, 64) + " " + smallUnit
	case rest == 0:
		return strconv.FormatFloat(big, 'f', 0, 64) + " " + bigUnit
	}
	return strconv.FormatFloat(big, 'f', 0, 64) + " " + bigUnit + " " + strconv.FormatFloat(rest, 'f', 0, 64) + " " + smallUnit
}
