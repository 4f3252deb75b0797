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
	"text/tabwriter"

	"millwarden/internal/diag"
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

// group is the subcommands for one kind of work.
type group struct {
	work     string
	commands []subcommand
}

// groups in the order in which help shows them.
func groups() []group {
	return []group{
		{"The watch", []subcommand{
			{"run", "[--rules FILE] [--data DIR]", "the gateway: reads, decides, calls, publishes, serves the page", run},
			{"demo", "[--speed N] [--listen ADDRESS]", "the same program on an invented estate, on this machine alone", demo},
			{"forward", "--rules FILE [--rejects FILE]", "MQTT to the time-series store, as its own process", forwardReadings},
		}},
		{"The rules file", []subcommand{
			{"check", "[--json] FILE", "checks a rules file; exit 0 clean, 1 with faults", checkRules},
			{"format", "[--check] FILE", "writes a rules file in the one layout, comments and all", formatRules},
			{"explain", "[ALARM|POINT] [--rules FILE]", "in plain words what it will do, with its sources, and who would be called", explain},
			{"register", "[--csv] FILE", "the alarm register, from the rules file", register},
			{"rehearse", "FILE --readings FILE [--lots FILE] [--against FILE]", "plays recorded readings through the rules, tells every transition", rehearseRules},
			{"probe", "add --rules FILE [--block FILE] [--by NAME]", "adds a probe block, if the rules then still check", probe},
			{"limit", "set NAME AMOUNT [--at STATION] [--because TEXT] --rules FILE [--by NAME]", "changes a limit, if the rules then still check", limit},
		}},
		{"Probes and readings", []subcommand{
			{"scan", "[--json] [--rules FILE]", "what is on the buses, how sure that is, and a probe block for each part", scanBuses},
			{"calibrate", "PROBE [--buffer 7.00 ...|--ice --boiling|--true AMOUNT ...] --by NAME", "holds references to a probe, judges, writes as found and as left", calibrate},
			{"readings", "[POINT]", "what the points of the running gateway say now", readings},
			{"enter", "POINT AMOUNT --by NAME", "what was read by hand at a point of a probe by-hand", enter},
			{"export", "[POINT ...] [--from TIME] [--to TIME] [--senml] [--out FILE]", "kept readings as CSV or SenML, while the gateway runs or not", exportReadings},
		}},
		{"Alarms and people", []subcommand{
			{"alarms", "", "which alarms stand now", alarms},
			{"acknowledge", "ALARM OCCURRENCE --by NAME", "says that somebody is on it", acknowledge},
			{"afterwards", "[ALARM OCCURRENCE --was TEXT --done TEXT --by NAME]", "says afterwards what an alarm was and what was done; lists what is open", closeOut},
			{"drill", "[PERSON] --by NAME", "a test message by all channels of a person, timed and logged", drill},
			{"swap", "[AWAY|crew TAKER|nobody --from TIME --to TIME --by NAME]", "who takes whose calls for a while: list, enter, correct, take back", swapCalls},
			{"rates", "[--rules FILE] [--data DIR]", "how much the alarms ask of people, by the record", alarmRates},
			{"people", "[add|code|key|remove NAME] [--data DIR]", "who can log in to the page: list, set a password, give a code, take it away", peopleCommand},
		}},
		{"Lots", []subcommand{
			{"load", "STATION LOT [--kg N] --by NAME", "a lot's stay begins", load},
			{"empty", "STATION [--kg N] --by NAME", "a lot's stay ends", empty},
			{"lot", "ACT LOT|STATION … --by NAME", "enters what else was done to a lot: intake, move, split, blend, weigh, check, hull, grade, roast, correct", lot},
			{"mark", "STATION WHAT --by NAME", "what was done to a station: stirred, covered, hand-checked, chaff-emptied, ducts-cleaned", mark},
			{"lots", "[LOT]", "the lots, or one whole", listLots},
			{"record", "LOT [--out DIR] [--language es] [--units us]", "the lot's record: a document that prints, and a table beside it", makeRecord},
			{"season", "[--from TIME] [--to TIME] [--csv]", "nights and lots compared: forecasts against what came, yields, hours of danger", season},
		}},
		{"Upkeep", []subcommand{
			{"logbook", "[--verify] [--lot LOT] [--data DIR]", "entries of the record; whether any was changed after it was written", showLogbook},
			{"backup", "FOLDER [--data DIR]", "copies history, logbook, logins and push keys, while the gateway runs or not, and reads the copy again", backup},
			{"restore", "FOLDER [--replace] [--data DIR]", "puts a backup in place, while the gateway does not run", restore},
			{"certificate", "NAME ... | --client NAME [--out DIR]", "a root of the site's own, and certificates for the page and for the broker's clients", makeCertificates},
			{"soak", "[--days N] [--speed N]", "the demo's estate for simulated days; tells what grows of memory, descriptors, files", soak},
			{"version", "", "version, and until when it is supported", version},
		}},
	}
}

// find gives the subcommand of a name, or the names of all.
func find(name string) (found subcommand, names []string) {
	for _, g := range groups() {
		for _, c := range g.commands {
			if c.name == name {
				return c, nil
			}
			names = append(names, c.name)
		}
	}
	return subcommand{}, names
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
	c, known := find(args[0])
	if c.run != nil {
		return finish(c, io, c.run(ctx, io, args[1:]))
	}
	fmt.Fprintf(io.Err, "millwarden: there is no command %q.%s `millwarden help` lists them.\n", args[0], didYouMean("", args[0], known))
	return exitUse
}

// didYouMean is a sentence with the nearest known word, or nothing.
func didYouMean(before, word string, known []string) string {
	near := diag.Near(word, known)
	if near == "" {
		return ""
	}
	return " Did you mean " + before + near + "?"
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
	fmt.Fprint(w, "Millwarden watches a coffee mill. It is a monitoring aid: no safety function, fire alarm, burner control or gas detector.\n")
	for _, g := range groups() {
		fmt.Fprintf(w, "\n%s\n", g.work)
		for _, c := range g.commands {
			fmt.Fprintf(w, "  millwarden %-12s %s\n", c.name, c.does)
		}
	}
	fmt.Fprint(w, "\n`millwarden COMMAND --help` says how one is used.\n")
}

type flagSet = *flag.FlagSet

// flags makes the flag set of a command; parse lets flags stand before, between and behind the words.
func flags(name string, w IO) *flag.FlagSet {
	f := flag.NewFlagSet(name, flag.ContinueOnError)
	f.SetOutput(io.Discard) // what is wrong we say ourselves
	f.Usage = func() {
		c, _ := find(name)
		fmt.Fprintf(w.Out, "millwarden %s\n\n%s\n\n", strings.TrimSpace(c.name+" "+c.use), c.does)
		table := tabwriter.NewWriter(w.Out, 0, 0, 2, ' ', 0)
		f.VisitAll(func(o *flag.Flag) { fmt.Fprintln(table, describe(o)) })
		_ = table.Flush() // nobody to tell that nobody can be told
	}
	return f
}

// describe gives an option as a person writes it, and what it does.
func describe(o *flag.Flag) string {
	kind, does := flag.UnquoteUsage(o)
	kind = map[string]string{"": "", "string": " TEXT", "float": " NUMBER", "int": " NUMBER", "uint": " NUMBER", "duration": " TIME"}[kind]
	if kind == "" && !isSwitch(o) {
		kind = " VALUE"
	}
	if d := o.DefValue; d != "" && d != "0" && d != "-1" && d != "false" {
		does += " (else " + d + ")"
	}
	return "  --" + o.Name + kind + "\t" + does
}

func isSwitch(o *flag.Flag) bool {
	b, ok := o.Value.(interface{ IsBoolFlag() bool })
	return ok && b.IsBoolFlag()
}

// parse reads flags anywhere and gives the remaining words.
func parse(f *flag.FlagSet, args []string) ([]string, error) {
	help := f.Usage
	f.Usage = func() {} // else it comes with each mistake
	var words []string
	for {
		err := f.Parse(args)
		if errors.Is(err, flag.ErrHelp) {
			help()
			return nil, err
		}
		if err != nil {
			return nil, wrongOption(f, err)
		}
		if f.NArg() == 0 {
			return words, nil
		}
		words = append(words, f.Arg(0))
		args = f.Args()[1:]
	}
}

// wrongOption says what is wrong with an option, in our words where the library's are not for everybody.
func wrongOption(f *flag.FlagSet, err error) error {
	text := err.Error()
	if name, ok := strings.CutPrefix(text, "flag provided but not defined: -"); ok {
		var known []string
		f.VisitAll(func(o *flag.Flag) { known = append(known, o.Name) })
		name = strings.TrimPrefix(name, "-")
		return fmt.Errorf("%w: there is no option --%s.%s", errUse, name, didYouMean("--", name, known))
	}
	if name, ok := strings.CutPrefix(text, "flag needs an argument: -"); ok {
		return fmt.Errorf("%w: --%s needs a value behind it", errUse, name)
	}
	if rest, ok := strings.CutPrefix(text, "invalid value "); ok {
		value, rest, _ := strings.Cut(rest, " for flag -")
		name, why, _ := strings.Cut(rest, ": ")
		return fmt.Errorf("%w: --%s does not take %s: %s", errUse, name, value, strings.Replace(why, "parse error", "a number is wanted", 1))
	}
	return fmt.Errorf("%w: %w", errUse, err)
}
