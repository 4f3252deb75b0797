package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"millwarden/gateway/web"
	"millwarden/internal/diag"
	"millwarden/rules/standard"
	"millwarden/rules/syntax"
)

// longestBlock bounds a probe block that is typed or piped in. Chosen: a hundred times the longest of the examples.
const longestBlock = 64 << 10

// probe adds a probe block to the rules file, as `scan` prints it or a person types it.
func probe(ctx context.Context, std IO, args []string) error {
	f := flags("probe", std)
	file := f.String("rules", defaultRules, "the rules file, or one that it includes with --main")
	main := f.String("main", "", "the main rules file, where --rules is one that it includes")
	from := f.String("block", "-", "file that holds the probe block; - reads it from here")
	through := writingFlags(f)
	words, err := parse(f, args)
	if err != nil {
		return err
	}
	if !slices.Equal(words, []string{"add"}) {
		return fmt.Errorf("%w: write probe add, and the block on standard input or with --block FILE", errUse)
	}
	block, err := readBlock(std, *from)
	if err != nil {
		return err
	}
	parsed, before, err := parseFile(std, *file)
	if err != nil {
		return err
	}
	if one, said := syntax.Parse("the new block", block); !said.HasErrors() && (len(one.Blocks) != 1 || one.Blocks[0].Word.Word() != "probe") {
		return fmt.Errorf("%w: it takes one block that begins with probe NAME", errUse)
	}
	after, err := syntax.Add(parsed, block)
	if err != nil {
		return err
	}
	return writeChecked(ctx, std, *file, *main, before, after, through)
}

func readBlock(std IO, from string) (string, error) {
	source := std.In
	if from != "-" {
		file, err := os.Open(from)
		if err != nil {
			return "", fmt.Errorf("reading the block: %w", err)
		}
		defer file.Close() //nolint:errcheck // it was only read
		source = file
	}
	text, err := io.ReadAll(io.LimitReader(source, longestBlock+1))
	if err != nil {
		return "", fmt.Errorf("reading the block: %w", err)
	}
	if len(text) > longestBlock {
		return "", fmt.Errorf("the block is longer than %d bytes", longestBlock)
	}
	return string(text), nil
}

// limit changes a named limit: the override that stands already, else a new one. Built-in files are never edited.
func limit(ctx context.Context, std IO, args []string) error {
	f := flags("limit", std)
	file := f.String("rules", defaultRules, "the rules file, or one that it includes with --main")
	main := f.String("main", "", "the main rules file, where --rules is one that it includes")
	at := f.String("at", "", "station for which it holds; without it, the whole site")
	because := f.String("because", "", "why; it stands in the register")
	through := writingFlags(f)
	words, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(words) < 3 || words[0] != "set" {
		return fmt.Errorf("%w: write for example: limit set over-fermented-ph 4.3 pH --because \"the buyer's wish\"", errUse)
	}
	name, amount := words[1], strings.Join(words[2:], " ")
	parsed, before, err := parseFile(std, *file)
	if err != nil {
		return err
	}
	after, err := setLimit(parsed, name, *at, amount, *because)
	if err != nil {
		return err
	}
	return writeChecked(ctx, std, *file, *main, before, after, through)
}

// setLimit gives the text with the limit changed; an override already there is changed, not doubled.
func setLimit(file *syntax.File, name, at, amount, because string) (string, error) {
	var text string
	if b := limitBlock(file, name, at); b == nil {
		block := "limit " + name
		if at != "" {
			block += " at " + at
		}
		var err error
		if text, err = syntax.Add(file, block+" "+amount+"\n"); err != nil {
			return "", err
		}
	} else {
		var err error
		if text, err = syntax.SetAmount(file, b, amount); err != nil {
			return "", err
		}
	}
	if because == "" {
		return text, nil
	}
	again, said := syntax.Parse(file.Name, text)
	b := limitBlock(again, name, at)
	if said.HasErrors() || b == nil {
		return "", fmt.Errorf("%q cannot be the amount of a limit", amount)
	}
	return syntax.SetLine(again, b, "because", quoted(because))
}

var escapes = strings.NewReplacer(`\`, `\\`, `"`, `\"`)

func quoted(text string) string { return `"` + escapes.Replace(text) + `"` }

// limitBlock is the block that sets a limit at just that place; nil: none does.
func limitBlock(file *syntax.File, name, at string) *syntax.Block {
	for _, b := range file.Blocks {
		if b.Word.Word() != "limit" || b.Name.Word() != name || len(b.Scope.Each) > 0 {
			continue
		}
		if at == "" && len(b.Scope.At) == 0 || len(b.Scope.At) == 1 && b.Scope.At[0].Word() == at {
			return b
		}
	}
	return nil
}

// writing is by whom a file is changed, and the gateway that writes it down; without a name the file is written here, and a gateway that watches it takes it over.
type writing struct{ by, address, data *string }

func writingFlags(f flagSet) writing {
	return writing{f.String("by", "", "who changes it: a person of the rules file; the running gateway then writes the file, and who and what into the logbook"),
		f.String("gateway", "", "with --by: address of the gateway's page; without it, the socket in its data folder"), f.String("data", defaultData, "with --by: the gateway's data folder")}
}

// write puts the new text in the place of the old one.
func (c writing) write(ctx context.Context, file, inside string, before []byte, after string) error {
	if *c.by == "" {
		return replaceFile(file, before, []byte(after))
	}
	var done struct {
		Said []web.Said `json:"said"`
		Done bool       `json:"done"`
	}
	err := gatewayAt(*c.address, *c.data).postFor(ctx, "/api/rules", web.Edit{Name: inside, Was: string(before), Text: after, By: *c.by}, &done)
	switch {
	case err != nil:
		return fmt.Errorf("%w\nnothing was written; without --by the file is written here, and the logbook tells no name", err)
	case !done.Done && len(done.Said) > 0:
		return fmt.Errorf("the gateway refuses it: %s:%d: %s", done.Said[0].File, done.Said[0].Line, done.Said[0].Summary)
	case !done.Done:
		return errors.New("the gateway did not take it over")
	}
	return nil
}

// writeChecked writes the edited file if the site, with it in its place, has no fault.
func writeChecked(ctx context.Context, std IO, file, main string, before []byte, after string, through writing) error {
	if main == "" {
		main = file
	}
	folder := filepath.Dir(main)
	inside, err := filepath.Rel(folder, file)
	if err != nil || !filepath.IsLocal(inside) {
		return fmt.Errorf("%w: %s does not lie below the folder of %s", errUse, file, main)
	}
	words, err := vocabulary()
	if err != nil {
		return err
	}
	l, err := loadFrom(texts{os.DirFS(folder), map[string]string{filepath.ToSlash(inside): after}}, filepath.Base(main), words)
	if err != nil {
		return err
	}
	l.hideNotes()
	l.said = slices.DeleteFunc(l.said, func(d diag.Diagnostic) bool {
		return d.Severity != diag.Error && strings.HasPrefix(d.Subject.File, standard.Prefix)
	})
	if err := l.said.Print(std.Err, l.sources); err != nil {
		return err
	}
	if l.said.HasErrors() {
		return fmt.Errorf("with this change the rules have faults, see above: nothing was written")
	}
	if !slices.Contains(l.plan.Files, filepath.ToSlash(inside)) {
		return fmt.Errorf("%w: %s does not include %s", errUse, main, inside)
	}
	if err := through.write(ctx, file, filepath.ToSlash(inside), before, after); err != nil {
		return err
	}
	fmt.Fprintf(std.Out, "%s was written: %d probes, %d alarms\n", file, len(l.plan.Probes), len(l.plan.Engine.Alarms))
	return nil
}
