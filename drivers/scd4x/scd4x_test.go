package scd4x

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/scd4x/scd4xtest"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
)

const at = 0x62

func site(bus *drivertest.I2C, lines ...phrase.Line) drivers.Site {
	return drivers.Site{Bus: drivers.Bus{Name: "i2c-1", I2C: bus}, Place: drivertest.Place("i2c-1", at), Lines: lines}
}

// impostor acknowledges everything and answers with bytes of its own.
type impostor struct{}

func (impostor) Tx(_, r []byte) error {
	for i := range r {
		r[i] = byte(0x10 + i)
	}
	return nil
}

func bench() *drivertest.Bench {
	bus, chip := drivertest.NewI2C("i2c-1"), scd4xtest.New()
	bus.Put(at, chip)
	truth := map[string]float64{"co2": 420, "temperature": 20, "humidity": 50}
	return &drivertest.Bench{
		Site: site(bus),
		// Half a step of each word.
		Truths: []drivertest.Truth{{Channel: "co2", Low: 400, High: 5000, Within: 0.5}, {Channel: "temperature", Low: -10, High: 60, Within: 0.00134},
			{Channel: "humidity", Low: 0, High: 100, Within: 0.00077}},
		Set: func(channel string, value float64) {
			truth[channel] = value
			chip.Set(truth["co2"], truth["temperature"], truth["humidity"])
		},
		Remove:    func() { bus.Remove(at) },
		Restore:   func() { bus.Put(at, chip) },
		WrongPart: func() { bus.Put(at, impostor{}) },
		Garble:    func() { chip.FlipBit(11) },
		Exceed:    func() { chip.SetWords(1000, 0xFFFF, 0x8000) },
		Noise:     func(r *rand.Rand) { bus.Noise(r) },
		Fail:      bus.Fail,
		Exchanges: bus.Exchanges,
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench})
}

func with(t *testing.T, f func(t *testing.T, bus *drivertest.I2C, chip *scd4xtest.Chip, p drivers.Probe), lines ...phrase.Line) {
	t.Helper()
	clocktest.Bubble(t, func(t *testing.T) {
		bus, chip := drivertest.NewI2C("i2c-1"), scd4xtest.New()
		bus.Put(at, chip)
		p, err := Driver.Open(t.Context(), site(bus, lines...))
		if err != nil {
			t.Fatal(err)
		}
		f(t, bus, chip, p)
	})
}

func TestRead_datasheetWords(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.I2C, chip *scd4xtest.Chip, p drivers.Probe) {
		for _, v := range drivertest.Vectors(t, "scd4x") {
			chip.SetWords(uint16(v.Raw>>32), uint16(v.Raw>>16), uint16(v.Raw))
			s, err := p.Read(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			for _, got := range s.Values {
				if got.Channel == v.Channel && !(math.Abs(got.Value-v.Value) <= v.Within) {
					t.Errorf("%012X: %s = %v, want %v (%s)", v.Raw, v.Channel, got.Value, v.Value, v.Source)
				}
			}
		}
	})
}

// Beyond its range the part's number is no measure, and yet may not hide that there is much.
func TestRead_beyondTheRange(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.I2C, chip *scd4xtest.Chip, p drivers.Probe) {
		chip.SetWords(38000, 0x6667, 0x5EB9)
		if s, err := p.Read(t.Context()); err != nil || s.Values[0].Value != 5000 || s.Values[0].Quality != reading.Uncertain || s.Values[0].Cause == "" {
			t.Errorf("38,000 ppm: %+v, %v, want 5000 and uncertain", s.Values, err)
		}
		chip.SetWords(0, 0x6667, 0x5EB9)
		if s, err := p.Read(t.Context()); err != nil || s.Values[0].Fault == nil || s.Values[1].Fault != nil {
			t.Errorf("0 ppm: %+v, %v, want a Fault of that channel alone", s.Values, err)
		}
	})
}

// In a fermentation room the week's lowest is no fresh air: the part must not calibrate itself unless it is told to.
func TestOpen_selfCalibration(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.I2C, chip *scd4xtest.Chip, _ drivers.Probe) {
		if chip.SelfCalibration() {
			t.Error("it calibrates itself, want it off")
		}
	})
	on := phrase.Line{Key: "self-calibration", Slots: []phrase.Slot{drivertest.Word("on")}}
	with(t, func(t *testing.T, _ *drivertest.I2C, chip *scd4xtest.Chip, _ drivers.Probe) {
		if !chip.SelfCalibration() {
			t.Error("it does not calibrate itself, want it on")
		}
	}, on)
}

// A result is fetched once; what follows waits for the next one or says that there is none yet, in few words.
func TestRead_neverTheSameResultTwice(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.I2C, chip *scd4xtest.Chip, p drivers.Probe) {
		if _, err := p.Read(t.Context()); err != nil {
			t.Fatal(err)
		}
		short, cancel := context.WithTimeout(t.Context(), 2*time.Second)
		defer cancel()
		_, err := p.Read(short)
		fault, ok := drivers.AsFault(err)
		if !ok || fault.Kind != drivers.NotReady || fault.Brief() != "not ready, no new result yet" {
			t.Errorf("Read() = %v, want NotReady", err)
		}
		chip.Set(900, 20, 50)
		if s, err := p.Read(t.Context()); err != nil || s.Values[0].Value != 900 {
			t.Errorf("Read() = %+v, %v, want 900", s.Values, err)
		}
	})
}

// A dip of the supply stops the part, silently, and switches its self-calibration on.
func TestRead_afterADipOfTheSupply(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.I2C, chip *scd4xtest.Chip, p drivers.Probe) {
		if _, err := p.Read(t.Context()); err != nil {
			t.Fatal(err)
		}
		chip.PowerUp()
		if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.NotReady {
			t.Errorf("it stands still: %+v, %v, want NotReady", s.Values, err)
		}
		if s, err := p.Read(t.Context()); err != nil || chip.SelfCalibration() {
			t.Errorf("after it was started again: %+v, %v, self-calibration %t, want a value and off", s.Values, err, chip.SelfCalibration())
		}
	})
}

func TestRead_anyFlippedBit(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.I2C, chip *scd4xtest.Chip, p drivers.Probe) {
		for bit := range 72 {
			chip.FlipBit(bit)
			if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.Garbled {
				t.Errorf("bit %d turned over: Read() = %v, %v, want Garbled", bit, s, err)
			}
		}
	})
}

// spy notes the commands that a chip is sent.
type spy struct {
	chip drivertest.Chip
	sent map[uint16]bool
}

func (s *spy) Tx(w, r []byte) error {
	if len(w) > 1 {
		s.sent[uint16(w[0])<<8|uint16(w[1])] = true
	}
	return s.chip.Tx(w, r)
}

// A wrong unit in the temperature offset, kept in the chip's memory, falsifies its humidity for ever. Only what is needed is written: neither the offset
// (241Dh), the altitude (2427h), the pressure (E000h) nor the memory (3615h).
func TestOpen_writesNoOffset(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		bus := drivertest.NewI2C("i2c-1")
		s := &spy{chip: scd4xtest.New(), sent: map[uint16]bool{}}
		bus.Put(0x62, s)
		b := bench()
		b.Site.Bus.I2C = bus
		p, err := Driver.Open(t.Context(), b.Site)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := p.Read(t.Context()); err != nil {
			t.Fatal(err)
		}
		for _, never := range []uint16{0x241D, 0x2427, 0xE000, 0x3615} {
			if s.sent[never] {
				t.Errorf("command %04X was sent", never)
			}
		}
		if !s.sent[0x21B1] || !s.sent[0xEC05] {
			t.Errorf("sent were %v: the spy saw nothing", s.sent)
		}
	})
}
