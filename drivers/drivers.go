// Package drivers is the contract between the parts of the mill and those who read them: Driver, Probe, Sample, Fault. No chip is in it.
//
// A driver turns bytes of a bus into values, or says by a Fault why it cannot. It never logs, retries, averages or starts a goroutine, and
// never turns a bad value into a good one: those who read probes decide what to do with a Fault. It knows no point, no station, no alarm.
//
// Concurrency: one worker owns a bus, and calls the probes on it one after another. A Probe is used by one goroutine at a time; a bus may be
// shared by many probes of that worker.
package drivers

import (
	"context"
	"time"

	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// BusKind is what a part hangs on.
type BusKind string

// The buses that can be opened.
const (
	I2C     BusKind = "i2c"     // an I2C bus of the host
	OneWire BusKind = "onewire" // the kernel's 1-Wire folder
	SPI     BusKind = "spi"     // an SPI bus of the host
	GPIO    BusKind = "gpio"    // a chip of input lines
	IIO     BusKind = "iio"     // the kernel's folder of industrial input devices
	HWMon   BusKind = "hwmon"   // the kernel's folder of hardware monitoring chips
	Modbus  BusKind = "modbus"  // one line of Modbus devices: a TCP connection or a serial line
	Radio   BusKind = "radio"   // probes that report by themselves, over the broker
	Hand    BusKind = "by-hand" // people: there is no bus
)

// Driver is what the program knows of one part. It is a value; the catalog holds them all.
type Driver struct {
	Kind     string  // the name written in the rules file: "sht4x"
	Bus      BusKind // what Open needs
	Declares string  // the lines that a probe block may hold for this part, in the form of the vocabulary (LANGUAGE.md section 5.1)

	// Open checks that the right part is there and that it took its settings, and gives the probe. What it can tell of the failure is a
	// Fault. It may block for as long as a few exchanges on the bus take. A probe that was opened needs no closing unless it is an
	// io.Closer.
	Open func(ctx context.Context, site Site) (Probe, error)
}

// BusName says which bus a probe with this place hangs on, in the words that open it: "i2c-1", "onewire", "tcp 192.0.2.20:502", "broker", or the
// name of a bus block of the rules file. Probes for which it is the same share one bus and one worker.
func (d Driver) BusName(place phrase.Line) string {
	switch d.Bus {
	case OneWire:
		return "onewire"
	case Modbus:
		return lineName(place)
	case Radio:
		return "broker"
	case Hand:
		return "by-hand"
	}
	if len(place.Slots) == 0 {
		return ""
	}
	return place.Slots[0].Text
}

// lineName reads the place "on (tcp HOST|BUS) ...", whose choice is the first slot: "tcp 192.0.2.20:502" or the name of a bus block.
func lineName(place phrase.Line) string {
	if len(place.Slots) < 3 {
		return ""
	}
	if host := place.Slots[1]; host.Given {
		return "tcp " + host.Text
	}
	return place.Slots[2].Text
}

// Site is where a probe is installed: everything Open may know.
type Site struct {
	Bus   Bus          // the opened bus
	Place phrase.Line  // what follows the part's name, as the driver declared it
	Lines phrase.Lines // the other lines of the part, with the defaults of those left out

	// Gives are the channels that feed points, with the quantity that is due there. A part whose channels are named by its own lines
	// (modbus, radio) takes the quantity from here where the line has no unit. Where such a line was left out (radio without record), the
	// channel bears the name of the point: "temperature".
	Gives []Channel
}

// Channel is one thing that a part measures.
type Channel struct {
	Name     string
	Quantity units.Quantity
}

// Due is the quantity that is due on a channel, and whether the channel feeds a point at all.
func (s Site) Due(channel string) (units.Quantity, bool) {
	for _, c := range s.Gives {
		if c.Name == channel {
			return c.Quantity, true
		}
	}
	return units.None, false
}

// Probe is one installed sensor.
type Probe interface {
	// Read makes one exchange. Per channel the sample holds a value, or the Fault of that channel; an error (a Fault, or the end of ctx)
	// means that nothing was read. It blocks for one conversion at most, returns at once when ctx has ended before, and may be called
	// again after any outcome. The memory of the sample belongs to the probe and holds until the next Read.
	Read(ctx context.Context) (Sample, error)

	// String says what and where it is: "sht4x on i2c-1 at 0x44".
	String() string
}

// Starter is a Probe that can start its conversion ahead: the worker calls Start of every due probe of the bus, waits for the longest
// time, then calls every Read. Start of one must not spoil what another of the bus has started. A Read without Start is allowed and takes longer.
type Starter interface {
	Start(ctx context.Context) (ready time.Duration, err error)
}

// Together is a Probe that can convert at the same time as others of its kind on its bus, where one after another would take too long. The worker calls it
// on each of several due probes, before any Read; one that was started by another has nothing left to do. A probe that was not started is read as always.
type Together interface {
	// StartTogether starts this probe and those of its kin among due, and tells those of its kin among all (the open probes of the bus, due ones
	// too) what it did to them. It blocks until the conversion has ended. After an error each probe converts by itself.
	StartTogether(ctx context.Context, due, all []Probe) error
}

// Compensator is a Probe whose value depends on a temperature that another probe measures.
type Compensator interface {
	// CompensatedBy is the point of that temperature ("tank-1/temperature"), or "" if none was named.
	CompensatedBy() string
	// Compensate tells that temperature before a Read; it holds until told again. known is false if the point has no good value: the
	// probe then reckons with what it states, and its values are uncertain.
	Compensate(temperature units.Celsius, known bool)
}

// Calibrated is a Probe that is calibrated by points of known true value.
type Calibrated interface {
	// Calibrate judges the points and, unless it returns an error, puts the result in force for the next Read. An error is a Fault of
	// kind Settings that a person can read; what was in force stays in force. It touches no bus.
	Calibrate(Calibration) (Judgement, error)
}

// Calibration is what a technician measured.
type Calibration struct {
	Points []CalibrationPoint
}

// CalibrationPoint is one standard held to the probe.
type CalibrationPoint struct {
	True        float64       // what the standard is worth at its temperature: pH 4.01
	Raw         float64       // what the channel showed: Value.Raw, for an electrode in V
	Temperature units.Celsius // of the standard
}

// Judgement is what a calibration came to.
type Judgement struct {
	Slope    float64         // share of the ideal slope, 1 is ideal
	Offset   float64         // zero error in the unit of Raw: for an electrode V at pH 7
	Residual float64         // largest distance of a point from the line, in the unit of Raw; 0 with two points
	Quality  reading.Quality // Good, or Uncertain: then every value says so
	Warning  string          // "" or what a person should know: "slope 92 %: order a new electrode"
}

// Sample is the outcome of one Read.
type Sample struct {
	Values []Value
	Raw    []byte // the words as they came from the bus, so that a bad night can be computed again
}

// Value is what one channel gave.
//
// Good: use it. Uncertain: Value is the best that is known, and Cause says in a few words why it may be wrong, for example "loop at
// 3.70 mA, below its range" for a 4-20 mA loop between the bands of NE 43, "no temperature, 25 °C assumed" for an electrode, or "clipped, chip
// said 119.0 %RH" for a wet humidity sensor. Bad: Value is NaN and Fault says why. Note is for a Good value that has something to tell, for
// example "loop at 3.90 mA, under range" or "clipped"; it goes on the probe's page, never into the quality.
type Value struct {
	Channel  string
	Quantity units.Quantity
	Value    float64 // in the base unit of Quantity
	Raw      float64 // before calibration, in the channel's own unit: V of an electrode, A of a loop, the register of a Modbus device
	Quality  reading.Quality
	Cause    string // "" if good
	Note     string
	Fault    *Fault // only if bad

	// Ago is how long before the end of Read it was measured, by this board's own time: 0 unless the probe reports by itself.
	Ago time.Duration
	// At is the probe's own time of measurement, zero if it told none. It is not to be trusted for order.
	At time.Time
	// Kept tells that the broker had kept the frame since an unknown time, so that At alone tells its age, not Ago.
	Kept bool
}

// Wait waits for d, or until ctx ends; then it gives the cause of that end. It is the only way a driver waits.
func Wait(ctx context.Context, d time.Duration) error {
	if err := context.Cause(ctx); err != nil {
		return err
	}
	if d <= 0 {
		return nil
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}
