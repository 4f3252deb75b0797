package command

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"millwarden/gateway/floor"
	"millwarden/gateway/logbook"
	"millwarden/gateway/logbook/rates"
	"millwarden/rules/check"
)

// logbookFile is the file by which a data folder's record is known.
const logbookFile = "logbook.db"

// alarmRates prints the figures by which ISA-18.2 and IEC 62682 judge an alarm system, reckoned from the record alone.
func alarmRates(ctx context.Context, std IO, args []string) error {
	f := flags("rates", std)
	file := f.String("rules", "", "rules file, for priorities and the site's clock; without it, that of the running gateway, else "+defaultRules)
	data := f.String("data", defaultData, "folder of history and logbook")
	fromText := f.String("from", "", "from then on; without it, 30 days before --to")
	toText := f.String("to", "", "until then; without it, now")
	if words, err := parse(f, args); err != nil {
		return err
	} else if len(words) > 0 {
		return fmt.Errorf("%w: %q is too much here", errUse, words[0])
	}
	g := gatewayAt("", *data)
	plan, err := rulesInForce(ctx, std, g, *file)
	if err != nil {
		return err
	}
	r := rehearsal{zone: plan.Site.Zone}
	if err := r.span(*fromText, *toText); err != nil {
		return err
	}
	if r.to.IsZero() {
		r.to = g.now(ctx)
	}
	if r.from.IsZero() {
		r.from = r.to.Add(-30 * 24 * time.Hour)
	}
	rows, err := rowsOf(ctx, *data, plan, r.to)
	if err != nil {
		return err
	}
	out := bufio.NewWriter(std.Out)
	printRates(out, rates.Of(rows, r.from, r.to, r.zone), r.zone)
	return out.Flush()
}

// rowsOf reads the transitions of alarms from the record of a data folder.
func rowsOf(ctx context.Context, data string, plan *check.Plan, to time.Time) (rows []rates.Row, err error) {
	if _, err := os.Stat(filepath.Join(data, logbookFile)); err != nil {
		return nil, fmt.Errorf("%s is no data folder: it has no %s", data, logbookFile)
	}
	book, err := logbook.Open(data)
	if err != nil {
		return nil, fmt.Errorf("opening the logbook: %w", err)
	}
	defer func() { err = errors.Join(err, book.Close()) }()
	return floor.RateRows(ctx, book, plan, to)
}

func printRates(out io.Writer, r rates.Rates, zone *time.Location) {
	const form = "2006-01-02 15:04"
	line := func(what, value, goal string) { fmt.Fprintf(out, "  %-34s %-14s %s\n", what, value, goal) }
	percent := func(share float64) string { return fmt.Sprintf("%.1f %%", 100*share) }
	fmt.Fprintf(out, "Alarms from %s to %s (%s)\n", r.From.In(zone).Format(form), r.To.In(zone).Format(form), zone)
	if !r.Enough {
		fmt.Fprintln(out, "Less than 30 days: too little to judge by.")
	}
	line("", "", "goal (ours: chosen; others: follows ISA-18.2)")
	line("annunciated", fmt.Sprint(r.Annunciated), "")
	line("a day", fmt.Sprintf("%.1f", r.PerDay), "at most 6 (ours)")
	line("an hour", fmt.Sprintf("%.2f", r.PerHour), "at most 1 (ours)")
	line("in 10 min", fmt.Sprintf("%.2f", r.PerTen), "at most 1")
	line("hours with more than 30", percent(r.BusyHours), "0 (ours)")
	line("10-min periods with more than 10", percent(r.BusyTens), "0 (ours)")
	line("most in any 10 min", fmt.Sprint(r.MostInTen), "at most 5 (ours)")
	line("floods; time in flood", fmt.Sprintf("%d; %s", r.Floods, percent(r.InFlood)), "0 (ours)")
	line("the ten most frequent", percent(r.TopShare), "at most 30 % (ours)")
	line("fleeting", fmt.Sprint(r.Fleeting), "0")
	line("stale, most on any day", fmt.Sprint(r.MostStale), "under 2 (ours)")
	line("of them of class safety", fmt.Sprint(r.StaleSafety), "0 (ours)")
	line("calls between 21:00 and 05:00", fmt.Sprintf("%d in %d nights", r.NightCalls, r.Nights), "at most 1 a night (ours)")
	line("of them acted on by a person", fmt.Sprint(r.NightsActed), "every one (ours)")
	line("suppressions, changes of rules", fmt.Sprint(r.Changes), "")
	line("of them by nobody named", fmt.Sprint(r.Unnamed), "0")
	known := r.Priorities["high"] + r.Priorities["medium"] + r.Priorities["low"]
	if known > 0 {
		share := func(p string) int { return (200*r.Priorities[p] + known) / (2 * known) }
		line("low, medium, high", fmt.Sprintf("%d / %d / %d %%", share("low"), share("medium"), share("high")), "about 80 / 15 / 5")
	}
	for _, group := range []struct {
		title string
		list  []rates.Count
	}{{"most frequent", r.Top}, {"chattering (3 times in a minute)", r.Chattering}, {"stood for more than a day (days)", r.Stale}} {
		if len(group.list) > 0 {
			fmt.Fprintf(out, "%s\n", group.title)
		}
		for _, c := range group.list {
			fmt.Fprintf(out, "  %4d  %s\n", c.Times, c.Alarm)
		}
	}
}
