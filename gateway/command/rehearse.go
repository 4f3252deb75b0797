package command

import (
	"bufio"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/check"
	"millwarden/rules/engine"
	"millwarden/rules/rehearse"
)

// fileList is a flag that may stand several times.
type fileList []string

func (l *fileList) String() string { return strings.Join(*l, ",") }

func (l *fileList) Set(name string) error {
	*l = append(*l, name)
	return nil
}

// rehearsal is what one call of rehearse was asked.
type rehearsal struct {
	io       IO
	readings fileList
	lots     string
	from, to time.Time
	asJSON   bool
	zone     *time.Location
}

func rehearseRules(_ context.Context, std IO, args []string) error {
	r := rehearsal{io: std}
	f := flags("rehearse", std)
	f.Var(&r.readings, "readings", "CSV file, SenML file (.json), or data folder of a board; may stand several times")
	f.StringVar(&r.lots, "lots", "", "CSV file of what was loaded and emptied")
	against := f.String("against", "", "another rules file: what it would have done differently")
	from := f.String("from", "", "tell from then on, for example 2026-06-10 or 2026-06-10T18:00")
	to := f.String("to", "", "play until then")
	f.BoolVar(&r.asJSON, "json", false, "one JSON object a line, for tools")
	words, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(words) != 1 || len(r.readings) == 0 {
		return fmt.Errorf("%w: it takes one rules file and --readings", errUse)
	}
	plan, err := goodRules(std, words[0])
	if err != nil {
		return err
	}
	r.zone = plan.Site.Zone
	if err := r.span(*from, *to); err != nil {
		return err
	}
	if *against == "" {
		return r.tell(plan)
	}
	other, err := goodRules(std, *against)
	if err != nil {
		return err
	}
	return r.compare(plan, other, words[0], *against)
}

// goodRules loads a rules file that must have no fault; warnings belong to check.
func goodRules(std IO, file string) (*check.Plan, error) {
	l, err := loadRules(file)
	if err != nil {
		return nil, err
	}
	return l.good(std, file)
}

// good is the plan of rules without a fault.
func (l *loaded) good(std IO, file string) (*check.Plan, error) {
	if l.said.HasErrors() {
		if err := l.said.Print(std.Err, l.sources); err != nil {
			return nil, err
		}
		return nil, fmt.Errorf("%s has faults, see above", file)
	}
	return l.plan, nil
}

// spans are the forms in which people may write a time, by the site's clock where no zone stands.
var spans = []string{"2006-01-02", "2006-01-02T15:04", "2006-01-02T15:04:05"}

func (r *rehearsal) span(from, to string) (err error) {
	if r.from, err = r.time(from); err != nil {
		return err
	}
	r.to, err = r.time(to)
	return err
}

func (r *rehearsal) time(text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		return at, nil
	}
	for _, form := range spans {
		if at, err := time.ParseInLocation(form, text, r.zone); err == nil {
			return at, nil
		}
	}
	return time.Time{}, fmt.Errorf("%w: %q is no time, write for example 2026-06-10 or 2026-06-10T18:00", errUse, text)
}

// play opens what was recorded anew and plays it.
func (r *rehearsal) play(plan *check.Plan, tell func(*engine.Transition) error) (sum rehearse.Summary, err error) {
	in := rehearse.Input{From: r.from, To: r.to}
	if r.lots != "" {
		if in.Lots, err = lotsOf(r.lots); err != nil {
			return sum, err
		}
	}
	quantities := map[string]units.Quantity{}
	for _, p := range plan.Points {
		quantities[p.Name] = p.Quantity
	}
	known := func(point string) (units.Quantity, bool) { q, ok := quantities[point]; return q, ok }
	for _, name := range r.readings {
		source, stays, closer, openErr := openReadings(name, known)
		if openErr != nil {
			return sum, openErr
		}
		defer func() { err = errors.Join(err, closer.Close()) }()
		in.Readings = append(in.Readings, source)
		in.Lots = append(in.Lots, stays...)
	}
	return rehearse.Play(plan, in, tell)
}

func lotsOf(name string) ([]reading.Stay, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("reading the lots: %w", err)
	}
	defer file.Close() //nolint:errcheck // it was only read
	lots, err := reading.NewLots(file)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", filepath.Base(name), err)
	}
	var all []reading.Stay
	for {
		s, err := lots.Next()
		if errors.Is(err, io.EOF) {
			return all, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", filepath.Base(name), err)
		}
		all = append(all, s)
	}
}

// tell prints every transition as it comes, and what was played.
func (r *rehearsal) tell(plan *check.Plan) error {
	out := bufio.NewWriter(r.io.Out)
	counts := map[string]int{}
	sum, err := r.play(plan, func(t *engine.Transition) error {
		if t.NewOccurrence {
			counts[t.Alarm.ID]++
		}
		return r.print(out, "", t)
	})
	if err == nil && !r.asJSON {
		r.printSummary(out, &sum, counts)
	}
	return errors.Join(err, out.Flush())
}

// told is a transition in JSON, one object a line.
type told struct {
	Only       string      `json:"only,omitempty"` // --against: the rules file that alone does this
	Time       time.Time   `json:"time"`
	Alarm      string      `json:"alarm"`
	Kind       string      `json:"kind"`
	Priority   string      `json:"priority,omitempty"`
	Event      string      `json:"event"`
	From       string      `json:"from"`
	To         string      `json:"to"`
	Occurrence int64       `json:"occurrence,omitempty"`
	Because    string      `json:"because"`
	Values     []toldValue `json:"values,omitempty"`
}

type toldValue struct {
	Point string   `json:"point,omitempty"`
	Text  string   `json:"text,omitempty"`
	Value float64  `json:"value"`
	Unit  string   `json:"unit,omitempty"`
	Limit *float64 `json:"limit,omitempty"`
}

var kindWords = [...]string{"alarm", "prompt", "event"}

func (r *rehearsal) print(out io.Writer, only string, t *engine.Transition) error {
	kind := kindWords[t.Alarm.Kind]
	if r.asJSON {
		line := told{Only: only, Time: t.At.Wall.UTC(), Alarm: t.Alarm.ID, Kind: kind, Event: t.Event.String(), From: t.From.String(), To: t.To.String(),
			Occurrence: t.Occurrence, Because: t.Because}
		if t.Alarm.Kind == engine.KindAlarm {
			line.Priority = t.Alarm.Priority.String()
		}
		for _, v := range t.Values {
			shown := toldValue{Point: v.Point, Text: v.Text, Value: v.Value, Unit: v.Quantity.Base()}
			if v.HasLimit {
				shown.Limit = &v.Limit
			}
			line.Values = append(line.Values, shown)
		}
		return json.NewEncoder(out).Encode(line)
	}
	if only != "" {
		only = "only " + only + ":  "
	}
	if t.Alarm.Kind == engine.KindAlarm {
		kind = t.Alarm.Priority.String()
	}
	number := ""
	if t.Occurrence > 0 {
		number = fmt.Sprintf(" %d", t.Occurrence)
	}
	_, err := fmt.Fprintf(out, "%s%s  %-6s  %s%s  %s: %s -> %s\n    %s\n", only, t.At.Wall.In(r.zone).Format("2006-01-02 15:04:05"), kind, t.Alarm.ID, number,
		t.Event, t.From, t.To, t.Because)
	return err
}

// mostListed bounds the names in a summary. Chosen: a line or two.
const mostListed = 8

func (r *rehearsal) printSummary(out io.Writer, sum *rehearse.Summary, counts map[string]int) {
	if sum.Readings+sum.Stays == 0 {
		fmt.Fprintln(out, "nothing was played: no reading lies in this time")
		return
	}
	const form = "2006-01-02 15:04"
	fmt.Fprintf(out, "played %d readings and %d acts on lots, %s to %s (%s): %d occurrences\n", sum.Readings, sum.Stays, sum.Begin.In(r.zone).Format(form),
		sum.End.In(r.zone).Format(form), r.zone, sum.Occurrences)
	var ids []string
	for id := range counts {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, func(a, b string) int { return cmp.Or(counts[b]-counts[a], strings.Compare(a, b)) })
	for _, id := range ids {
		fmt.Fprintf(out, "  %4d  %s\n", counts[id], id)
	}
	if sum.Unset > 0 {
		fmt.Fprintf(out, "%d readings were taken while the clock was not set, and were left out\n", sum.Unset)
	}
	list(out, "not in these rules", sum.Unknown)
	list(out, "no reading came, so their alarms saw nothing", sum.Unseen)
}

func list(out io.Writer, what string, names []string) {
	if len(names) == 0 {
		return
	}
	more := ""
	if n := len(names) - mostListed; n > 0 {
		names, more = names[:mostListed], fmt.Sprintf(" and %d more", n)
	}
	fmt.Fprintf(out, "%s: %s%s\n", what, strings.Join(names, ", "), more)
}

// compare plays two rules files and prints what only one of them does.
func (r *rehearsal) compare(plan, other *check.Plan, name, otherName string) error {
	var first, second []engine.Transition
	keep := func(into *[]engine.Transition) func(*engine.Transition) error {
		return func(t *engine.Transition) error { *into = append(*into, *t); return nil }
	}
	sum, err := r.play(plan, keep(&first))
	if err != nil {
		return err
	}
	otherSum, err := r.play(other, keep(&second))
	if err != nil {
		return err
	}
	out := bufio.NewWriter(r.io.Out)
	differs := rehearse.Compare(first, second)
	for i := range differs {
		only := otherName
		if differs[i].First {
			only = name
		}
		if err := r.print(out, only, &differs[i].Transition); err != nil {
			return errors.Join(err, out.Flush())
		}
	}
	if !r.asJSON {
		fmt.Fprintf(out, "played %d readings and %d acts on lots: %s makes %d occurrences, %s %d; %d transitions differ\n", sum.Readings, sum.Stays, name,
			sum.Occurrences, otherName, otherSum.Occurrences, len(differs))
	}
	return out.Flush()
}
