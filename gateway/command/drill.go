package command

import (
	"cmp"
	"context"
	"fmt"
)

// drill sends a test message the whole way of a call. The answer, and how long it took, stand in the logbook and on the page.
func drill(ctx context.Context, io IO, args []string) error {
	var by *string
	g, words, err := ask("drill", io, args, func(f flagSet) { by = f.String("by", "", "who holds the drill: a person of the rules file") })
	if err != nil {
		return err
	}
	if len(words) > 1 || *by == "" {
		return fmt.Errorf("%w: it needs --by and at most one person to call, for example: ben --by ana", errUse)
	}
	person := *by
	if len(words) == 1 {
		person = cmp.Or(words[0], person)
	}
	if err := g.post(ctx, "/api/acts", map[string]any{"do": "drill", "person": person, "by": *by}); err != nil {
		return err
	}
	fmt.Fprintf(io.Out, "EXERCISE: %s is being called by all channels. The logbook says when each took the message and when it was answered.\n", person)
	return nil
}
