package command

import (
	"context"
	"fmt"
	"runtime"
	"runtime/debug"
)

// Version and SupportEnd are set when a release is built (-ldflags -X).
var (
	Version    = "development"
	SupportEnd = "no release: not supported"
)

func version(_ context.Context, io IO, args []string) error {
	if _, err := parse(flags("version", io), args); err != nil {
		return err
	}
	revision := ""
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" {
				revision = " " + s.Value
			}
		}
	}
	fmt.Fprintf(io.Out, "millwarden %s%s (%s %s/%s)\nsupported until: %s\n", Version, revision, runtime.Version(), runtime.GOOS, runtime.GOARCH, SupportEnd)
	return nil
}
