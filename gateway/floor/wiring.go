package floor

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"millwarden/drivers/scan"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/diag"
	"millwarden/rules/syntax"
)

// Scan looks what is wired to the board. Nothing is sent to what stands in the rules; a bus is shared with its worker by the kernel, exchange by exchange.
func (b books) Scan(ctx context.Context, by string) (web.Wired, error) {
	if !b.f.scanning.TryLock() {
		return web.Wired{}, &web.Refusal{Kind: web.RefusedState, Says: "Somebody is looking already. Wait a moment and try again."}
	}
	defer b.f.scanning.Unlock()
	open := b.f.o.Wires
	if open == nil {
		open = func() (scan.Host, []string, func()) { return Wires("") }
	}
	host, notes, done := open()
	defer done()
	found, err := scan.Run(ctx, Spare(host, b.f.plan().Plan))
	if err != nil {
		return web.Wired{}, &web.Refusal{Kind: web.RefusedState, Says: "The buses did not answer in time. Ask one of them at a time on the board, with millwarden scan."}
	}
	wired := web.Wired{Found: make([]web.Found, 0, len(found)), Notes: append([]string{}, notes...)}
	free := 0
	for _, f := range found {
		wired.Found = append(wired.Found, web.Found{Bus: f.Bus, Place: f.Place, What: f.What, Parts: f.Parts, Sure: string(f.Sure), Why: f.Why, Known: f.Known, Left: f.Left, Block: f.Block})
		if f.Known == "" {
			free++
		}
	}
	b.f.write(logbook.Entry{Kind: logbook.Act, Who: by, Text: fmt.Sprintf("looked what is wired: %d found, %d of them in no rule", len(found), free)})
	return wired, nil
}

// CheckProbe says what the checker says if the main rules file had one probe more.
func (b books) CheckProbe(block string) (web.ProbeSaid, error) {
	e, err := b.editor()
	if err != nil {
		return web.ProbeSaid{}, err
	}
	_, said, err := withProbe(e, block)
	return said, err
}

// AddProbe writes it, and takes it over by Reload: the way of `millwarden probe add`.
func (b books) AddProbe(ctx context.Context, p web.NewProbe) (web.ProbeSaid, error) {
	e, err := b.editor()
	if err != nil {
		return web.ProbeSaid{}, err
	}
	edit, said, err := withProbe(e, p.Block)
	if err != nil || slices.ContainsFunc(said.Said, isError) {
		return said, err
	}
	edit.By = p.By
	left, err := b.SaveRules(ctx, edit)
	if err != nil {
		return said, err
	}
	said.Done = !slices.ContainsFunc(left, isError)
	return said, nil
}

func isError(s web.Said) bool { return s.Severity == diag.Error.String() }

// withProbe is the main file with a probe more, and what the checker says to it. What it says of the block counts in the block as it is printed.
func withProbe(e RulesEditor, block string) (web.Edit, web.ProbeSaid, error) {
	names, texts, err := e.Texts()
	if err != nil {
		return web.Edit{}, web.ProbeSaid{}, err
	}
	edit := web.Edit{Name: names[0], Was: texts[0]}
	one, list := syntax.Parse("", block)
	if len(list) > 0 {
		return edit, web.ProbeSaid{Block: block, Said: saidOf(list)}, nil
	}
	if len(one.Blocks) != 1 || one.Blocks[0].Word.Word() != "probe" {
		return edit, web.ProbeSaid{}, &web.Refusal{Kind: web.RefusedInput, Says: "Write one block that begins with probe and its name."}
	}
	file, _ := syntax.Parse(names[0], texts[0])
	if edit.Text, err = syntax.Add(file, block); err != nil {
		return edit, web.ProbeSaid{}, &web.Refusal{Kind: web.RefusedState, Says: "The rules file has faults of its own: mend it first. " + err.Error()}
	}
	printed := string(syntax.Format(one))
	said := web.ProbeSaid{Block: printed, Name: one.Blocks[0].Name.Word(), Said: []web.Said{}}
	checked, err := e.Check(names[0], edit.Text)
	if err != nil {
		return edit, said, err
	}
	before, _, _ := strings.Cut(strings.ReplaceAll(edit.Text, "\r\n", "\n"), printed)
	above, lines := strings.Count(before, "\n"), strings.Count(printed, "\n")
	for _, s := range saidOf(checked) {
		if s.File == names[0] && s.Line > above && s.Line <= above+lines {
			s.File, s.Line = "", s.Line-above
		}
		if s.File == "" || isError(s) { // warnings of the rest were there before
			said.Said = append(said.Said, s)
		}
	}
	return edit, said, nil
}
