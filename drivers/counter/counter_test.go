package counter

import (
	"math"
	"testing"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/internal/phrase"
	"millwarden/internal/units"
)

const line = 22

func site(chip drivers.GPIOChip, pulse string, q units.Quantity) drivers.Site {
	worth, err := units.Parse(pulse, q)
	if err != nil {
		panic(err)
	}
	return drivers.Site{
		Bus: drivers.Bus{Name: "gpiochip0", GPIO: chip}, Place: drivertest.Place("gpiochip0", line),
		Lines: phrase.Lines{{Key: "pulse", Slots: []phrase.Slot{{Given: true, Text: pulse, Amount: worth}}}},
		Gives: []drivers.Channel{{Name: "count", Quantity: q}},
	}
}

func bench() *drivertest.Bench {
	chip, counted := drivertest.NewGPIO(), uint64(0)
	return &drivertest.Bench{
		Site:   site(chip, "0.2 mm", units.Length),
		Truths: []drivertest.Truth{{Channel: "count", Low: 0, High: 37 * 0.0002 * 25, Within: 1e-9}},
		Set: func(_ string, v float64) {
			pulses := uint64(math.Round(v / 0.0002))
			chip.Pulse(line, pulses-counted)
			counted = pulses
		},
		Remove:    func() { chip.Absent(true) },
		Restore:   func() { chip.Absent(false) },
		Fail:      chip.Fail,
		Exchanges: chip.Exchanges,
		Without: map[string]string{"WrongPart": "a contact is any contact", "Garble": "a pulse has no check",
			"Exceed": "a sum has no end", "Noise": "any number of pulses is a value"},
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench})
}

func TestRead_pulsesOfTheTable(t *testing.T) {
	for _, v := range drivertest.Vectors(t, "counter") {
		chip := drivertest.NewGPIO()
		worth := map[string]struct {
			pulse string
			q     units.Quantity
		}{"length": {"0.2 mm", units.Length}, "mass": {"1 kg", units.Mass}}[v.Channel]
		p, err := Driver.Open(t.Context(), site(chip, worth.pulse, worth.q))
		if err != nil {
			t.Fatal(err)
		}
		chip.Pulse(line, v.Raw)
		s, err := p.Read(t.Context())
		if err != nil || !(math.Abs(s.Values[0].Value-v.Value) <= v.Within) || s.Values[0].Quantity != worth.q {
			t.Errorf("%d pulses of %s: %+v, %v, want %v (%s)", v.Raw, worth.pulse, s.Values, err, v.Value, v.Source)
		}
	}
}

// What was counted before the probe was opened does not belong to it.
func TestRead_countsFromItsOpening(t *testing.T) {
	chip := drivertest.NewGPIO()
	chip.Pulse(line, 1000)
	p, err := Driver.Open(t.Context(), site(chip, "0.2 mm", units.Length))
	if err != nil {
		t.Fatal(err)
	}
	if s, err := p.Read(t.Context()); err != nil || s.Values[0].Value != 0 {
		t.Errorf("Read() = %+v, %v, want 0", s.Values, err)
	}
	if _, err := Driver.Open(t.Context(), drivers.Site{}); drivers.KindOf(err) != drivers.Settings {
		t.Errorf("Open() without anything = %v, want Fault Settings", err)
	}
}
