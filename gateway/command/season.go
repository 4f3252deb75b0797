package command

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"text/tabwriter"

	lotrecord "millwarden/gateway/record"
)

// season compares nights and lots.
func season(ctx context.Context, std IO, args []string) error {
	var from, to *string
	var table *bool
	g, words, err := ask("season", std, args, func(f flagSet) {
		from = f.String("from", "", "lots that began then or later, RFC 3339; without it, 120 days before --to")
		to = f.String("to", "", "lots that began before, RFC 3339; without it, now")
		table = f.Bool("csv", false, "print a table for a spreadsheet")
	})
	if err != nil {
		return err
	}
	if len(words) > 0 {
		return fmt.Errorf("%w: %q is too much here", errUse, words[0])
	}
	q := url.Values{}
	for name, value := range map[string]string{"from": *from, "to": *to} {
		if value != "" {
			q.Set(name, value)
		}
	}
	if *table {
		text, err := g.text(ctx, http.MethodGet, "/api/season.csv?"+q.Encode(), nil)
		if err == nil {
			_, err = std.Out.Write(text)
		}
		return err
	}
	var s lotrecord.Season
	if err := g.get(ctx, "/api/season?"+q.Encode(), &s); err != nil {
		return err
	}
	at, err := g.times(ctx)
	if err != nil {
		return err
	}
	w := tabwriter.NewWriter(std.Out, 0, 0, 2, ' ', 0)
	printSeason(w, &s, at)
	return w.Flush()
}

func printSeason(w *tabwriter.Writer, s *lotrecord.Season, at siteTimes) {
	fmt.Fprintln(w, "stay\tlot\tfrom\tfor\tready after\tmean\tat the end\tforecast half way\twas off by\theld\ttaught\toffset")
	for i := range s.Waits {
		x := &s.Waits[i]
		lasts, ready := "lasts", "not seen"
		if x.To > 0 {
			lasts = hours(x.To - x.From)
		}
		if x.Ready > 0 {
			ready = hours(x.Ready - x.From)
		}
		foreseen, off, held := "–", "–", "–"
		for _, f := range x.Forecasts {
			if f.Part == 50 {
				foreseen, off, held = hours(f.Ready-x.From), signed(f.Off), map[bool]string{true: "yes", false: "no"}[f.Held]
			}
		}
		taught, offset := "–", "–"
		if x.Taught > 0 {
			taught, offset = hours(x.Taught), signed(x.Taught-x.Anchor)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", x.Station, x.Lot, at.minute(x.From), lasts, ready, decimal(x.Warmth, " °C"), decimal(x.End, ""), foreseen, off, held, taught, offset)
	}
	fmt.Fprintln(w, "\nlot\tcherry\tparchment\tgreen\toutturn\troast loss\talarms\thours of danger")
	for i := range s.Lots {
		l := &s.Lots[i]
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%d\t%s\n", l.Lot, weight(l.Yield.Cherry), weight(l.Yield.Dry), weight(l.Yield.Green), percentOf(l.Yield.Outturn), percentOf(l.Yield.RoastLoss), l.Alarms, hours(l.Danger))
	}
	for _, j := range []struct {
		what string
		lotrecord.Judged
	}{{"wash", s.Wash}, {"drying", s.Dry}} {
		if j.Forecasts > 0 {
			fmt.Fprintf(w, "\n%s, forecast half way: %d, half of them off by less than %s, worst %s, %d within their interval\n", j.what, j.Forecasts, hours(j.Median), hours(j.Worst), j.Held)
		}
	}
	printLearned(w, s)
	printDried(w, s)
}

// printLearned says what the estate's own washed tanks have taught: the anchor by which the next are forecast, beside that of the rules file.
func printLearned(w *tabwriter.Writer, s *lotrecord.Season) {
	if len(s.Learned) == 0 {
		return
	}
	fmt.Fprintln(w, "\nlearned by\twashed tanks\tat\tanchor of the rules file\tanchor learned\toffset\ttwo of three between")
	for i := range s.Learned {
		l := &s.Learned[i]
		learned, offset, between := "nothing yet", "–", "–"
		if l.Tanks > 0 {
			learned, offset, between = hours(l.Ready), signed(l.Ready-l.Usual), hours(l.Early)+" and "+hours(l.Late)
		}
		fmt.Fprintf(w, "%s\t%d\t%.0f °C\t%s\t%s\t%s\t%s\n", strings.Join(l.Stations, ", "), l.Tanks, l.Reference, hours(l.Usual), learned, offset, between)
	}
	fmt.Fprintln(w, "\ntaught: the time to the pH of wash that this lot would have needed at the reference temperature; offset: taught less the anchor, the ready-after of the rules file.")
}

// printDried says the same of dried layers.
func printDried(w *tabwriter.Writer, s *lotrecord.Season) {
	if len(s.Dried) == 0 {
		return
	}
	fmt.Fprintln(w, "\nlearned by\tdried layers\tto\ttook\ttwo of three between")
	for i := range s.Dried {
		d := &s.Dried[i]
		fmt.Fprintf(w, "%s\t%d\t%.1f %%wb\t%s\t%s\n", strings.Join(d.Stations, ", "), d.Layers, d.Target, hours(d.Took), hours(d.Early)+" and "+hours(d.Late))
	}
}

func signed(ms int64) string { return fmt.Sprintf("%+.0f min", float64(ms)/60000) }

func hours(ms int64) string { return fmt.Sprintf("%.1f h", float64(ms)/3.6e6) }

func decimal(v *float64, unit string) string {
	if v == nil {
		return "–"
	}
	return fmt.Sprintf("%.1f%s", *v, unit)
}

func percentOf(v float64) string {
	if v == 0 {
		return "–"
	}
	return fmt.Sprintf("%.1f %%", v)
}
