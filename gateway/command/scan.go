package command

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"

	"millwarden/drivers/bus"
	"millwarden/drivers/scan"
	"millwarden/rules/check"
)

// scanBuses finds what is on the buses of this board. It only reads; see package scan.
func scanBuses(ctx context.Context, std IO, args []string) error {
	f := flags("scan", std)
	file := f.String("rules", defaultRules, "the rules file: what stands in it is not asked, and stations are taken from it")
	asJSON := f.Bool("json", false, "one object a line, for tools")
	system := f.String("system", "/", "folder that holds sys and dev, for a look at a copy")
	words, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(words) > 0 {
		return fmt.Errorf("%w: %q is too much here", errUse, words[0])
	}
	plan := planIfGood(std, *file)
	host, done := hostToScan(std, strings.TrimSuffix(*system, "/"), plan)
	defer done()
	found, err := scan.Run(ctx, host)
	if err != nil {
		return err
	}
	if *asJSON {
		encoder := json.NewEncoder(std.Out)
		encoder.SetEscapeHTML(false)
		for _, f := range found {
			if err := encoder.Encode(f); err != nil {
				return err
			}
		}
		return nil
	}
	printFound(std.Out, found)
	return nil
}

// planIfGood is the plan of the rules file; without one the scan goes on, and says that it does not know what a running gateway reads.
func planIfGood(std IO, file string) *check.Plan {
	l, err := loadRules(file)
	if err == nil && !l.said.HasErrors() {
		return l.plan
	}
	fmt.Fprintf(std.Err, "%s cannot be used: what a running gateway reads is not known. Stop it first, or name its file with --rules.\n", file)
	return nil
}

// hostToScan opens what there is; what is not there is left out.
func hostToScan(std IO, root string, plan *check.Plan) (scan.Host, func()) {
	h := scan.Host{OneWire: folderOrNil(root + bus.OneWireRoot), IIO: folderOrNil(root + bus.IIORoot), HWMon: folderOrNil(root + bus.HWMonRoot), Devices: folderOrNil(root + bus.DeviceRoot)}
	if plan != nil {
		h.Known, h.Station = knownIn(plan), freeStation(plan)
	}
	wires, err := bus.Wires(root + bus.DeviceRoot)
	if err != nil {
		fmt.Fprintf(std.Err, "not looked at: %v\n", err)
	}
	for _, w := range wires {
		h.I2C = append(h.I2C, scan.I2CBus{Name: w.Name, Prober: prober{w}})
	}
	return h, func() {
		for _, w := range wires {
			_ = w.Close() // it was only read
		}
	}
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

// knownIn finds the probe of the rules at a place.
func knownIn(plan *check.Plan) func(string, string) string {
	at := map[string]string{}
	for _, b := range plan.Buses {
		if behind, is := b.Settings.Find("behind"); is && len(behind.Slots) > 1 {
			at[behind.Slots[0].Text+" "+fmt.Sprintf("0x%02x", int(behind.Slots[1].Amount.Value))] = b.Name
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
			at[s[0].Text+" "+fmt.Sprintf("0x%02x", int(s[1].Amount.Value))] = p.Name
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

func printFound(out io.Writer, list []scan.Found) {
	bus := ""
	for _, f := range list {
		if f.Bus != bus {
			bus = f.Bus
			fmt.Fprintf(out, "%s\n", bus)
		}
		fmt.Fprintf(out, "  %-18s %s (%s: %s)\n", f.Place, f.What, f.Sure, f.Why)
		if f.Left != "" {
			fmt.Fprintf(out, "  %-18s not touched: %s\n", "", f.Left)
		}
		switch {
		case f.Known != "":
			fmt.Fprintf(out, "  %-18s in the rules as %s\n", "", f.Known)
		case f.Block != "":
			if len(f.Parts) > 1 {
				fmt.Fprintf(out, "  %-18s may be %s\n", "", strings.Join(f.Parts, ", "))
			}
			fmt.Fprintf(out, "\n%s\n", f.Block)
		}
	}
	if len(list) == 0 {
		fmt.Fprintln(out, "Nothing was found. Are the buses switched on in the board's own configuration, and may this user open them (groups i2c, spi, gpio)?")
	}
}
