package syntax

import (
	"slices"
	"testing"

	"millwarden/internal/units"
)

// TestUnits_same holds the units that the scanner reads to those that internal/units knows: each spelling here means something there,
// and prints as it prints there. This package may not import that one; its test may.
func TestUnits_same(t *testing.T) {
	for _, e := range slices.Concat(unitsRead[:]...) {
		typed, printed := e.word, e.of
		meanings := units.Lookup(typed)
		if meanings == nil {
			t.Errorf("%q is read as a unit, internal/units does not know it", typed)
			continue
		}
		want := meanings[0].Printed
		if want == "°C·h" {
			want = "degree-hours" // the table of the specification prints the word
		}
		if printed != want {
			t.Errorf("%q prints %q, internal/units %q", typed, printed, want)
		}
	}
	for q := units.Temperature; q < units.State; q++ {
		for _, printed := range append(units.Of(q), units.Of(q.Rate())...) {
			if _, ok := lookUnit(printed); !ok && printed != "" && q != units.Count && q != units.Duration {
				t.Errorf("%q of %v is not read as a unit", printed, q)
			}
		}
	}
	for _, no := range []string{"", "deg", "/s", "°C/", "°C/kg", "h/h", "KM", "as", "and"} {
		if printed, ok := lookUnit(no); ok {
			t.Errorf("lookUnit(%q) = %q", no, printed)
		}
	}
}

// TestAmounts_read: how numbers and units may stand together, and that what only looks so does not.
func TestAmounts_read(t *testing.T) {
	for typed, want := range map[string]string{
		"5m": "5 m", "5 minutes": "5 min", "1h30min": "1 h 30 min", "1 h 30 min": "1 h 30 min", "−0.4 °C": "-0.4 °C", "45°F": "45 °F",
		"60% RH": "60 %RH", "60 %  rh": "60 %RH", "8 %wb": "8 %wb", "1 C/min": "1 °C/min", "0.2 pH/hour": "0.2 pH/h", "3 m³": "3 m3",
		"12 °C·h": "12 degree-hours", "4.20": "4.20", "0.5": "0.5", "7 W/m²": "7 W/m2",
	} {
		f, list := Parse("x", "alarm a at b\n    critical-limit "+typed)
		if len(list) > 0 || len(unknownUnits(f)) > 0 {
			t.Errorf("%q: %v, unknown units %v", typed, list, unknownUnits(f))
			continue
		}
		if got := f.Blocks[0].Lines[0].Value.(*Amount).String(); got != want {
			t.Errorf("%q is read as %q, want %q", typed, got, want)
		}
	}
	for _, typed := range []string{"5 deg", "0x48", "28-0316a2794bff", "4-20", "1e3", "1_000", "5,2", "+3", "1 h 30", "1 kg 3 kg", ".5", "5."} {
		f, list := Parse("x", "alarm a at b\n    critical-limit "+typed)
		if len(list) == 0 && len(unknownUnits(f)) == 0 {
			t.Errorf("%q is taken as %v", typed, f.Blocks[0].Lines[0].Value)
		}
	}
}
