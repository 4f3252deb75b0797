package command

import (
	"cmp"
	"context"
	"fmt"
	"strconv"
	"strings"
	"text/tabwriter"

	"millwarden/gateway/logbook/lots"
	"millwarden/internal/coffee"
	"millwarden/internal/units"
)

// lotExamples show how each act is written; the words after the act are those of lotWords.
var lotExamples = map[lots.Do]string{
	lots.Intake: "lot intake 143 --kg 640 --cherry own --plot west --floaters 3 --ripe 96 --by ana",
	lots.Load:   "lot load tank-1 143 --kg 412 --by ana", lots.Empty: "lot empty tank-1 --kg 260 --by ana",
	lots.Move:  "lot move tank-1 deck-a --kg 260 --by ana",
	lots.Split: "lot split 143 143-a=60 143-b --by ana", lots.Blend: "lot blend house 143=50 144 --by ana",
	lots.Weigh: "lot weigh 143 --kg 118 --moisture 11.2 --by ana",
	lots.Check: "lot check 143 --gritty partly --meter '4.6 pH' --by ana",
	lots.Hull:  "lot hull 143 --in 118 --kg 97.5 --moisture 11 --by ana",
	lots.Grade: "lot grade 143 --screen 17=52 --screen 16=31 --below 14 --primary 0 --secondary 3 --by ana",
	lots.Roast: "lot roast 143 --in 12 --kg 10.2 --charge 204 --drop 212 --time 12:40 --by ana", lots.Correct: "lot correct 17 hull 143 --in 118 --kg 96.5 --note misread --by ana",
}

// lotFlags are the fields of a step at the command line.
type lotFlags struct {
	step           lots.Step
	by, when       string
	floaters, ripe float64
	counts         [3]int
	screens        []lots.Screen
}

// unsaid are the options before anybody spoke: of what may be 0, a number below it says that nothing was said.
func unsaid() lotFlags { return lotFlags{floaters: -1, ripe: -1, counts: [3]int{-1, -1, -1}} }

// addShared are the options that stand with a load and an empty too.
func (l *lotFlags) addShared(f flagSet) {
	f.StringVar(&l.by, "by", "", "who does it: a person of the rules file")
	f.StringVar(&l.when, "when", "", "when it was done, where that was earlier: 2026-06-10T05:10:00-05:00")
	f.StringVar(&l.step.Note, "note", "", "what else is to be kept")
	f.Float64Var((*float64)(&l.step.Kg), "kg", 0, "weight in kg; of hull and roast, what came out")
}

func (l *lotFlags) add(f flagSet) {
	l.addShared(f)
	s := &l.step
	f.StringVar(&s.Station, "station", "", "check, roast: where")
	f.Float64Var((*float64)(&s.In), "in", 0, "hull, roast: what went in, in kg")
	f.Float64Var((*float64)(&s.Moisture), "moisture", 0, "moisture in %wb")
	f.Float64Var(&s.Activity, "aw", 0, "water activity, 0 to 1")
	f.StringVar(&s.Cherry, "cherry", "", "intake: own or bought")
	f.StringVar(&s.Supplier, "supplier", "", "intake of bought cherry: code of who sold it")
	f.StringVar(&s.Plot, "plot", "", "intake: where it was picked, or by whom")
	f.Float64Var(&l.floaters, "floaters", l.floaters, "intake: % that floats")
	f.Float64Var(&l.ripe, "ripe", l.ripe, "intake: % that is ripe")
	f.StringVar(&s.Gritty, "gritty", "", "check: no, partly or yes")
	f.StringVar(&s.Bite, "bite", "", "check: soft, firm or hard")
	f.StringVar(&s.Meter, "meter", "", "check: what a hand meter shows, with its unit: '11.8 %wb'")
	f.Func("screen", "grade: NUMBER=KG, once for each screen", l.screen)
	f.Float64Var((*float64)(&s.Below), "below", 0, "grade: kg that fell through all screens")
	f.BoolVar(&s.Sample, "sample", false, "grade: the weights are of a sample")
	for i, name := range []string{"primary", "secondary", "quakers"} {
		f.IntVar(&l.counts[i], name, l.counts[i], "grade: how many")
	}
	f.StringVar(&s.Batch, "batch", "", "roast: its name; else the lot's name and a number")
	f.Float64Var(&s.Charge, "charge", 0, "roast: °C")
	f.Float64Var(&s.Crack, "first-crack", 0, "roast: °C")
	f.Func("first-crack-at", "roast: minutes and seconds after the charge, 9:20", func(text string) (err error) { s.CrackAt, err = minutes(text); return err })
	f.Float64Var(&s.Drop, "drop", 0, "roast: °C")
	f.Func("time", "roast: from charge to drop, 12:40", func(text string) (err error) { s.Seconds, err = minutes(text); return err })
	f.StringVar(&s.Colour, "colour", "", "roast: as the site notes it")
}

func (l *lotFlags) screen(text string) error {
	number, kg, _ := strings.Cut(text, "=")
	n, err := strconv.Atoi(number)
	weight, err2 := units.ParseNumber(kg)
	if err != nil || err2 != nil {
		return fmt.Errorf("%q is no screen with its weight, for example 17=52", text)
	}
	l.screens = append(l.screens, lots.Screen{Number: n, Kg: lots.Kilograms(weight)})
	return nil
}

// minutes reads 12:40 as seconds.
func minutes(text string) (int, error) {
	m, s, ok := strings.Cut(text, ":")
	whole, err := strconv.Atoi(m)
	rest, err2 := strconv.Atoi(s)
	if !ok || err != nil || err2 != nil || whole < 0 || rest < 0 || rest > 59 {
		return 0, fmt.Errorf("%q is no time, for example 12:40", text)
	}
	return 60*whole + rest, nil
}

// lot enters one act on a lot.
func lot(ctx context.Context, std IO, args []string) error {
	l := unsaid()
	return l.enter(ctx, std, "lot", l.add, args)
}

// load and empty are the acts of every day, without "lot" before them.
func load(ctx context.Context, std IO, args []string) error {
	l := unsaid()
	return l.enter(ctx, std, "load", l.addShared, args, string(lots.Load))
}

func empty(ctx context.Context, std IO, args []string) error {
	l := unsaid()
	return l.enter(ctx, std, "empty", l.addShared, args, string(lots.Empty))
}

// enter asks for the act that the words of a command say, behind those that its name says.
func (l *lotFlags) enter(ctx context.Context, std IO, name string, options func(flagSet), args []string, said ...string) error {
	g, words, err := ask(name, std, args, options)
	if err != nil {
		return err
	}
	words = append(said, words...)
	if len(words) == 0 {
		return fmt.Errorf("%w: say what was done: %s; for example\n  millwarden %s", errUse, strings.Join(lots.Acts(), ", "), lotExamples[lots.Load])
	}
	do := lots.Do(words[0])
	body, err := l.body(do, words[1:])
	if err != nil {
		return err
	}
	if l.by == "" {
		return fmt.Errorf("%w: say who, for example\n  millwarden %s", errUse, lotExamples[do])
	}
	body["by"] = l.by
	return g.enter(ctx, std, body)
}

func (g gateway) enter(ctx context.Context, std IO, body map[string]any) error {
	var done struct {
		Entry int64    `json:"entry"`
		Text  string   `json:"text"`
		Look  []string `json:"look"`
	}
	if err := g.postFor(ctx, "/api/lots", body, &done); err != nil {
		return err
	}
	fmt.Fprintf(std.Out, "entry %d: %s\n", done.Entry, done.Text)
	for _, look := range done.Look {
		fmt.Fprintf(std.Out, "  look again: %s\n", look)
	}
	return nil
}

// body is what is sent: the step with its words in place.
func (l *lotFlags) body(do lots.Do, words []string) (map[string]any, error) {
	s := &l.step
	s.Do, s.Screens = do, l.screens
	percent := func(v float64) *lots.Percent {
		if v < 0 {
			return nil
		}
		p := lots.Percent(v)
		return &p
	}
	s.Floaters, s.Ripe = percent(l.floaters), percent(l.ripe)
	for i, into := range []**int{&s.Primary, &s.Second, &s.Quakers} {
		if l.counts[i] >= 0 {
			*into = &l.counts[i]
		}
	}
	if do == lots.Correct {
		return l.correction(words)
	}
	if err := lotWords(s, words); err != nil {
		return nil, err
	}
	return stepBody(s, l.when)
}

// correction points at an entry; what stands behind it holds instead, and nothing strikes it.
func (l *lotFlags) correction(words []string) (map[string]any, error) {
	if len(words) == 0 {
		return nil, fmt.Errorf("%w: say which entry was wrong, for example\n  millwarden %s\nor, if it never was: millwarden lot correct 17 --by ana", errUse, lotExamples[lots.Correct])
	}
	entry, err := strconv.ParseInt(words[0], 10, 64)
	if err != nil {
		return nil, fmt.Errorf("%w: %q is no number of an entry", errUse, words[0])
	}
	body := map[string]any{"act": lots.Correct, "entry": entry, "note": l.step.Note}
	if len(words) == 1 {
		return body, nil
	}
	instead := l.step
	instead.Do, instead.Note = lots.Do(words[1]), ""
	if err := lotWords(&instead, words[2:]); err != nil {
		return nil, err
	}
	body["instead"], err = stepBody(&instead, l.when)
	return body, err
}

func stepBody(s *lots.Step, when string) (map[string]any, error) {
	body := map[string]any{}
	if err := throughJSON(s, &body); err != nil {
		return nil, err
	}
	if when != "" {
		body["when"] = when
	}
	return body, nil
}

// lotWords puts the words behind an act where they belong.
func lotWords(s *lots.Step, words []string) error {
	wrong := func() error {
		example, known := lotExamples[s.Do]
		if !known {
			return fmt.Errorf("%w: there is no act %q; write one of %s", errUse, s.Do, strings.Join(lots.Acts(), ", "))
		}
		return fmt.Errorf("%w: it is written so:\n  millwarden %s", errUse, example)
	}
	most := map[lots.Do]int{lots.Load: 2, lots.Move: 2, lots.Split: 99, lots.Blend: 99}[s.Do]
	if _, known := lotExamples[s.Do]; !known || len(words) > cmp.Or(most, 1) || len(words) == 0 && s.Do != lots.Check {
		return wrong()
	}
	switch s.Do {
	case lots.Load, lots.Move:
		if len(words) != 2 {
			return wrong()
		}
		s.Station = words[0]
		if s.Do == lots.Load {
			s.Lot = words[1]
		} else {
			s.To = words[1]
		}
	case lots.Empty:
		s.Station = words[0]
	case lots.Check:
		if len(words) > 0 {
			s.Lot = words[0]
		}
	default:
		s.Lot = words[0]
		for _, word := range words[1:] {
			name, kg, weighed := strings.Cut(word, "=")
			part := lots.Part{Lot: name}
			if weighed {
				v, err := units.ParseNumber(kg)
				if err != nil {
					return fmt.Errorf("%w: %q is no lot with its weight, for example 143-a=60", errUse, word)
				}
				part.Kg = lots.Kilograms(v)
			}
			s.Parts = append(s.Parts, part)
		}
	}
	return nil
}

// mark says what was done to a station besides loading and emptying it.
func mark(ctx context.Context, std IO, args []string) error {
	var by, note *string
	g, words, err := ask("mark", std, args, func(f flagSet) {
		by = f.String("by", "", "who did it: a person of the rules file")
		note = f.String("note", "", "what else is to be kept")
	})
	if err != nil {
		return err
	}
	if len(words) != 2 || *by == "" {
		return fmt.Errorf("%w: it needs a station, what was done and --by, for example: deck-a stirred --by ana", errUse)
	}
	if err := g.post(ctx, "/api/acts", map[string]any{"do": "mark", "station": words[0], "what": words[1], "why": *note, "by": *by}); err != nil {
		return err
	}
	fmt.Fprintf(std.Out, "%s: %s, by %s\n", words[0], words[1], *by)
	return nil
}

// enter gives a point what a person read from an instrument without a wire.
func enter(ctx context.Context, std IO, args []string) error {
	var by, note *string
	g, words, err := ask("enter", std, args, func(f flagSet) {
		by = f.String("by", "", "who read it: a person of the rules file")
		note = f.String("note", "", "what else is to be kept")
	})
	if err != nil {
		return err
	}
	if len(words) < 2 || *by == "" {
		return fmt.Errorf("%w: it needs a point of a probe by-hand, what was read and --by, for example: deck-1/moisture 11.8 %%wb --by ana", errUse)
	}
	value := strings.Join(words[1:], " ")
	if err := g.post(ctx, "/api/acts", map[string]any{"do": "enter", "point": words[0], "value": value, "why": *note, "by": *by}); err != nil {
		return err
	}
	fmt.Fprintf(std.Out, "%s: %s, read by %s\n", words[0], value, *by)
	return nil
}

// listLots shows all lots, or one whole.
func listLots(ctx context.Context, std IO, args []string) error {
	var all *bool
	g, words, err := ask("lots", std, args, func(f flagSet) { all = f.Bool("all", false, "also those of which nothing is left") })
	if err != nil {
		return err
	}
	w := tabwriter.NewWriter(std.Out, 0, 0, 2, ' ', 0)
	if len(words) == 1 {
		var shown lots.Shown
		if err := g.get(ctx, "/api/lots/"+pathPart(words[0]), &shown); err != nil {
			return err
		}
		at, err := g.times(ctx)
		if err != nil {
			return err
		}
		printLot(w, &shown, at)
		return w.Flush()
	}
	if len(words) > 1 {
		return fmt.Errorf("%w: it shows one lot, or all", errUse)
	}
	var lines []lots.Line
	if err := g.get(ctx, "/api/lots", &lines); err != nil {
		return err
	}
	fmt.Fprintln(w, "lot\tis\tweighs\tmoisture\tstands in")
	for i := range lines {
		if l := &lines[i]; *all || !l.Used {
			fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", l.Lot, formName(l.Form), weight(l.Kg), moisture(l.Moisture), cmp.Or(l.Station, "–"))
		}
	}
	return w.Flush()
}

// formName is what the coffee of a lot is. Of a lot that was never taken in, nobody said it.
func formName(f lots.Form) string { return cmp.Or(string(f), "form not told") }

func weight(kg lots.Kilograms) string {
	if kg == 0 {
		return "– kg"
	}
	return fmt.Sprintf("%.1f kg", float64(kg))
}

func moisture(m float64) string {
	if m == 0 {
		return "– %wb"
	}
	return fmt.Sprintf("%.1f %%wb", m)
}

func printLot(w *tabwriter.Writer, s *lots.Shown, at siteTimes) {
	place := "stands nowhere"
	if s.Station != "" {
		place = "stands in " + s.Station
	}
	if s.Used {
		place = "nothing is left of it"
	}
	fmt.Fprintf(w, "lot %s: %s, %s, %s; %s\n", s.Lot, formName(s.Form), weight(s.Kg), moisture(s.Moisture), place)
	for i := range s.Steps {
		st := &s.Steps[i]
		text := st.Text
		switch {
		case st.Struck:
			text += fmt.Sprintf(" [struck by entry %d]", st.CorrectedBy)
		case st.CorrectedBy != 0:
			text += fmt.Sprintf(" [was: %s; corrected by entry %d]", st.Was, st.CorrectedBy)
		}
		if st.Note != "" {
			text += "; " + st.Note
		}
		fmt.Fprintf(w, "  %d\t%s\t%s\t%s\n", st.Entry, at.minute(st.At), st.Who, text)
	}
	y := &s.Yield
	for _, line := range []struct {
		what string
		is   bool
		text string
	}{
		{"cherry to green", y.CherryGreen > 0, fmt.Sprintf("%.2f kg of cherry for each kg of green", y.CherryGreen)},
		{"outturn", y.Outturn > 0, fmt.Sprintf("%.1f %% of the parchment is green; %.0f to %.0f %% is usual", y.Outturn, 100*coffee.UsualOutturnLeast, 100*coffee.UsualOutturnMost)},
		{"roast loss", y.RoastLoss > 0, fmt.Sprintf("%.1f %%", y.RoastLoss)},
	} {
		if line.is {
			fmt.Fprintf(w, "  %s: %s\n", line.what, line.text)
		}
	}
}
