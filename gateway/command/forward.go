package command

import (
	"context"
	"fmt"
	"log/slog"

	"millwarden/gateway/floor"
)

// forwardReadings is the forwarder as a process of its own, on a server near the store. Site, broker and store come from the same rules file as
// the gateway's, which then runs with --no-forward.
func forwardReadings(ctx context.Context, io IO, args []string) error {
	f := flags("forward", io)
	file := f.String("rules", defaultRules, "the rules file: its site, broker and store count")
	rejects := f.String("rejects", "", "file for the readings that the store refuses")
	credentials := f.String("credentials", credentialsFolder(), "folder of the credentials that the rules file names")
	if words, err := parse(f, args); err != nil {
		return err
	} else if len(words) > 0 {
		return fmt.Errorf("%w: %q is too much here", errUse, words[0])
	}
	l, err := loadRules(*file)
	if err != nil {
		return err
	}
	if l.said.HasErrors() {
		if err := l.said.Print(io.Err, l.sources); err != nil {
			return err
		}
		return fmt.Errorf("%s has faults, see above: nothing was started", *file)
	}
	forwarder, err := floor.Forwarder(l.plan, credentialFrom(*credentials), *rejects, slog.New(slog.NewTextHandler(io.Err, nil)))
	if err != nil {
		return err
	}
	return forwarder.Run(ctx)
}
