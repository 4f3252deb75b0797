// Package command is the command line: one file a subcommand. It knows the exit codes (0 well, 1 the work failed or found faults, 2 wrong use)
// and the words people read there; what a command does is done by the packages below it.
//
// Concurrency: Main runs once, on the program's first goroutine.
package command

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"strings"
)

// IO is what a command reads and writes.
type IO struct {
	In       io.Reader
	Out, Err io.Writer
}

// Exit codes.
const (
	exitWell   = 0
	exitFailed = 1
	exitUse    = 2
)

type subcommand struct {
	name, use, does string
	run             func(ctx context.Context, io IO, args []string) error
}

// subcommands in the order in which help shows them.
func subcommands() []subcommand {
	return []subcommand{
		{"run", "[--rules FILE] [--data DIR]", "the gateway: reads, decides, calls, publishes, serves the page", run},
		{"demo", "[--speed N] [--listen ADDRESS]", "the same program on an invented estate, on this machine alone", demo},
		{"soak", "[--days N] [--speed N]", "the demo's estate for simulated days; tells what grows of memory, descriptors, files", soak},
		{"check", "[--json] FILE", "checks a rules file; exit 0 clean, 1 with faults", checkRules},
		{"explain", "[ALARM|POINT] [--rules FILE]", "in plain words what it will do, with its sources, and who would be called", explain},
		{"format", "[--check] FILE", "writes a rules file in the one layout, comments and all", formatRules},
		{"register", "[--csv] FILE", "the alarm register, from the rules file", register},
		{"rates", "[--rules FILE] [--data DIR]", "how much the alarms ask of people, by the record", alarmRates},
		{"scan", "[--json] [--rules FILE]", "what is on the buses, how sure that is, and a probe block for each part", scanBuses},
		{"probe", "add --rules FILE [--block FILE] [--by NAME]", "adds a probe block, if the rules then still check", probe},
		{"limit", "set NAME AMOUNT [--at STATION] [--because TEXT] --rules FILE [--by NAME]", "changes a limit, if the rules then still check", limit},
		{"rehearse", "FILE --readings FILE [--lots FILE] [--against FILE]", "plays recorded readings through the rules, tells every transition", rehearseRules},
		{"readings", "[POINT]", "what the points of the running gateway say now", readings},
		{"alarms", "", "which alarms stand now", alarms},
		{"acknowledge", "ALARM OCCURRENCE --by NAME", "says that somebody is on it", acknowledge},
		{"afterwards", "[ALARM OCCURRENCE --was TEXT --done TEXT --by NAME]", "says afterwards what an alarm was and what was done; lists what is open", closeOut},
		{"drill", "[PERSON] --by NAME", "a test message by all channels of a person, timed and logged", drill},
		{"swap", "[AWAY|crew TAKER|nobody --from TIME --to TIME --by NAME]", "who takes whose calls for a while: list, enter, correct, take back", swapCalls},
		{"people", "[add|code|key|remove NAME] [--data DIR]", "who can log in to the page: list, set a password, give a code, take it away", peopleCommand},
		{"certificate", "NAME ... | --client NAME [--out DIR]", "a root of the site's own, and certificates for the page and for the broker's clients", makeCertificates},
		{"load", "STATION LOT [--kg N] --by NAME", "a lot's stay begins", load},
		{"empty", "STATION [--kg N] --by NAME", "a lot's stay ends", empty},
		{"lot", "ACT LOT|STATION … --by NAME", "enters what else was done to a lot: intake, move, split, blend, weigh, check, hull, grade, roast, correct", lot},
		{"mark", "STATION WHAT --by NAME", "what was done to a station: stirred, covered, hand-checked, chaff-emptied, ducts-cleaned", mark},
		{"enter", "POINT AMOUNT --by NAME", "what was read by hand at a point of a probe by-hand", enter},
		{"lots", "[LOT]", "the lots, or one whole", listLots},
		{"record", "LOT [--out DIR]", "the lot's record: a document that prints, and a table beside it", makeRecord},
		{"season", "[--from TIME] [--to TIME] [--csv]", "nights and lots compared: forecasts against what came, yields, hours of danger", season},
		{"logbook", "[--verify] [--lot LOT] [--data DIR]", "entries of the record; whether any was changed after it was written", showLogbook},
		{"export", "[POINT ...] [--from TIME] [--to TIME] [--senml] [--out FILE]", "kept readings as CSV or SenML, while the gateway runs or not", exportReadings},
		{"backup", "FOLDER [--data DIR]", "copies history and logbook, while the gateway runs or not, and reads the copy again", backup},
		{"restore", "FOLDER [--replace] [--data DIR]", "puts a backup in place, while the gateway does not run", restore},
		{"calibrate", "PROBE [--buffer 7.00 ...|--ice --boiling|--true AMOUNT ...] --by NAME", "holds references to a probe, judges, writes as found and as left", calibrate},
		{"forward", "--rules FILE [--rejects FILE]", "MQTT to the time-series store, as its own process", forwardReadings},
		{"version", "", "version, and until when it is supported", version},
	}
}

// errUse marks a wrong call of a command; the text says what is right.
var errUse = errors.New("wrong use")

// errFaults marks work that was done and found faults, which were printed already.
var errFaults = errors.New("faults found")

// Main runs one command and gives the exit code.
func Main(ctx context.Context, args []string, io IO) int {
	if len(args) == 0 || args[0] == "help" || args[0] == "--help" || args[0] == "-h" {
		help(io.Out)
		return exitWell
	}
	for _, c := range subcommands() {
		if c.name == args[0] {
			return finish(c, io, c.run(ctx, io, args[1:]))
		}
	}
	fmt.Fprintf(io.Err, "millwarden: there is no command %q. `millwarden help` lists them.\n", args[0])
	return exitUse
}

func finish(c subcommand, io IO, err error) int {
	switch {
	case err == nil, errors.Is(err, flag.ErrHelp):
		return exitWell
	case errors.Is(err, errFaults):
		return exitFailed
	case errors.Is(err, errUse):
		fmt.Fprintf(io.Err, "millwarden %s: %v\nuse: millwarden %s %s\n", c.name, strings.TrimPrefix(err.Error(), errUse.Error()+": "), c.name, c.use)
		return exitUse
	}
	fmt.Fprintf(io.Err, "millwarden %s: %v\n", c.name, err)
	return exitFailed
}

func help(w io.Writer) {
	fmt.Fprint(w, "Millwarden watches a coffee mill. It is a monitoring aid: no safety function, fire alarm, burner control or gas detector.\n\n")
	for _, c := range subcommands() {
		fmt.Fprintf(w, "  millwarden %-12s %-38s %s\n", c.name, c.use, c.does)
	}
	fmt.Fprint(w, "\n`millwarden COMMAND --help` says more about one.\n")
}

type flagSet = *flag.FlagSet

// flags makes the flag set of a command; parse lets flags stand before, between and behind the words.
func flags(name string, io IO) *flag.FlagSet {
	f := flag.NewFlagSet("millwarden "+name, flag.ContinueOnError)
	f.SetOutput(io.Err)
	return f
}

// parse reads flags anywhere and gives the remaining words.
func parse(f *flag.FlagSet, args []string) ([]string, error) {
	var words []string
	for {
		if err := f.Parse(args); err != nil {
			if errors.Is(err, flag.ErrHelp) {
				return nil, err
			}
			return nil, fmt.Errorf("%w: %w", errUse, err)
		}
		if f.NArg() == 0 {
			return words, nil
		}
		words = append(words, f.Arg(0))
		args = f.Args()[1:]
	}
}
