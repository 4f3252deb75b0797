package estate

import (
	"context"
	"errors"
	"time"

	"periph.io/x/conn/v3/i2c"

	"millwarden/drivers"
	"millwarden/drivers/modbus/modbustest"
)

// What may befall the estate, each as it can stand in a Fault. Parts are counted from 1, as in the rules file.

type electrode int

const (
	whole   electrode = iota
	stuck             // shows the past
	strange           // shows what cannot be
)

// Befall lets something befall the estate now.
func (e *Estate) Befall(do func(*Estate, *Truth)) {
	e.mu.Lock()
	defer e.mu.Unlock()
	do(e, e.truth)
}

// FailStick makes the radio stick of a bin fall silent.
func FailStick(bin int) func(*Estate, *Truth) {
	return func(e *Estate, _ *Truth) { e.quiet[bin-1] = true }
}

// MendStick lets it speak again.
func MendStick(bin int) func(*Estate, *Truth) {
	return func(e *Estate, _ *Truth) { e.quiet[bin-1] = false }
}

// PullThermometer unplugs the thermometer of a tank; the kernel has not noticed.
func PullThermometer(tank int) func(*Estate, *Truth) {
	return func(e *Estate, _ *Truth) { e.tankProbes[tank-1].Unplug() }
}

// PlugThermometer plugs it in again.
func PlugThermometer(tank int) func(*Estate, *Truth) {
	return func(e *Estate, _ *Truth) { e.tankProbes[tank-1].Restore() }
}

// StickElectrode leaves the voltage of a tank's electrode as it is, whatever happens in the tank.
func StickElectrode(tank int) func(*Estate, *Truth) {
	return func(e *Estate, _ *Truth) { e.tanks[tank-1] = stuck }
}

// ConfuseElectrode makes it show 1.9 V: a pH below minus 20, which there is not.
func ConfuseElectrode(tank int) func(*Estate, *Truth) {
	return func(e *Estate, _ *Truth) {
		e.tanks[tank-1] = strange
		e.adc.SetVoltage(tank-1, 1.9)
	}
}

// MendElectrode ends both.
func MendElectrode(tank int) func(*Estate, *Truth) {
	return func(e *Estate, _ *Truth) { e.tanks[tank-1] = whole }
}

// PullConverter takes the converter of electrodes and deck off its bus, or puts it back.
func PullConverter(off bool) func(*Estate, *Truth) {
	return func(e *Estate, _ *Truth) {
		e.i2c.Remove(0x48)
		if !off {
			e.i2c.Put(0x48, e.adc)
		}
	}
}

// Hang makes every exchange on a kind of bus last until its deadline, or lets it go.
func Hang(kind drivers.BusKind, hung bool) func(*Estate, *Truth) {
	return func(e *Estate, _ *Truth) { e.hung[kind] = hung }
}

// Garble makes what the panels answer no answer at all, or ends it.
func Garble(garbled bool) func(*Estate, *Truth) {
	return func(e *Estate, _ *Truth) { e.panels.Garble(garbled) }
}

func (e *Estate) hangs(kind drivers.BusKind) bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.hung[kind]
}

// kernelWait is when the kernel gives up an exchange on a bus that somebody holds [linux/i2c.h, the default timeout of an adapter: one second].
const kernelWait = time.Second

var errHeld = errors.New("connection timed out") // as ETIMEDOUT reads

type hangingI2C struct {
	i2c.Bus
	estate *Estate
}

func (h hangingI2C) Tx(address uint16, w, r []byte) error {
	if h.estate.hangs(drivers.I2C) {
		time.Sleep(kernelWait)
		return errHeld
	}
	return h.Bus.Tx(address, w, r)
}

type hangingLine struct {
	*modbustest.Device
	estate *Estate
}

func (h hangingLine) Ask(ctx context.Context, unit uint8, table drivers.ModbusTable, address, count uint16, into []uint16) ([]uint16, error) {
	if h.estate.hangs(drivers.Modbus) {
		<-ctx.Done()
		return into, context.Cause(ctx)
	}
	return h.Device.Ask(ctx, unit, table, address, count, into)
}
