package floor_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/modbus/modbustest"
	"millwarden/gateway/callout"
	"millwarden/gateway/floor"
	"millwarden/internal/clock"
	"millwarden/internal/phrase"
)

const secondPanel = `station room-2 is room

probe panel-2
    part            modbus on tcp 127.0.0.1:1503 unit 1
    register        input 0 as uint16 x 1 ppm is co
    gives           co at room-2
    every           10 s

use air, instruments`

// cable is a line that may be hurt.
type cable struct {
	*modbustest.Device
	hurt atomic.Pointer[func(context.Context) error]
}

func (c *cable) Ask(ctx context.Context, unit uint8, table drivers.ModbusTable, address, count uint16, into []uint16) ([]uint16, error) {
	if hurt := c.hurt.Load(); hurt != nil {
		return into, (*hurt)(ctx)
	}
	return c.Device.Ask(ctx, unit, table, address, count, into)
}

// Aim: a bus that is stuck, and one that is unplugged, are told within a minute; the other bus is read as before, and its alarm rings. Control: nobody is told anything before.
func TestNight_busSilent(t *testing.T) {
	for name, hurt := range map[string]func(context.Context) error{
		"stuck":     func(ctx context.Context) error { <-ctx.Done(); return context.Cause(ctx) },
		"unplugged": func(context.Context) error { return syscall.ENODEV },
		"cut":       func(context.Context) error { return errors.Join(io.ErrUnexpectedEOF, syscall.ECONNRESET) },
	} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T) { hurtBus(t, hurt) })
		})
	}
}

func hurtBus(t *testing.T, hurt func(context.Context) error) {
	t.Helper()
	plan, said := load(t, fstest.MapFS{"demo.rules": {Data: []byte(strings.Replace(onePanel, "use instruments", secondPanel, 1))}})
	if said != "" {
		t.Fatal(said)
	}
	c := &powerClock{begun: time.Now(), wall: noon, isSet: true}
	phone := &phone{clock: c}
	lines := map[string]*cable{}
	for _, bus := range []string{"tcp 127.0.0.1:1502", "tcp 127.0.0.1:1503"} {
		lines[bus] = &cable{Device: modbustest.New()}
		lines[bus].SetInteger(1, drivers.InputRegisters, 0, 1, 4)
	}
	mill, err := floor.Open(floor.Options{Plan: plan, Data: memoryFolder(t), Drivers: knownDrivers(), NoPage: true, Log: slog.New(slog.DiscardHandler), BootID: "room",
		Clock: func(uint32) clock.Clock { return c }, Channels: map[string]callout.Channel{"mail": phone},
		OpenBus: func(_ context.Context, _ drivers.BusKind, name string, _ phrase.Lines) (drivers.Bus, io.Closer, error) {
			l := lines[name]
			if l == nil {
				t.Errorf("bus %q", name)
			}
			return drivers.Bus{Name: name, Modbus: l}, nil, nil
		}})
	if err != nil {
		t.Fatal(err)
	}
	r := room{panel: lines["tcp 127.0.0.1:1503"].Device, phone: phone, mill: mill}
	go func() {
		time.Sleep(2*time.Minute - 500*time.Millisecond)
		if n := r.about("1502"); n > 0 {
			t.Errorf("%d calls about the bus before anything happened: %+v", n, phone.got)
		}
		lines["tcp 127.0.0.1:1502"].hurt.Store(&hurt)
		time.Sleep(time.Minute)
		if r.about("1502") == 0 {
			t.Errorf("nobody was told within a minute: %+v", phone.got)
		}
		r.gas(400)
		time.Sleep(2 * time.Minute)
		if r.about("ROOM 2") == 0 {
			t.Errorf("gas above the limit on the other bus, and nobody was called: %+v", phone.got)
		}
	}()
	runRoom(t, r, 6*time.Minute)
}
