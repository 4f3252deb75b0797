package command

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"millwarden/drivers/scan"
	"millwarden/gateway/floor"
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
	host, notes, done := floor.Wires(strings.TrimSuffix(*system, "/"))
	defer done()
	for _, n := range notes {
		fmt.Fprintln(std.Err, n)
	}
	if plan != nil {
		host = floor.Spare(host, plan)
	}
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
