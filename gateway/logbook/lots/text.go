package lots

import (
	"fmt"
	"strings"
)

// Text is a step as people read it in the record.
func (s *Step) Text() string {
	parts := []string{s.head()}
	add := func(is bool, format string, args ...any) {
		if is {
			parts = append(parts, fmt.Sprintf(format, args...))
		}
	}
	switch s.Do {
	case Hull, Roast:
		add(s.In > 0, "%s in", kilograms(s.In))
		add(s.Kg > 0, "%s out", kilograms(s.Kg))
	default:
		add(s.Kg > 0, "%s", kilograms(s.Kg))
	}
	add(s.Moisture > 0, "%.4g %%wb", float64(s.Moisture))
	add(s.Activity > 0, "aw %.3g", s.Activity)
	add(s.Supplier != "", "from %s", s.Supplier)
	add(s.Plot != "", "plot %s", s.Plot)
	add(s.Floaters != nil, "floaters %.3g %%", number(s.Floaters))
	add(s.Ripe != nil, "ripe %.3g %%", number(s.Ripe))
	add(s.Gritty != "", "gritty: %s", s.Gritty)
	add(s.Bite != "", "bite: %s", s.Bite)
	add(s.Meter != "", "meter: %s", s.Meter)
	for _, sc := range s.Screens {
		add(true, "screen %d: %s", sc.Number, kilograms(sc.Kg))
	}
	add(s.Below > 0, "below: %s", kilograms(s.Below))
	add(s.Primary != nil, "primary defects %.0f", number(s.Primary))
	add(s.Second != nil, "secondary defects %.0f", number(s.Second))
	add(s.Quakers != nil, "quakers %.0f", number(s.Quakers))
	add(s.Charge > 0, "charge %.4g °C", s.Charge)
	add(s.Crack > 0, "first crack %.4g °C", s.Crack)
	add(s.Drop > 0, "drop %.4g °C", s.Drop)
	add(s.Seconds > 0, "%d:%02d min", s.Seconds/60, s.Seconds%60)
	add(s.Colour != "", "colour %s", s.Colour)
	return strings.Join(parts, ", ")
}

func (s *Step) head() string {
	list := func() string {
		var names []string
		for _, p := range s.Parts {
			if p.Kg > 0 {
				names = append(names, p.Lot+" "+kilograms(p.Kg))
			} else {
				names = append(names, p.Lot)
			}
		}
		return strings.Join(names, " and ")
	}
	switch s.Do {
	case Intake:
		return s.Lot + " taken in: " + s.Cherry + " cherry"
	case Load:
		return s.Station + " loaded: " + s.Lot
	case Empty:
		return strings.TrimSuffix(s.Station+" emptied: "+s.Lot, ": ")
	case Move:
		return strings.TrimSpace(s.Lot + " moved from " + s.Station + " to " + s.To)
	case Split:
		return s.Lot + " split into " + list()
	case Blend:
		return s.Lot + " blended of " + list()
	case Weigh:
		return s.Lot + " weighed"
	case Check:
		return strings.TrimSpace(s.Station+" "+s.Lot) + " checked by hand"
	case Hull:
		return s.Lot + " hulled"
	case Grade:
		if s.Sample {
			return s.Lot + " graded by a sample"
		}
		return s.Lot + " graded"
	case Roast:
		return strings.TrimSpace(s.Lot + " roasted " + s.Batch)
	case Correct:
		if s.Instead == nil {
			return fmt.Sprintf("entry %d struck: it never was", s.Entry)
		}
		return fmt.Sprintf("entry %d corrected: %s", s.Entry, s.Instead.Text())
	}
	return string(s.Do)
}
