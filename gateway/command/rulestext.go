package command

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"millwarden/gateway/web"
	"millwarden/internal/diag"
	"millwarden/rules/standard"
)

// Texts gives the site's own files, the main one first.
func (f *rulesFile) Texts() (names, texts []string, err error) {
	for _, name := range f.names() {
		text, err := os.ReadFile(filepath.Join(filepath.Dir(f.path), filepath.FromSlash(name)))
		if err != nil {
			return nil, nil, fmt.Errorf("reading the rules file: %w", err)
		}
		names, texts = append(names, name), append(texts, string(text))
	}
	return names, texts, nil
}

// names of the files in force, the main one first.
func (f *rulesFile) names() []string {
	f.mu.Lock()
	defer f.mu.Unlock()
	var list []string
	for name := range f.seen {
		list = append(list, name)
	}
	slices.Sort(list)
	main := filepath.Base(f.path)
	list = slices.DeleteFunc(list, func(n string) bool { return n == main })
	return slices.Insert(list, 0, main)
}

// Check says what the checker says with another text in a file's place. Only files of the plan in force can be named: no other is read or written.
func (f *rulesFile) Check(name, text string) (diag.List, error) {
	if !slices.Contains(f.names(), name) {
		return nil, &web.Refusal{Kind: web.RefusedUnknown, Says: fmt.Sprintf("The rules have no file %q.", name)}
	}
	words, err := vocabulary()
	if err != nil {
		return nil, err
	}
	l, err := loadFrom(texts{os.DirFS(filepath.Dir(f.path)), map[string]string{name: text}}, filepath.Base(f.path), words)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(l.said, func(d diag.Diagnostic) bool {
		return d.Severity != diag.Error && strings.HasPrefix(d.Subject.File, standard.Prefix)
	}), nil
}

// Write puts a text that checks in the place of one that still reads as was.
func (f *rulesFile) Write(name, was, text string) (diag.List, error) {
	said, err := f.Check(name, text)
	if err != nil || said.HasErrors() {
		return said, err
	}
	path := filepath.Join(filepath.Dir(f.path), filepath.FromSlash(name))
	before, err := os.ReadFile(path)
	if err != nil {
		return said, fmt.Errorf("reading the rules file: %w", err)
	}
	if string(before) != was {
		return said, &web.Refusal{Kind: web.RefusedSuperseded, Says: "Somebody else has changed the file meanwhile. Nothing was written: load it anew and write your change again."}
	}
	return said, replaceFile(path, before, []byte(text))
}
