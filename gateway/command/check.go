package command

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"

	"millwarden/drivers/catalog"
	"millwarden/gateway/floor"
	"millwarden/internal/diag"
	"millwarden/internal/phrase"
	"millwarden/rules"
	"millwarden/rules/standard"
)

// vocabulary is what parts, buses and channels of this version declare.
func vocabulary() ([]phrase.Declaration, error) {
	return phrase.Parse(catalog.Text() + floor.ChannelDeclares())
}

// loaded is a rules file as found, good or not.
type loaded struct {
	plan    *rules.Plan
	said    diag.List
	sources diag.Sources
}

var errNoRules = errors.New("there is no rules file")

// loadRules reads and checks a rules file with what it includes.
func loadRules(file string) (loaded, error) {
	words, err := vocabulary()
	if err != nil {
		return loaded{}, fmt.Errorf("the declarations of this version: %w", err)
	}
	if _, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) {
		return loaded{}, fmt.Errorf("%w %s", errNoRules, file)
	} else if err != nil {
		return loaded{}, fmt.Errorf("reading the rules file: %w", err)
	}
	return loadFrom(os.DirFS(filepath.Dir(file)), filepath.Base(file), words)
}

func loadFrom(folder fs.FS, name string, words []phrase.Declaration) (loaded, error) {
	plan, said, sources := rules.Load(folder, name, words)
	return loaded{plan, said, sources}, nil
}

func checkRules(_ context.Context, io IO, args []string) error {
	f := flags("check", io)
	asJSON := f.Bool("json", false, "one JSON object a line, for tools")
	notes := f.Bool("notes", false, "also which built-in alarms are not watched, for lack of a probe")
	words, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(words) != 1 {
		return fmt.Errorf("%w: it takes one rules file", errUse)
	}
	defer debug.SetGCPercent(debug.SetGCPercent(rules.OnceGC))
	l, err := loadRules(words[0])
	if err != nil {
		return err
	}
	hidden := 0
	if !*notes {
		hidden = l.hideNotes()
	}
	if err := l.print(io, *asJSON); err != nil {
		return err
	}
	if l.said.HasErrors() {
		return errFaults
	}
	if !*asJSON {
		fmt.Fprintf(io.Out, "%s is good: %d stations, %d probes, %d alarms\n", words[0], len(l.plan.Stations), len(l.plan.Probes), len(l.plan.Engine.Alarms))
		if hidden > 0 {
			fmt.Fprintf(io.Out, "%d built-in alarms find no probe for what they watch; --notes lists them\n", hidden)
		}
	}
	return nil
}

// warnings counts what is legal but unwise.
func (l *loaded) warnings() (count int) {
	for _, d := range l.said {
		if d.Severity == diag.Warning {
			count++
		}
	}
	return count
}

// hideNotes leaves out what is noted about built-in files, and counts it: nobody can mend it there.
func (l *loaded) hideNotes() int {
	before := len(l.said)
	l.said = slices.DeleteFunc(l.said, func(d diag.Diagnostic) bool {
		return d.Severity == diag.Note && strings.HasPrefix(d.Subject.File, standard.Prefix)
	})
	return before - len(l.said)
}

// said in JSON, one object a line.
type saidLine struct {
	File     string `json:"file"`
	Line     int    `json:"line"`
	Column   int    `json:"column"`
	Width    int    `json:"width"`
	Severity string `json:"severity"`
	Code     string `json:"code"`
	Summary  string `json:"summary"`
	Detail   string `json:"detail,omitempty"`
}

func (l loaded) print(io IO, asJSON bool) error {
	if !asJSON {
		return l.said.Print(io.Out, l.sources)
	}
	encoder := json.NewEncoder(io.Out)
	var errs []error
	for _, d := range l.said {
		errs = append(errs, encoder.Encode(saidLine{d.Subject.File, d.Subject.Line, d.Subject.Column, d.Subject.Width, d.Severity.String(), d.Code, d.Summary, d.Detail}))
	}
	return errors.Join(errs...)
}
