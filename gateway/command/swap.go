package command

import (
	"context"
	"fmt"
	"strings"
	"time"

	"millwarden/gateway/web"
)

// swapCalls lets somebody take another's calls for a while, or lets nobody be called for people who are away; without words it lists what is entered.
func swapCalls(ctx context.Context, io IO, args []string) error {
	var s web.Swapping
	var withdraw int64
	g, words, err := ask("swap", io, args, func(f flagSet) {
		f.StringVar(&s.By, "by", "", "who arranges it: a person of the rules file")
		f.StringVar(&s.From, "from", "", "from when, by the site's clock: '2026-12-24 18:00'")
		f.StringVar(&s.To, "to", "", "until when")
		f.StringVar(&s.Why, "why", "", "why, for the logbook")
		f.Int64Var(&s.Corrects, "correct", 0, "number of the entry that this one takes the place of")
		f.Int64Var(&withdraw, "withdraw", 0, "number of an entry that is taken back")
	})
	if err != nil {
		return err
	}
	switch {
	case withdraw > 0 && len(words) == 0 && s.By != "":
		s.Corrects, s.Withdraw = withdraw, true
	case withdraw == 0 && len(words) == 0 && s.By == "":
		return listSwaps(ctx, io, g)
	case withdraw == 0 && len(words) == 2 && s.By != "":
		s.Away, s.Stands = words[0], words[1]
	default:
		return fmt.Errorf("%w: it needs who is away, who takes the calls, --from, --to and --by, for example: pedro rosa --from '2026-12-24 18:00' --to '2026-12-26 06:00' --by ana", errUse)
	}
	var done web.Swapped
	if err := g.postFor(ctx, "/api/swaps", s, &done); err != nil {
		return err
	}
	fmt.Fprintf(io.Out, "Entry %d: %s.\n", done.ID, done.Says)
	return nil
}

func listSwaps(ctx context.Context, io IO, g gateway) error {
	var c web.Coming
	if err := g.get(ctx, "/api/swaps", &c); err != nil {
		return err
	}
	at, err := g.times(ctx)
	if err != nil {
		return err
	}
	if len(c.Swaps) == 0 {
		fmt.Fprintln(io.Out, "Nobody takes another's calls.")
	}
	for i := range c.Swaps {
		s := &c.Swaps[i]
		now := ""
		if s.InForce {
			now = " IN FORCE"
		}
		fmt.Fprintf(io.Out, "%6d%s  %s (%s)\n", s.ID, now, strings.TrimSpace(swapWords(s, at)+" "+s.Why), s.Who)
	}
	for _, t := range c.Turns {
		place := ""
		if t.For != "" {
			place = ", in the place of " + t.For
		}
		until := "…"
		if t.To > 0 {
			until = at.hour(t.To)
		}
		fmt.Fprintf(io.Out, "        %s to %s  %s, %s (watch %s%s)\n", at.minute(t.From), until, t.Person, afterWords(time.Duration(t.After)*time.Millisecond), t.Watch, place)
	}
	return nil
}

// afterWords say how long after an alarm somebody is called.
func afterWords(d time.Duration) string {
	if d == 0 {
		return "at once"
	}
	return "after " + duration(d)
}

// swapWords are a swap as people say it.
func swapWords(s *web.Swap, at siteTimes) string {
	whose := "the calls of " + strings.Join(s.Away, ", ")
	if s.Crew {
		whose = "the calls of the crew"
	}
	taker := s.Stands
	if taker == "" {
		taker = "nobody"
	}
	return fmt.Sprintf("%s takes %s from %s to %s", taker, whose, at.minute(s.From), at.minute(s.To))
}
