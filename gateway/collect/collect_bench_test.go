package collect

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"time"

	"periph.io/x/conn/v3/physic"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/lm75"
	"millwarden/internal/clock"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// wire is an I2C bus with one LM75 that answers at once.
type wire struct{ registers [4][2]byte }

func newWire() *wire { return &wire{[4][2]byte{{0x15, 0x80}, {}, {0x4b, 0}, {0x50, 0}}} } // 21.5 °C

func (*wire) String() string                  { return "wire" }
func (*wire) SetSpeed(physic.Frequency) error { return nil }

func (w *wire) Tx(_ uint16, send, receive []byte) error {
	register := &w.registers[send[0]&3]
	copy(register[:], send[1:])
	copy(receive, register[:])
	return nil
}

func (w *wire) open(b *testing.B) drivers.Probe {
	b.Helper()
	site := drivers.Site{Bus: drivers.Bus{Name: "i2c-1", I2C: w}, Place: drivertest.Place("i2c-1", 0x48), Lines: phrase.Lines{{Key: "bits", Slots: []phrase.Slot{drivertest.Number(9)}}}}
	p, err := lm75.Driver.Open(b.Context(), site)
	if err != nil {
		b.Fatal(err)
	}
	return p
}

// steps is a clock that goes a second on with each look.
type steps struct{ now reading.Stamp }

func (s *steps) Now() reading.Stamp {
	s.now.Mono += time.Second
	s.now.Wall = s.now.Wall.Add(time.Second)
	return s.now
}

func (s *steps) Real(d time.Duration) time.Duration { return d }

// BenchmarkReading is what a reading costs from the call of the driver to the reading handed on, 64 probes a round, against the driver alone on the same bus. Goal: 3 x, no allocation but that of the list of a round, which is handed on.
func BenchmarkReading(b *testing.B) {
	const probes = 64
	b.Run("driver", func(b *testing.B) {
		p, ctx := newWire().open(b), b.Context()
		b.ReportAllocs()
		for b.Loop() {
			if s, err := p.Read(ctx); err != nil || s.Values[0].Value != 21.5 {
				b.Fatal(s, err)
			}
		}
	})
	b.Run("collected", func(b *testing.B) {
		got := 0
		w := &Worker{Bus: "i2c-1", Clock: &steps{}, Log: slog.New(slog.DiscardHandler), Standing: func(string) (float64, bool) { return 0, false }, Beat: func() {},
			Out: func(rs []reading.Reading) { got += len(rs) }}
		for i := range probes {
			w.Probes = append(w.Probes, &Probe{Name: fmt.Sprint("probe-", i), Every: time.Second, FrozenAfter: time.Hour, Low: -40, High: 120,
				Gives: []Give{{Point: fmt.Sprint("tank-", i, "/temperature"), Channel: "temperature", Quantity: units.Temperature, RateLimit: 5, Noise: 0.5}}})
			w.Probes[i].use(newWire().open(b))
		}
		w.begin(b.Context())
		defer w.deadline.end()
		b.ReportAllocs()
		rounds := 0
		for n := 0; b.Loop(); n++ {
			if n%probes == 0 { // an operation is one reading
				w.round(b.Context())
				rounds++
			}
		}
		if want := rounds * (probes + len(w.points)); got != want {
			b.Fatalf("%d readings, want %d", got, want)
		}
	})
}

// busTimes are simulated buses with what one part of each needs. Chosen: I2C at 100 kHz with a conversion asked for, SPI, a converted DS18B20 read by the kernel, a Modbus device at
// 9600 baud.
var busTimes = []struct {
	name  string
	parts int
	takes time.Duration
}{{"i2c-1", 24, 2 * time.Millisecond}, {"spi-0", 8, 200 * time.Microsecond}, {"onewire", 10, 15 * time.Millisecond}, {"rs485", 22, 25 * time.Millisecond}}

// BenchmarkLateness is how late 64 probes on four buses are asked, in real time, beyond what the bus needs: of each round, from when it was due to when it began. Goal: 20 ms for 99 of
// 100. It measures the machine too: a busy one is late.
func BenchmarkLateness(b *testing.B) {
	for b.Loop() {
		var mu sync.Mutex
		var late []float64
		ctx, stop := context.WithTimeout(b.Context(), 20*time.Second)
		var running sync.WaitGroup
		for _, bus := range busTimes {
			w := &Worker{Bus: bus.name, Clock: clock.Scaled{Begun: time.Now(), Start: time.Now(), Speed: 1}, Log: slog.New(slog.DiscardHandler),
				Standing: func(string) (float64, bool) { return 0, false }, Beat: func() {}}
			w.Out = func(rs []reading.Reading) {
				mu.Lock()
				defer mu.Unlock()
				late = append(late, rs[len(rs)-1].Value)
			}
			for range bus.parts {
				p := probeOf(&part{answers: []answer{{value: 21.5, takes: bus.takes}}})
				p.Every = time.Second
				w.Probes = append(w.Probes, p)
			}
			running.Go(func() { _ = w.Run(ctx) })
		}
		running.Wait()
		stop()
		slices.Sort(late)
		b.ReportMetric(1000*late[len(late)/2], "median-ms")
		b.ReportMetric(1000*late[len(late)*99/100], "p99-ms")
		b.ReportMetric(float64(len(late)), "rounds")
	}
}
