package drivers

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"millwarden/internal/clock/clocktest"
	"millwarden/internal/measured"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

func TestFault_isFoundThroughWrapping(t *testing.T) {
	fault := &Fault{Kind: Garbled, Part: "sht4x", Place: "i2c-1 at 0x44", Raw: []byte{0x66, 0x67}, Cause: io.ErrUnexpectedEOF}
	err := fmt.Errorf("collect: read tank-1: %w", fault)
	if found, ok := AsFault(err); !ok || found != fault {
		t.Errorf("AsFault() = %v, %t", found, ok)
	}
	if KindOf(err) != Garbled || KindOf(io.EOF) != 0 || KindOf(nil) != 0 {
		t.Error("KindOf() does not tell kinds")
	}
	if !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Error("the cause is not seen through the fault")
	}
	if want := "sht4x: on i2c-1 at 0x44: garbled (raw 66 67): unexpected EOF"; fault.Error() != want {
		t.Errorf("Error() = %q, want %q", fault.Error(), want)
	}
	for kind, want := range map[FaultKind]bool{NoAnswer: true, Garbled: true, NotReady: false, OutOfRange: false, WrongPart: false, Settings: false} {
		if WorthRetry(&Fault{Kind: kind}) != want {
			t.Errorf("WorthRetry(%s) = %t", kind, !want)
		}
	}
}

func TestFault_brief(t *testing.T) {
	for _, test := range []struct {
		fault Fault
		want  string
	}{
		{Fault{Kind: NoAnswer, Cause: errors.New("no such device or address")}, "no answer"},
		{Fault{Kind: OutOfRange, Cause: errors.New("signalled failure, loop at 3.50 mA")}, "out of range, signalled failure, loop at 3.50 mA"},
		{Fault{Kind: WrongPart}, "wrong part"},
	} {
		if got := test.fault.Brief(); got != test.want {
			t.Errorf("Brief() = %q, want %q", got, test.want)
		}
	}
	v := Failed("ph", units.PH, &Fault{Kind: Garbled})
	if v.Quality != reading.Bad || !math.IsNaN(v.Value) || v.Cause != "garbled" || v.Fault == nil {
		t.Errorf("Failed() = %+v", v)
	}
}

func TestWait(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		begin := time.Now()
		if err := Wait(t.Context(), 750*time.Millisecond); err != nil || time.Since(begin) != 750*time.Millisecond {
			t.Errorf("Wait() = %v after %s, want 750 ms", err, time.Since(begin))
		}
		reason := errors.New("rules changed")
		ctx, cancel := context.WithCancelCause(t.Context())
		time.AfterFunc(time.Second, func() { cancel(reason) })
		begin = time.Now()
		if err := Wait(ctx, time.Hour); !errors.Is(err, reason) || time.Since(begin) != time.Second {
			t.Errorf("Wait() = %v after %s, want %v after 1 s", err, time.Since(begin), reason)
		}
		if err := Wait(ctx, 0); !errors.Is(err, reason) {
			t.Errorf("Wait() after the end = %v, want %v", err, reason)
		}
	})
}

// One step of the device in its unit, times the number, then the base: 320 x 0.1 °F is 32 °F, which is 0 °C.
func TestScale(t *testing.T) {
	slot := func(text string, q units.Quantity) phrase.Slot {
		a, err := units.Parse(text, q)
		if err != nil {
			a = units.Amount{Quantity: units.Count}
		}
		return phrase.Slot{Given: true, Text: text, Amount: a}
	}
	for _, test := range []struct {
		slot   phrase.Slot
		due    units.Quantity
		number float64
		want   float64
		q      units.Quantity
	}{
		{slot("0.1 °C", units.Temperature), units.Temperature, 215, 21.5, units.Temperature},
		{slot("0.1 °F", units.Temperature), units.Temperature, 320, 0, units.Temperature},
		{slot("0.1 °F", units.Temperature), units.None, 2120, 100, units.Temperature},
		{slot("10 ppm", units.Concentration), units.Concentration, 41, 410, units.Concentration},
		{slot("0.01 %", units.Concentration), units.Concentration, 2095, 209500, units.Concentration},
		{slot("0.1 %db", units.Moisture), units.Moisture, 250, 20, units.Moisture}, // 25 %db is 20 %wb
		{slot("0.5", units.Count), units.Mass, 10, 5, units.Mass},                  // no unit: the channel's base unit
		{phrase.Slot{}, units.Power, 7, 7, units.Power},
		{phrase.Slot{Given: true, Amount: units.Amount{Value: 0.1, Quantity: units.Humidity}}, units.None, 480, 48, units.Humidity}, // no text
	} {
		s := ScaleOf(test.slot, test.due)
		if got := s.Base(test.number); math.Abs(got-test.want) > 1e-9 || s.Quantity != test.q {
			t.Errorf("%g x %q = %v %s, want %v %s", test.number, test.slot.Text, got, s.Quantity, test.want, test.q)
		}
	}
}

// The datasheet's example and those of the measurement tables, of which one shows that a bus stuck high fails the checksum.
func TestSensirionChecksum_publishedExamples(t *testing.T) {
	seen := 0
	for _, row := range measured.Rows(t, "../testdata/vectors/checksums.csv", 14) {
		if !strings.HasPrefix(row[0], "Sensirion") {
			continue
		}
		seen++
		if got := SensirionChecksum(measured.Bytes(t, row[1])); got != measured.Bytes(t, row[2])[0] {
			t.Errorf("SensirionChecksum(%s) = %02X, want %s", row[1], got, row[2])
		}
	}
	if seen != 6 {
		t.Errorf("%d examples, want 6", seen)
	}
}
