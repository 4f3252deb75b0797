package floor_test

import (
	"os"
	"slices"
	"testing"

	"millwarden/drivers/catalog"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/scan"
	"millwarden/drivers/sht4x/sht4xtest"
	"millwarden/gateway/floor"
	"millwarden/internal/phrase"
	"millwarden/rules"
)

// noting is a bus that notes who is called.
type noting struct {
	*drivertest.I2C
	called []uint16
}

func (n *noting) Try(address uint16) error { return n.Tx(address, nil, nil) }

func (n *noting) Tx(address uint16, w, r []byte) error {
	n.called = append(n.called, address)
	return n.I2C.Tx(address, w, r)
}

// Aim: a look at the buses beside a running gateway calls nothing that stands in the rules: neither its probes, nor its multiplexer, nor what stands behind
// that and answers while its branch is open. The control is the same look without the rules.
func TestSpare_rulesNotTouched(t *testing.T) {
	words, err := phrase.Parse(catalog.Text() + floor.ChannelDeclares())
	if err != nil {
		t.Fatal(err)
	}
	plan, list, _ := rules.Load(os.DirFS("../../testdata/rules/good"), "fern-hollow.rules", words) // multiplexer at 0x70, air probes at 0x44 behind it
	if plan == nil {
		t.Fatal(list)
	}
	look := func(spare bool) (calls []uint16, found []scan.Found) {
		bus := &noting{I2C: drivertest.NewI2C("i2c-1")}
		for _, address := range []uint16{0x44, 0x46, 0x70} {
			bus.Put(address, sht4xtest.New())
		}
		h := scan.Host{I2C: []scan.I2CBus{{Name: "i2c-1", Prober: bus}}}
		if spare {
			h = floor.Spare(h, plan)
		}
		found, err := scan.Run(t.Context(), h)
		if err != nil {
			t.Fatal(err)
		}
		return bus.called, found
	}
	calls, found := look(true)
	for _, address := range []uint16{0x44, 0x70} {
		if slices.Contains(calls, address) {
			t.Errorf("0x%02x stands in the rules and was called", address)
		}
		if without, _ := look(false); !slices.Contains(without, address) {
			t.Errorf("without the rules 0x%02x was not called: this test sees nothing", address)
		}
	}
	if !slices.ContainsFunc(found, func(f scan.Found) bool {
		return f.Place == "0x46" && f.Sure == scan.Certain && f.Block != "" && f.Known == ""
	}) {
		t.Errorf("the part that is in no rule was not found: %+v", found)
	}
}
