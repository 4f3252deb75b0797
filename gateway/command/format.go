package command

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"millwarden/internal/diag"
	"millwarden/rules/syntax"
)

// formatRules writes a rules file in the one layout. A file that does not parse is left alone.
func formatRules(_ context.Context, std IO, args []string) error {
	f := flags("format", std)
	only := f.Bool("check", false, "write nothing; exit 1 if the file is not in the one layout")
	words, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(words) != 1 {
		return fmt.Errorf("%w: it takes one rules file", errUse)
	}
	file, before, err := parseFile(std, words[0])
	if err != nil {
		return err
	}
	after := syntax.Format(file)
	switch {
	case bytes.Equal(before, after):
		fmt.Fprintf(std.Out, "%s is in the one layout\n", words[0])
		return nil
	case *only:
		fmt.Fprintf(std.Out, "%s is not in the one layout; `millwarden format %s` writes it\n", words[0], words[0])
		return errFaults
	}
	if err := replaceFile(words[0], before, after); err != nil {
		return err
	}
	fmt.Fprintf(std.Out, "%s was written in the one layout\n", words[0])
	return nil
}

// parseFile reads one file of rules; mistakes of writing are printed, and refuse it.
func parseFile(std IO, name string) (*syntax.File, []byte, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, nil, fmt.Errorf("reading the rules file: %w", err)
	}
	file, said := syntax.Parse(filepath.Base(name), string(text))
	if !said.HasErrors() {
		return file, text, nil
	}
	if err := said.Print(std.Err, diag.Sources{file.Name: file.Text}); err != nil {
		return nil, nil, err
	}
	return nil, nil, fmt.Errorf("%s has faults, see above: nothing was changed", name)
}

// errChanged tells that somebody else wrote the file meanwhile.
var errChanged = errors.New("the file was changed meanwhile, nothing was written: look at it and try again")

// replaceFile writes a file whole under another name, syncs it and renames it over the old one, so that a power cut leaves the one or the other.
// It refuses if the file is not as it was read.
func replaceFile(name string, before, after []byte) (err error) {
	if target, linkErr := filepath.EvalSymlinks(name); linkErr == nil {
		name = target // the file is replaced, not the link to it
	}
	info, err := os.Stat(name)
	if err != nil {
		return fmt.Errorf("writing the rules file: %w", err)
	}
	temporary, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+"-")
	if err != nil {
		return fmt.Errorf("writing the rules file: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(temporary.Name()))
		}
	}()
	_, err = temporary.Write(after)
	err = errors.Join(err, keepOwner(temporary, info), temporary.Chmod(info.Mode().Perm()), temporary.Sync(), temporary.Close())
	if err != nil {
		return fmt.Errorf("writing the rules file: %w", err)
	}
	if now, readErr := os.ReadFile(name); readErr != nil || !bytes.Equal(now, before) {
		return errors.Join(errChanged, readErr)
	}
	if err := os.Rename(temporary.Name(), name); err != nil {
		return fmt.Errorf("writing the rules file: %w", err)
	}
	return syncFolder(filepath.Dir(name))
}

// syncFolder makes the new name durable [rename(2), fsync(2): the folder needs its own sync].
func syncFolder(name string) error {
	folder, err := os.Open(name)
	if err != nil {
		return fmt.Errorf("syncing the folder of the rules file: %w", err)
	}
	return errors.Join(folder.Sync(), folder.Close())
}
