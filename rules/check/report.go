package check

import (
	"fmt"

	"millwarden/internal/diag"
)

// maxMessages are printed; more would not be read.
const maxMessages = 100

// say adds one message; the same message about the same place is said once, whatever number of stations it holds for.
func (c *checker) say(number string, at diag.Range, known facts) {
	where := fmt.Sprintf("%s %s:%d:%d", number, at.File, at.Line, at.Column)
	if c.said[where] {
		return
	}
	c.said[where] = true
	c.list = append(c.list, compose(number, at, known))
}

// finish sorts the list, keeps one error a place and at most maxMessages.
func finish(list diag.List) diag.List {
	list.Sort()
	type place struct {
		file         string
		line, column int
	}
	seen := map[place]bool{}
	var kept diag.List
	for _, d := range list {
		p := place{d.Subject.File, d.Subject.Line, d.Subject.Column}
		if d.Severity == diag.Error && seen[p] {
			continue
		}
		seen[p] = seen[p] || d.Severity == diag.Error
		kept = append(kept, d)
	}
	if len(kept) > maxMessages {
		last := kept[maxMessages-1].Subject
		more := len(kept) - maxMessages
		kept = append(kept[:maxMessages:maxMessages], diag.Diagnostic{Severity: diag.Note, Code: "more", Subject: diag.Range{Position: last.Position, Width: last.Width},
			Summary: fmt.Sprintf("and %d more", more)})
	}
	return kept
}
