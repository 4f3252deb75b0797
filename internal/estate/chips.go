package estate

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"sync"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/ads1115/ads1115test"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/ds18b20/ds18b20test"
	"millwarden/drivers/modbus/modbustest"
	"millwarden/drivers/radio/radiotest"
	"millwarden/drivers/scan"
	"millwarden/drivers/sht4x/sht4xtest"
	"millwarden/internal/clock"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
)

// Estate is the truth with chips that show it, on simulated buses.
type Estate struct {
	// IIO are the kernel's devices of the board, if it has any; set before it lives.
	IIO drivers.Tree

	clock clock.Clock

	mu     sync.Mutex // guards truth, faults, begun and sent
	truth  *Truth
	faults []Fault
	begun  time.Duration // monotonic time at which the truth began
	sent   time.Duration // time of the truth at which the sticks spoke last
	quiet  [3]bool       // sticks that are silent
	tanks  [2]electrode  // what befell the electrodes
	held   [2]*held      // tanks whose probes stand in something else
	hung   map[drivers.BusKind]bool

	adc        *ads1115test.Chip
	deckAir    *sht4xtest.Chip
	storeAir   *sht4xtest.Chip
	spareAir   *sht4xtest.Chip // wired, and in no rule: for who looks what is wired
	wires      *ds18b20test.Tree
	tankProbes [2]*ds18b20test.Part
	deckProbe  *ds18b20test.Part
	spareProbe *ds18b20test.Part // the same
	panels     *modbustest.Device
	sticks     *radiotest.Feed
	i2c        *drivertest.I2C
}

// Fault is something that befalls the estate at a time.
type Fault struct {
	At    time.Duration
	Title string
	Do    func(e *Estate, t *Truth)
}

// Ids of the thermometers of the demo's rules file.
const (
	tank1Wire = "28-0316a2794bff"
	tank2Wire = "28-0316a279510a"
	deckWire  = "28-0316a2795c21"
	spareWire = "28-0316a27960c4"
)

// New is an estate that begins now.
func New(c clock.Clock, truth *Truth, faults []Fault) *Estate {
	e := &Estate{clock: c, truth: truth, faults: faults, begun: c.Now().Mono, sent: -stickEvery, adc: ads1115test.New(), deckAir: sht4xtest.New(), storeAir: sht4xtest.New(), spareAir: sht4xtest.New(),
		wires: ds18b20test.NewTree(), panels: modbustest.New(), sticks: radiotest.New(), i2c: drivertest.NewI2C("i2c-1"), hung: map[drivers.BusKind]bool{}}
	e.i2c.Put(0x48, e.adc)
	e.i2c.Put(0x44, e.deckAir)
	e.i2c.Put(0x45, e.storeAir)
	e.i2c.Put(0x46, e.spareAir)
	e.tankProbes = [2]*ds18b20test.Part{e.wires.Add(tank1Wire), e.wires.Add(tank2Wire)}
	e.deckProbe = e.wires.Add(deckWire)
	e.spareProbe = e.wires.Add(spareWire)
	e.show()
	return e
}

// Run lets the estate live until ctx ends.
func (e *Estate) Run(ctx context.Context) error {
	// Chosen: twice as often as the fastest probe is read, but no more often than a machine notices.
	tick := time.NewTicker(max(e.clock.Real(time.Second), 20*time.Millisecond))
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			e.live(e.clock.Now())
		}
	}
}

// live brings truth and chips up to now.
func (e *Estate) live(now reading.Stamp) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.truth.Advance(now.Mono - e.begun - e.truth.Now)
	for len(e.faults) > 0 && e.faults[0].At <= e.truth.Now {
		e.faults[0].Do(e, e.truth)
		e.faults = e.faults[1:]
	}
	e.show()
}

// show sets the chips to the truth, with the noise that such probes have. The caller holds mu, but for New.
func (e *Estate) show() {
	t := e.truth
	for i := range t.Tanks {
		volts, celsius := Electrode(t.Noisy(t.Tanks[i].PH, 0.01), t.Tanks[i].Celsius), t.Noisy(t.Tanks[i].Celsius, 0.03)
		if h := e.held[i]; h != nil {
			volts, celsius = h.volts, h.celsius
		}
		if e.tanks[i] == whole {
			e.adc.SetVoltage(i, volts)
		}
		e.tankProbes[i].Set(celsius)
	}
	e.adc.SetVoltage(2, loop(t.Noisy(t.Deck.Moisture, 0.05), 5, 60))
	e.deckProbe.Set(t.Deck.Bean)
	e.deckAir.Set(t.Noisy(t.Deck.Air.Celsius, 0.02), t.Noisy(t.Deck.Air.Humidity, 0.1))
	e.spareProbe.Set(t.Deck.Air.Celsius)
	e.spareAir.Set(t.Store.Celsius, t.Store.Humidity)
	e.storeAir.Set(t.Store.Celsius, t.Noisy(t.Store.Humidity, 0.1))
	e.panel(1, t.Dryer.Air, t.Dryer.Exhaust, t.Dryer.Fan, t.Dryer.Burner)
	e.panels.SetInteger(1, drivers.InputRegisters, 2, 1, int64(math.Round(10*t.plenum().Humidity)))
	e.panel(2, t.Roaster.Bean, t.Roaster.Exhaust, t.Roaster.Drum, t.Roaster.Burner)
	e.panels.SetInteger(3, drivers.InputRegisters, 0, 1, int64(math.Round(t.CO)))
	if t.Now-e.sent >= stickEvery {
		e.sent = t.Now
		e.speak()
	}
}

// stickEvery is how often the radio sticks of the bins speak.
const stickEvery = 30 * time.Second

func (e *Estate) speak() {
	for i, b := range e.truth.Bins {
		if e.quiet[i] {
			continue
		}
		// SenML [RFC 8428]: moisture is a ratio there, humidity has a unit of its own.
		e.sticks.Publish(fmt.Sprintf("sticks/bin-%d", i+1), fmt.Appendf(nil,
			`[{"n":"temperature","u":"Cel","v":%.2f},{"n":"humidity","u":"%%RH","v":%.1f},{"n":"moisture","u":"/","v":%.4f}]`,
			e.truth.Noisy(b.Celsius, 0.03), e.truth.Noisy(b.Humidity, 0.2), e.truth.Noisy(b.Moisture, 0.02)/100))
	}
}

// panel is a machine's panel: two temperatures in tenths of a degree, two contacts.
func (e *Estate) panel(unit uint8, first, second float64, contacts ...bool) {
	e.panels.SetInteger(unit, drivers.InputRegisters, 0, 1, int64(math.Round(10*first)))
	e.panels.SetInteger(unit, drivers.InputRegisters, 1, 1, int64(math.Round(10*second)))
	for i, on := range contacts {
		word := uint16(0)
		if on {
			word = 1
		}
		e.panels.Set(unit, drivers.DiscreteInputs, uint16(i), word) //nolint:gosec // two contacts
	}
}

// Electrode is the voltage of a good glass electrode as a buffer amplifier passes it on: 59.16 mV a pH at 25 °C, rising with absolute temperature
// (Nernst, from memory).
func Electrode(ph, celsius float64) float64 {
	slope := 0.05916 * (celsius + 273.15) / 298.15
	return -slope * (ph - 7)
}

// loop is the voltage of a 4-20 mA loop over 100 Ω.
func loop(value, low, high float64) float64 {
	return 100 * (0.004 + 0.016*(value-low)/(high-low))
}

// OpenBus gives the simulated bus of a name.
func (e *Estate) OpenBus(_ context.Context, kind drivers.BusKind, name string, _ phrase.Lines) (drivers.Bus, io.Closer, error) {
	b := drivers.Bus{Name: name}
	switch kind {
	case drivers.I2C:
		b.I2C = hangingI2C{e.i2c, e}
	case drivers.OneWire:
		b.OneWire = e.wires
	case drivers.Modbus:
		b.Modbus = hangingLine{e.panels, e}
	case drivers.IIO:
		if e.IIO == nil {
			return b, nil, fmt.Errorf("estate: there is no bus %s here", name)
		}
		b.IIO = e.IIO
	default:
		return b, nil, fmt.Errorf("estate: there is no bus %s here", name)
	}
	return b, io.NopCloser(nil), nil
}

// held is what the probes of a tank show while they stand in a buffer.
type held struct{ volts, celsius float64 }

// Hold stands electrode and thermometer of a tank, counted from 1, in something else: so many volts, so warm.
func (e *Estate) Hold(tank int, volts, celsius float64) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.held[tank-1] = &held{volts, celsius}
	e.show()
}

// Wires is what can be looked at for parts: the bus of chips and the thermometers on their wire.
func (e *Estate) Wires() (h scan.Host, notes []string, done func()) {
	h = scan.Host{I2C: []scan.I2CBus{{Name: "i2c-1", Prober: called{e.i2c}}}, OneWire: e.wires}
	if e.IIO != nil {
		h.IIO = e.IIO
	}
	return h, nil, func() {}
}

// called is a bus whose addresses can be tried.
type called struct{ *drivertest.I2C }

// Try calls an address with no data.
func (c called) Try(address uint16) error { return c.Tx(address, nil, nil) }

// Sticks is what the radio sticks say.
func (e *Estate) Sticks() drivers.Feed { return e.sticks }

// Sort brings faults into the order in which New needs them.
func Sort(faults []Fault) {
	slices.SortStableFunc(faults, func(a, b Fault) int { return cmp.Compare(a.At, b.At) })
}

// Night is the demo's script: a stick falls silent, the dryer's fan stops and is mended, and tank 1 is left too long.
func Night() []Fault {
	return []Fault{
		{15 * time.Minute, "the stick in bin 2 falls silent", FailStick(2)},
		{40 * time.Minute, "the dryer's fan stops", func(_ *Estate, t *Truth) { t.Dryer.FailFan() }},
		{75 * time.Minute, "the dryer is mended", func(_ *Estate, t *Truth) { t.Dryer.Mend() }},
	}
}
