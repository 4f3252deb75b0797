package ds18b20

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/ds18b20/ds18b20test"
	"millwarden/internal/clock/clocktest"
)

// ten probes on one master, each at its own temperature.
func ten(t *testing.T) (*ds18b20test.Tree, []*ds18b20test.Part, []drivers.Probe) {
	t.Helper()
	tree := ds18b20test.NewTree()
	tree.Bulk()
	var parts []*ds18b20test.Part
	var probes []drivers.Probe
	for i := range 10 {
		id := fmt.Sprintf("28-0316a27900%02x", i)
		part := tree.Add(id)
		part.Set(20 + float64(i))
		p, err := Driver.Open(t.Context(), site(tree, id, 12))
		if err != nil {
			t.Fatal(err)
		}
		parts, probes = append(parts, part), append(probes, p)
	}
	tree.Conversion = 750 * time.Millisecond
	return tree, parts, probes
}

func start(t *testing.T, due, all []drivers.Probe) {
	t.Helper()
	for _, p := range due {
		if err := p.(drivers.Together).StartTogether(t.Context(), due, all); err != nil {
			t.Fatal(err)
		}
	}
}

func celsius(t *testing.T, p drivers.Probe) float64 {
	t.Helper()
	s, err := p.Read(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return s.Values[0].Value
}

// Ten conversions of 750 ms, one after another, take 7.5 s; together they take one.
func TestStartTogether_takesOneConversion(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		tree, _, probes := ten(t)
		begun := time.Now()
		start(t, probes, probes)
		for i, p := range probes {
			if got := celsius(t, p); got != 20+float64(i) {
				t.Errorf("probe %d = %v °C, want %v", i, got, 20+i)
			}
		}
		if took := time.Since(begun); took != 750*time.Millisecond || tree.Triggers() != 1 {
			t.Errorf("ten probes took %s with %d triggers, want 750ms with one", took, tree.Triggers())
		}
		begun = time.Now()
		for _, p := range probes {
			celsius(t, p)
		}
		if took := time.Since(begun); took != 7500*time.Millisecond {
			t.Errorf("the same one by one took %s, want 7.5s: the double does not show what is gained", took)
		}
	})
}

// A probe that was not due then still has the value of the bulk conversion before it in the kernel. It may never come out as new.
func TestStartTogether_leavesNoOldValue(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		_, parts, probes := ten(t)
		start(t, probes[:5], probes)
		for i := range parts {
			parts[i].Set(60)
		}
		for _, p := range probes[:5] {
			celsius(t, p) // of the bulk conversion
		}
		if got := celsius(t, probes[7]); got != 60 {
			t.Errorf("a probe that was not due reads %v °C, want the 60 of now", got)
		}
		start(t, probes, probes)
		parts[7].Set(80)
		if got := celsius(t, probes[7]); got != 60 {
			t.Errorf("after a bulk conversion for it: %v °C, want 60", got)
		}
		if got := celsius(t, probes[7]); got != 80 {
			t.Errorf("and once more: %v °C, want 80", got)
		}
	})
}

// Without the file of the master, with one probe due, or after a trigger that failed, each converts by itself.
func TestStartTogether_orElseOneByOne(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		tree, parts, probes := ten(t)
		start(t, probes[:1], probes)
		if tree.Triggers() != 0 {
			t.Error("one probe alone was started in bulk")
		}
		tree.Fail(1)
		if err := probes[0].(drivers.Together).StartTogether(t.Context(), probes, probes); drivers.KindOf(err) != drivers.NoAnswer {
			t.Errorf("StartTogether() with a failing trigger = %v, want NoAnswer", err)
		}
		tree.Fail(0)
		parts[3].Set(33)
		if got := celsius(t, probes[3]); got != 33 {
			t.Errorf("after a failed trigger: %v °C, want 33", got)
		}
		start(t, probes, probes)
		if tree.Triggers() != 0 {
			t.Error("a kernel that refused is asked again: each probe would be read twice for ever")
		}
	})
}

func bulkBench() *drivertest.Bench {
	b := bench()
	b.Site.Bus.OneWire.(*ds18b20test.Tree).Bulk()
	return b
}

// The search for the master is part of Open: none of its steps may fail unseen.
func TestDriver_keepsTheContractWithBulk(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bulkBench})
	if _, err := Driver.Open(t.Context(), drivers.Site{}); err == nil || errors.Is(err, drivers.ErrAmbiguous) {
		t.Errorf("Open() of nothing = %v", err)
	}
}
