package input

import (
	"testing"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/internal/phrase"
	"millwarden/internal/units"
)

const line = 17

func site(chip drivers.GPIOChip, lines ...phrase.Line) drivers.Site {
	return drivers.Site{Bus: drivers.Bus{Name: "gpiochip0", GPIO: chip}, Place: drivertest.Place("gpiochip0", line), Lines: lines}
}

func onWhen(word string) phrase.Line {
	return phrase.Line{Key: "on-when", Slots: []phrase.Slot{drivertest.Word(word)}}
}

func bench() *drivertest.Bench {
	chip := drivertest.NewGPIO()
	return &drivertest.Bench{
		Site:      site(chip),
		Truths:    []drivertest.Truth{{Channel: "contact", Low: 0, High: 0}, {Channel: "contact", Low: 1, High: 1}},
		Set:       func(_ string, v float64) { chip.SetClosed(line, v == 1) },
		Remove:    func() { chip.Absent(true) },
		Restore:   func() { chip.Absent(false) },
		Fail:      chip.Fail,
		Exchanges: chip.Exchanges,
		Without: map[string]string{"WrongPart": "a contact is any contact", "Garble": "one bit without a check is one bit",
			"Exceed": "a contact is open or closed", "Noise": "either of the two levels is a value"},
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench})
}

func TestRead_levelsOfTheTable(t *testing.T) {
	for _, v := range drivertest.Vectors(t, "input") {
		words := map[string]string{"closed": "closed", "open": "open"}
		chip := drivertest.NewGPIO()
		p, err := Driver.Open(t.Context(), site(chip, onWhen(words[v.Channel])))
		if err != nil {
			t.Fatal(err)
		}
		chip.SetClosed(line, v.Raw == 0)
		s, err := p.Read(t.Context())
		if err != nil || s.Values[0].Value != v.Value || s.Values[0].Quantity != units.State {
			t.Errorf("on-when %s, level %d: %+v, %v, want %v (%s)", v.Channel, v.Raw, s.Values, err, v.Value, v.Source)
		}
	}
}

// The line is held while the probe is open and given back when it is closed, so that a changed rules file can take it anew.
func TestClose_givesTheLineBack(t *testing.T) {
	chip := drivertest.NewGPIO()
	p, err := Driver.Open(t.Context(), site(chip))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Driver.Open(t.Context(), site(chip)); drivers.KindOf(err) != drivers.NoAnswer {
		t.Errorf("a second holder: Open() = %v, want Fault NoAnswer", err)
	}
	if err := p.(interface{ Close() error }).Close(); err != nil || chip.Taken(line) {
		t.Errorf("Close() = %v, line taken %t", err, chip.Taken(line))
	}
}

func TestOpen_settle(t *testing.T) {
	chip := drivertest.NewGPIO()
	settle := phrase.Line{Key: "settle", Slots: []phrase.Slot{{Given: true, Amount: units.Amount{Value: 2, Quantity: units.Duration}}}}
	if _, err := Driver.Open(t.Context(), site(chip, settle)); err != nil || chip.Settle(line) != 2*time.Second {
		t.Errorf("Open() = %v with settle %s, want 2s", err, chip.Settle(line))
	}
	if _, err := Driver.Open(t.Context(), drivers.Site{}); drivers.KindOf(err) != drivers.Settings {
		t.Errorf("Open() without a chip = %v, want Fault Settings", err)
	}
}
