package floor

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"

	"millwarden/drivers/bus"
	"millwarden/drivers/scan"
	"millwarden/rules/check"
)

// Wires opens what of a board can be looked at for parts; root is the folder that holds sys and dev, "" that of the board itself. What is not there is left
// out, and notes say what could not be opened. done closes it.
func Wires(root string) (h scan.Host, notes []string, done func()) {
	h = scan.Host{OneWire: folderOrNil(root + bus.OneWireRoot), IIO: folderOrNil(root + bus.IIORoot), HWMon: folderOrNil(root + bus.HWMonRoot), Devices: folderOrNil(root + bus.DeviceRoot)}
	wires, err := bus.Wires(root + bus.DeviceRoot)
	if err != nil {
		notes = append(notes, "not looked at: "+err.Error())
	}
	for _, w := range wires {
		h.I2C = append(h.I2C, scan.I2CBus{Name: w.Name, Prober: prober{w}})
	}
	return h, notes, func() {
		for _, w := range wires {
			_ = w.Close() // it was only read
		}
	}
}

// Spare tells a scan what stands in the rules, where nothing is sent while a gateway may be reading it, and for which stations parts are looked for.
func Spare(h scan.Host, plan *check.Plan) scan.Host {
	h.Known, h.Station = knownIn(plan), freeStation(plan)
	return h
}

func folderOrNil(path string) fs.FS {
	if _, err := os.Stat(path); err != nil {
		return nil
	}
	return bus.Folder(path)
}

// prober turns a bus of the host into what scan asks.
type prober struct{ *bus.Wire }

func (p prober) Try(address uint16) error {
	if p.Held(address) {
		return scan.ErrHeld
	}
	err := p.Call(address)
	if errors.Is(err, errors.ErrUnsupported) {
		return p.Tx(address, nil, make([]byte, 1)) // a bus that cannot send nothing: a byte is read instead
	}
	return err
}

// knownIn finds the probe of the rules at a place. A part behind a multiplexer is known on the bus before it too: while its branch is open it answers
// there, and a byte between two of the gateway's own would spoil a reading.
func knownIn(plan *check.Plan) func(string, string) string {
	at, before := map[string]string{}, map[string]string{}
	for _, b := range plan.Buses {
		if behind, is := b.Settings.Find("behind"); is && len(behind.Slots) > 1 {
			at[behind.Slots[0].Text+" "+fmt.Sprintf("0x%02x", int(behind.Slots[1].Amount.Value))] = b.Name
			before[b.Name] = behind.Slots[0].Text
		}
	}
	for _, p := range plan.Probes {
		s := p.Place
		switch {
		case p.Part == "ds18b20" && len(s) > 0:
			at["onewire "+s[0].Text] = p.Name
		case (p.Part == "iio" || p.Part == "hwmon") && len(s) > 1:
			place := s[1].Text
			if len(s) > 2 && s[2].Given {
				place += " " + s[2].Text
			}
			at[p.Part+" "+place] = p.Name
		case strings.HasPrefix(p.Bus, "spi-") && len(s) > 1:
			at[p.Bus+" select "+s[1].Text] = p.Name
		case len(s) > 1:
			address := fmt.Sprintf(" 0x%02x", int(s[1].Amount.Value))
			at[s[0].Text+address] = p.Name
			for b, left := before[s[0].Text], len(before); b != "" && left > 0; b, left = before[b], left-1 {
				if at[b+address] == "" {
					at[b+address] = p.Name
				}
			}
		}
	}
	return func(bus, place string) string {
		name, device, _ := strings.Cut(place, " ")
		if device != "" && at[bus+" "+place] == "" && (bus == "iio" || bus == "hwmon") {
			return at[bus+" "+name] // a block without at: the only one of its name
		}
		return at[bus+" "+place]
	}
}

// kindsOf are the kinds of station at which a point is usually measured, the likeliest first.
var kindsOf = map[string][]string{
	"ph": {"tank"}, "temperature": {"tank", "bin", "store", "room", "yard"}, "humidity": {"bin", "store", "room", "yard"}, "co2": {"room", "store"},
	"weight": {"dryer", "deck", "bin"}, "bean-temperature": {"roaster", "dryer", "deck"}, "wall-temperature": {"store", "bin"},
}

// freeStation finds a station of the rules that lacks a point.
func freeStation(plan *check.Plan) func(string) string {
	return func(point string) string {
		for _, kind := range kindsOf[point] {
			for _, s := range plan.Stations {
				taken := slices.ContainsFunc(plan.Points, func(p check.Point) bool { return p.Name == s.Name+"/"+point })
				if s.Kind == kind && !s.Remote && !taken {
					return s.Name
				}
			}
		}
		return ""
	}
}
