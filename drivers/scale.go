package drivers

import (
	"strings"

	"millwarden/internal/phrase"
	"millwarden/internal/units"
)

// Scale turns the bare number of a device into the base unit: the "x 0.1 °C" of a register or of a radio message.
type Scale struct {
	Quantity units.Quantity
	factor   float64
	unit     units.Unit
}

// ScaleOf reads the slot of [x AMOUNT]. Without it, or without a unit in it, the number counts in the base unit of what is due. A scale is
// one step of the device in its unit, so 0.1 °F becomes 320 -> 32.0 °F -> 0 °C; the base value of the slot alone could not tell (0.1 °F is
// -17.7 °C), so the text as written decides where it is there.
func ScaleOf(slot phrase.Slot, due units.Quantity) Scale {
	plain := Scale{Quantity: due, factor: 1, unit: units.Unit{Quantity: due, Scale: 1}}
	if !slot.Given {
		return plain
	}
	number, unit := splitAmount(slot.Text)
	factor, err := units.ParseNumber(number)
	if err != nil { // no text: the amount's base value is the step, right for every unit without a shift
		plain.factor = slot.Amount.Value
		if slot.Amount.Quantity != units.None && slot.Amount.Quantity != units.Count {
			plain.Quantity = slot.Amount.Quantity
		}
		return plain
	}
	plain.factor = factor
	if unit == "" {
		return plain
	}
	for _, want := range []units.Quantity{due, slot.Amount.Quantity} {
		if u, ok := units.Choose(unit, want); ok {
			return Scale{Quantity: want, factor: factor, unit: u}
		}
	}
	return Scale{Quantity: slot.Amount.Quantity, factor: slot.Amount.Value, unit: units.Unit{Quantity: slot.Amount.Quantity, Scale: 1}}
}

// Base is the value of a number of the device in the base unit.
func (s Scale) Base(number float64) float64 { return s.unit.ToBase(number * s.factor) }

func splitAmount(text string) (number, unit string) {
	text = strings.TrimSpace(text)
	i := strings.IndexFunc(text, func(r rune) bool { return r != '-' && r != '.' && (r < '0' || r > '9') })
	if i < 0 {
		return text, ""
	}
	return text[:i], strings.TrimSpace(text[i:])
}
