package command

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	"millwarden/gateway/callout"
	"millwarden/gateway/floor"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/estate"
	"millwarden/rules/check"
)

const demoSaid = "Demo: an invented estate. Only the buses are simulated; the program is the real one."

// The demo begins at six in the evening of a harvest day at Fern Hollow (UTC-5).
var demoBegins = time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC)

func demo(ctx context.Context, io IO, args []string) error {
	f := flags("demo", io)
	speed := f.Float64("speed", 30, "how fast time runs: 60 is an hour each minute; 1 to 600")
	listen := f.String("listen", web.DefaultListen, "where the page is served")
	data := f.String("data", "", "folder to keep; without it one is made and thrown away")
	verbose := f.Bool("verbose", false, "log what the gateway does")
	if words, err := parse(f, args); err != nil {
		return err
	} else if len(words) > 0 || *speed < 1 || *speed > 600 {
		return fmt.Errorf("%w: speed goes from 1 to 600", errUse)
	}
	folder, throwAway, err := demoFolder(*data)
	if err != nil {
		return err
	}
	defer throwAway()
	mill, world, err := openDemo(io, folder, *listen, *speed, *verbose, estate.Night())
	if err != nil {
		return err
	}
	fmt.Fprintf(io.Out, "Fern Hollow, an invented estate, is at http://%s\nAn hour passes in %s. Within minutes a stick in bin 2 falls silent, the dryer's fan stops, tank 1 sours.\n"+
		"Messages to the crew are printed here. Type help to see what else may befall it. Ctrl-C ends it.\n\n", *listen, time.Duration(float64(time.Hour) / *speed).Round(time.Second))
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	go world.Run(ctx) //nolint:errcheck // it ends with ctx, and only then
	go world.befall(io)
	go openBrowser(ctx, "http://"+*listen)
	return closeAfter(mill, mill.Run(ctx))
}

func openDemo(io IO, folder, listen string, speed float64, verbose bool, faults []estate.Fault) (*floor.Floor, *stage, error) {
	words, err := vocabulary()
	if err != nil {
		return nil, nil, err
	}
	file, err := demoRules(folder)
	if err != nil {
		return nil, nil, err
	}
	l, err := loadFrom(os.DirFS(folder), filepath.Base(file), words)
	if err != nil {
		return nil, nil, err
	}
	if l.said.HasErrors() {
		return nil, nil, errors.Join(l.said.Print(io.Err, l.sources), errors.New("the demo's rules file has faults"))
	}
	fmt.Fprintln(io.Out, "Writing the past of the estate: some seconds.")
	if err := demoPast(folder, l.plan); err != nil {
		return nil, nil, err
	}
	fmt.Fprintf(io.Out, "The rules file is %s: what is saved there takes effect at once.\n", file)
	c := &clock.Stepped{Scaled: clock.Scaled{Start: demoBegins, Begun: time.Now(), Speed: speed}}
	world := &stage{estate.New(c.Scaled, estate.NewTruth(18, 1), faults), c}
	log := slog.New(slog.DiscardHandler)
	if verbose {
		log = slog.New(slog.NewTextHandler(io.Err, nil))
	}
	mill, err := floor.Open(floor.Options{Plan: l.plan, Data: folder, Drivers: knownDrivers(), OpenBus: world.OpenBus, Wires: world.Wires, Radio: world.Sticks(), Listen: listen, Log: log, Version: Version,
		Open: true, Demo: demoSaid, Speed: speed, Channels: map[string]callout.Channel{"mail": phones{io}},
		Clock: func(boot uint32) clock.Clock { c.Boot = boot; return c }, Rules: watch(file, l.plan)})
	return mill, world, err
}

// demoPast writes what was before the demo begins: a lot that went its whole way, and what stands on the stations.
func demoPast(folder string, plan *check.Plan) error {
	if _, err := os.Stat(filepath.Join(folder, logbookFile)); err == nil {
		return nil // it was begun before
	}
	return errors.Join(estate.Finish(folder, plan, demoBegins), estate.Begin(folder, demoBegins), estate.Lately(folder, plan, demoBegins))
}

// demoRules writes the demo's rules file into the folder, unless there is one that somebody has changed.
func demoRules(folder string) (string, error) {
	file := filepath.Join(folder, "fern-hollow.rules")
	if _, err := os.Stat(file); err == nil {
		return file, nil
	}
	text, err := estate.Files.ReadFile(estate.RulesFile)
	if err != nil {
		return "", err
	}
	return file, os.WriteFile(file, text, 0o600)
}

func demoFolder(data string) (folder string, throwAway func(), err error) {
	if data != "" {
		return data, func() {}, os.MkdirAll(data, 0o750)
	}
	folder, err = os.MkdirTemp("", "millwarden-demo-")
	return folder, func() { _ = os.RemoveAll(folder) }, err // what stays of it is in the system's own folder for such things
}

// phones are the crew's phones in the demo: what they get is printed.
type phones struct{ io IO }

func (p phones) Send(_ context.Context, m callout.Message) error {
	answer := ""
	if m.Link != "" {
		answer = "\n    answers: " + m.Link
	}
	_, err := fmt.Fprintf(p.io.Out, "message to %s: %s%s\n", m.To.Title, m.Text, answer)
	return err
}

// openBrowser opens the page where there is a desktop.
func openBrowser(ctx context.Context, address string) {
	if os.Getenv("DISPLAY") == "" && os.Getenv("WAYLAND_DISPLAY") == "" {
		return
	}
	select {
	case <-time.After(time.Second): // the page listens by then
	case <-ctx.Done():
		return
	}
	_ = exec.CommandContext(ctx, "xdg-open", address).Run() // the address stands in the terminal too
}

// closeAfter closes the mill and keeps both errors.
func closeAfter(mill *floor.Floor, err error) error { return errors.Join(err, mill.Close()) }
