package mcp9600

import (
	"math/rand/v2"
	"testing"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/mcp9600/mcp9600test"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/phrase"
)

const at = 0x67

func site(bus *drivertest.I2C, couple string) drivers.Site {
	return drivers.Site{Bus: drivers.Bus{Name: "i2c-1", I2C: bus}, Place: drivertest.Place("i2c-1", at),
		Lines: phrase.Lines{{Key: "thermocouple", Slots: []phrase.Slot{drivertest.Word(couple)}}}}
}

func bench() *drivertest.Bench {
	bus, chip := drivertest.NewI2C("i2c-1"), mcp9600test.New()
	bus.Put(at, chip)
	truth := map[string]float64{"temperature": 25, "junction": 25}
	return &drivertest.Bench{
		Site: site(bus, "K"),
		Truths: []drivertest.Truth{{Channel: "temperature", Low: -200, High: 1372, Within: 1.0 / 32},
			{Channel: "junction", Low: -40, High: 125, Within: 1.0 / 32}},
		Set: func(channel string, value float64) {
			truth[channel] = value
			chip.Set(truth["temperature"], truth["junction"])
			time.Sleep(time.Second) // the value that is ready is of the time before
		},
		Remove:    func() { bus.Remove(at) },
		Restore:   func() { bus.Put(at, chip) },
		WrongPart: func() { chip.SetID(0x60) },
		Exceed:    func() { chip.SetStatus(0x10) },
		Noise:     func(r *rand.Rand) { bus.Noise(r) },
		Fail:      bus.Fail,
		Exchanges: bus.Exchanges,
		Without:   map[string]string{"Garble": "no checksum, and every bit may be set"},
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench})
}

func with(t *testing.T, couple string, f func(t *testing.T, chip *mcp9600test.Chip, p drivers.Probe)) {
	t.Helper()
	clocktest.Bubble(t, func(t *testing.T) {
		bus, chip := drivertest.NewI2C("i2c-1"), mcp9600test.New()
		bus.Put(at, chip)
		p, err := Driver.Open(t.Context(), site(bus, couple))
		if err != nil {
			t.Fatal(err)
		}
		f(t, chip, p)
	})
}

func TestRead_wordsOfTheTable(t *testing.T) {
	with(t, "K", func(t *testing.T, chip *mcp9600test.Chip, p drivers.Probe) {
		for _, v := range drivertest.Vectors(t, kind) {
			chip.Set(float64(int16(v.Raw))/16, 25)
			time.Sleep(time.Second)
			s, err := p.Read(t.Context())
			if err != nil || s.Values[0].Value != v.Value {
				t.Errorf("%04X: %+v, %v, want %v (%s)", v.Raw, s.Values, err, v.Value, v.Source)
			}
		}
	})
}

// The chip shows its last value for ever once it stands. Without the update flag that would be a good reading.
func TestRead_chipThatStands(t *testing.T) {
	with(t, "K", func(t *testing.T, chip *mcp9600test.Chip, p drivers.Probe) {
		if _, err := p.Read(t.Context()); err != nil {
			t.Fatal(err)
		}
		chip.Stop(true)
		chip.Set(300, 25)
		if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.NotReady {
			t.Errorf("Read() = %+v, %v, want NotReady", s.Values, err)
		}
		chip.Stop(false)
		if s, err := p.Read(t.Context()); err != nil || s.Values[0].Value != 300 {
			t.Errorf("Read() of a chip that converts again = %+v, %v, want 300", s.Values, err)
		}
	})
}

func TestRead_typesAndFaults(t *testing.T) {
	for couple, bits := range map[string]byte{"K": 0, "J": 1, "T": 2, "N": 3, "E": 5} {
		with(t, couple, func(t *testing.T, chip *mcp9600test.Chip, p drivers.Probe) {
			if chip.Type() != bits {
				t.Errorf("%s: type %d was set, want %d", couple, chip.Type(), bits)
			}
			chip.Set(couples[couple].greatest+1, 25)
			time.Sleep(time.Second)
			if s, err := p.Read(t.Context()); err != nil || s.Values[0].Fault == nil {
				t.Errorf("%s beyond its range: %+v, %v, want a Fault", couple, s.Values, err)
			}
			chip.Set(100, 25)
			for status, cause := range map[byte]error{0x10: errBroken, 0x20: errShorted} {
				chip.SetStatus(status)
				time.Sleep(time.Second)
				s, err := p.Read(t.Context())
				if err != nil || s.Values[0].Fault == nil || s.Values[0].Fault.Cause != cause || s.Values[1].Fault != nil { //nolint:errorlint // the very one
					t.Errorf("status %02X: %+v, %v, want %v and the junction", status, s.Values, err, cause)
				}
			}
		})
	}
}

func TestOpen_settingsThatDoNotHold(t *testing.T) {
	bus, chip := drivertest.NewI2C("i2c-1"), mcp9600test.New()
	bus.Put(at, chip)
	chip.Refuse()
	if _, err := Driver.Open(t.Context(), site(bus, "J")); drivers.KindOf(err) != drivers.Settings {
		t.Errorf("Open() = %v, want Settings", err)
	}
}
