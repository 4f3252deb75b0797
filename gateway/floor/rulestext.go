package floor

import (
	"context"

	"millwarden/gateway/web"
	"millwarden/internal/diag"
)

// RulesEditor is a RulesFile that can also be changed by the page. Names are those of the plan's files, relative to the main file's folder.
type RulesEditor interface {
	// Texts gives the site's own files, the main one first.
	Texts() (names, texts []string, err error)
	// Check says what the checker says with another text in a file's place.
	Check(name, text string) (diag.List, error)
	// Write puts a text that checks in the place of one that still reads as was; it fails with a list that has errors, or an error.
	Write(name, was, text string) (diag.List, error)
}

func (b books) editor() (RulesEditor, error) {
	if e, can := b.f.o.Rules.(RulesEditor); can {
		return e, nil
	}
	return nil, &web.Refusal{Kind: web.RefusedState, Says: "The rules of this gateway cannot be changed here."}
}

// Rules gives the site's own rules files.
func (b books) Rules() (web.Rules, error) {
	e, err := b.editor()
	if err != nil {
		return web.Rules{}, err
	}
	names, texts, err := e.Texts()
	if err != nil {
		return web.Rules{}, err
	}
	r := web.Rules{Files: []web.RulesFile{}, Hash: b.f.plan().Hash}
	for i, name := range names {
		r.Files = append(r.Files, web.RulesFile{Name: name, Text: texts[i]})
	}
	return r, nil
}

// CheckRules says what the checker says if one file had another text.
func (b books) CheckRules(name, text string) ([]web.Said, error) {
	e, err := b.editor()
	if err != nil {
		return nil, err
	}
	said, err := e.Check(name, text)
	return saidOf(said), err
}

// SaveRules writes a file that checks, and takes it over by Reload.
func (b books) SaveRules(ctx context.Context, edit web.Edit) ([]web.Said, error) {
	e, err := b.editor()
	if err != nil {
		return nil, err
	}
	said, err := e.Write(edit.Name, edit.Was, edit.Text)
	if err != nil || said.HasErrors() {
		return saidOf(said), err
	}
	if err := b.f.Reload(ctx, edit.By); err != nil {
		return saidOf(said), &web.Refusal{Kind: web.RefusedState, Says: "It was written, but the old rules stay in force: " + err.Error()}
	}
	return saidOf(said), nil
}

// saidOf leaves out notes: which built-in alarms find no probe is told by the register.
func saidOf(list diag.List) []web.Said {
	said := make([]web.Said, 0, len(list))
	for i := range list {
		if d := &list[i]; d.Severity != diag.Note {
			said = append(said, web.Said{Severity: d.Severity.String(), File: d.Subject.File, Line: d.Subject.Line, Column: d.Subject.Column, Width: d.Subject.Width,
				Summary: d.Summary, Detail: d.Detail})
		}
	}
	return said
}
