package command

import (
	"context"
	"fmt"
	"strconv"

	"millwarden/gateway/web"
)

// closeOut says afterwards what an alarm was and what was done; without words it lists of which that is not known.
func closeOut(ctx context.Context, io IO, args []string) error {
	var was, done, by *string
	g, words, err := ask("afterwards", io, args, func(f flagSet) {
		was = f.String("was", "", "what it was")
		done = f.String("done", "", "what was done")
		by = f.String("by", "", "who says so: a person of the rules file")
	})
	if err != nil {
		return err
	}
	if len(words) == 0 && *was == "" {
		return listClosings(ctx, io, g)
	}
	if len(words) != 2 || *was == "" || *by == "" {
		return fmt.Errorf("%w: it needs an alarm, the number of its occurrence, --was and --by, for example: over-fermented@tank-1 412 --was 'a warm night' --done 'washed at 03:00' --by ana", errUse)
	}
	occurrence, err := strconv.ParseInt(words[1], 10, 64)
	if err != nil {
		return fmt.Errorf("%w: %q is no number of an occurrence", errUse, words[1])
	}
	if err := g.post(ctx, "/api/acts", map[string]any{"do": web.DoCloseOut, "alarm": words[0], "occurrence": occurrence, "what": *was, "why": *done, "by": *by}); err != nil {
		return err
	}
	fmt.Fprintf(io.Out, "Written down of %s %d.\n", words[0], occurrence)
	return nil
}

func listClosings(ctx context.Context, io IO, g gateway) error {
	var list []web.Closing
	if err := g.get(ctx, "/api/closing", &list); err != nil {
		return err
	}
	at, err := g.times(ctx)
	if err != nil {
		return err
	}
	for i := range list {
		c := &list[i]
		fmt.Fprintf(io.Out, "%s %d  %s to %s, acknowledged by %s\n", c.Alarm, c.Occurrence, at.minute(c.From), at.hour(c.To), c.Who)
	}
	if len(list) == 0 {
		fmt.Fprintln(io.Out, "Of every alarm of the last two days that is over it is known what it was.")
	}
	return nil
}
