package command

import (
	"context"
	"flag"
	"os"
	"os/signal"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "write what the commands print into the scripts")

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"millwarden": func() {
			ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
			defer stop()
			os.Exit(Main(ctx, os.Args[1:], IO{In: os.Stdin, Out: os.Stdout, Err: os.Stderr}))
		},
	})
}

// The command line, each script a text archive: what is typed, the files it needs, and everything that must be printed.
func TestScripts(t *testing.T) {
	nights, err := filepath.Abs("../../testdata/nights")
	if err != nil {
		t.Fatal(err)
	}
	setup := func(e *testscript.Env) error {
		e.Setenv("NIGHTS", nights)
		return nil
	}
	testscript.Run(t, testscript.Params{Dir: "../../testdata/script", Setup: setup, UpdateScripts: *update, RequireExplicitExec: true, RequireUniqueNames: true})
}
