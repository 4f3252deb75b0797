package aht20

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/aht20/aht20test"
	"millwarden/drivers/drivertest"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/phrase"
	"millwarden/internal/units"
)

const at = 0x38

func site(bus *drivertest.I2C) drivers.Site {
	return drivers.Site{
		Bus:   drivers.Bus{Name: "i2c-1", I2C: bus},
		Place: phrase.Line{Key: "place", Slots: []phrase.Slot{{Given: true, Text: "i2c-1"}, {Given: true, Text: "0x38", Amount: units.Amount{Value: at, Quantity: units.Count}}}},
	}
}

// impostor acknowledges everything and gives its one byte again and again, as the port expanders at 0x38 do.
type impostor struct{}

func (impostor) Tx(_, r []byte) error {
	for i := range r {
		r[i] = 0x3C
	}
	return nil
}

// recorded is a frame that a part once sent.
type recorded []byte

func (f recorded) Tx(_, r []byte) error {
	copy(r, f)
	return nil
}

func bench() *drivertest.Bench {
	bus, chip := drivertest.NewI2C("i2c-1"), aht20test.New()
	bus.Put(at, chip)
	truth := map[string]float64{"temperature": 20, "humidity": 50}
	return &drivertest.Bench{
		Site: site(bus),
		// Half a step of 20 bits, 200 °C/2^20/2; and a whole one of 100 %RH/2^20, since 100 itself has no number.
		Truths: []drivertest.Truth{{Channel: "temperature", Low: -40, High: 85, Within: 0.000096}, {Channel: "humidity", Low: 0, High: 100, Within: 0.000096}},
		Set: func(channel string, value float64) {
			truth[channel] = value
			chip.Set(truth["temperature"], truth["humidity"])
		},
		Remove:    func() { bus.Remove(at) },
		Restore:   func() { bus.Put(at, chip) },
		WrongPart: func() { bus.Put(at, impostor{}) },
		Garble:    func() { chip.FlipBit(11) },
		Exceed:    func() { chip.SetNumbers(1<<19, 0xFFFFF) },
		Noise:     func(r *rand.Rand) { bus.Noise(r) },
		Fail:      bus.Fail,
		Exchanges: bus.Exchanges,
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench})
}

// Frames of real parts with what others worked out of them, the checksum included; and the ends of the formulas.
func TestRead_frames(t *testing.T) {
	for _, v := range drivertest.Vectors(t, kind) {
		clocktest.Bubble(t, func(t *testing.T) {
			bus := drivertest.NewI2C("i2c-1")
			frame := binary.BigEndian.AppendUint64(nil, v.Raw)[1:]
			bus.Put(at, recorded(frame))
			p, err := Driver.Open(t.Context(), site(bus))
			if err != nil {
				t.Fatalf("%014X: %v", v.Raw, err)
			}
			s, err := p.Read(t.Context())
			if err != nil {
				t.Fatalf("%014X: %v", v.Raw, err)
			}
			got := map[string]float64{"temperature": s.Values[0].Value, "humidity": s.Values[1].Value}[v.Channel]
			if !(math.Abs(got-v.Value) <= v.Within) {
				t.Errorf("%014X: %s = %v, want %v (%s)", v.Raw, v.Channel, got, v.Value, v.Source)
			}
		})
	}
}

func with(t *testing.T, f func(t *testing.T, bus *drivertest.I2C, chip *aht20test.Chip, p drivers.Probe)) {
	t.Helper()
	clocktest.Bubble(t, func(t *testing.T) {
		bus, chip := drivertest.NewI2C("i2c-1"), aht20test.New()
		bus.Put(at, chip)
		p, err := Driver.Open(t.Context(), site(bus))
		if err != nil {
			t.Fatal(err)
		}
		f(t, bus, chip, p)
	})
}

// A part that lost its supply measures without its calibration. That is no value, and the next reading is one again.
func TestRead_afterADipOfTheSupply(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.I2C, chip *aht20test.Chip, p drivers.Probe) {
		chip.Dip()
		if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.NotReady {
			t.Errorf("Read() = %+v, %v, want NotReady", s.Values, err)
		}
		if s, err := p.Read(t.Context()); err != nil || math.Abs(s.Values[0].Value-20) > 0.001 {
			t.Errorf("Read() after it = %+v, %v, want 20 °C", s.Values, err)
		}
	})
}

// The frame before stands there while the part measures: it is never taken, and a part that does not end is told of.
func TestRead_neverTheFrameOfBefore(t *testing.T) {
	with(t, func(t *testing.T, _ *drivertest.I2C, chip *aht20test.Chip, p drivers.Probe) {
		chip.Slow(15 * time.Millisecond)
		chip.Set(60, 10)
		if s, err := p.Read(t.Context()); err != nil || math.Abs(s.Values[0].Value-60) > 0.001 {
			t.Errorf("slow: Read() = %+v, %v, want 60 °C", s.Values, err)
		}
		chip.Slow(time.Minute)
		if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.NotReady {
			t.Errorf("it never ends: Read() = %+v, %v, want NotReady", s.Values, err)
		}
	})
}

// A bus stuck low or high is no value. Every other bit is covered by the checksum; one that makes the status say busy has the frame fetched again.
func TestRead_stuckAndFlipped(t *testing.T) {
	with(t, func(t *testing.T, bus *drivertest.I2C, chip *aht20test.Chip, p drivers.Probe) {
		for bit := range 56 {
			chip.FlipBit(bit)
			if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.Garbled && !(bit == 0 && err == nil) {
				t.Errorf("bit %d turned over: Read() = %+v, %v, want Garbled", bit, s.Values, err)
			}
		}
		for _, level := range []byte{0x00, 0xFF} {
			bus.Alter(func(r []byte) {
				for i := range r {
					r[i] = level
				}
			})
			if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.Garbled {
				t.Errorf("bus stuck at %02X: Read() = %+v, %v, want Garbled", level, s.Values, err)
			}
		}
	})
}
