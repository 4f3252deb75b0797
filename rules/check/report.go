package check

import (
	"fmt"

	"millwarden/internal/diag"
)

// maxMessages are printed; more would not be read.
const maxMessages = 100

// say adds one message; the same message about the same place is said once, whatever number of stations it holds for.
func (c *checker) say(number string, at diag.Range, known facts) {
	if !at.Valid() {
		return // what should stand there does not, and the parser said so
	}
	where := fmt.Sprintf("%s %s:%d:%d", number, at.File, at.Line, at.Column)
	if messages[number].severity != diag.Error {
		where += known["alarm"]
	}
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
	if len(kept) <= maxMessages {
		return kept
	}
	shown := mostImportant(kept, maxMessages)
	last := shown[maxMessages-1]
	return append(shown, diag.Diagnostic{Severity: diag.Note, Code: "more", Subject: last.Subject, Summary: fmt.Sprintf("and %d more", len(kept)-maxMessages)})
}

// mostImportant keeps n of the list: errors before warnings before notes, in their order.
func mostImportant(list diag.List, n int) diag.List {
	left := n
	keep := make([]bool, len(list))
	for severity := diag.Error; severity <= diag.Note; severity++ {
		for i, d := range list {
			if d.Severity == severity && left > 0 {
				keep[i] = true
				left--
			}
		}
	}
	var kept diag.List
	for i, d := range list {
		if keep[i] {
			kept = append(kept, d)
		}
	}
	return kept
}

// Bounds of the floor, chosen in the language: ten times the largest estate the board was planned for.
const (
	maxStations = 1000
	maxProbes   = 4000
	maxPoints   = 8000
)

// checkBounds says which bound a file passes, at the block that passes it.
func (c *checker) checkBounds() {
	over := func(what string, n, most int, at diag.Range) {
		if n > most {
			c.say("75", at, facts{"what": what, "n": fmt.Sprint(n), "max": fmt.Sprint(most), "why": "Split the floor between two boards."})
		}
	}
	if n := len(c.order); n > maxStations {
		over("stations:", n, maxStations, c.order[n-1].Name.Where())
	}
	if n := len(c.probeList); n > maxProbes {
		over("probes:", n, maxProbes, c.probeList[n-1].Name.Where())
	}
	if n := len(c.pointList); n > maxPoints {
		over("points:", n, maxPoints, c.lastPointBlock().Name.Where())
	}
}

// lastPointBlock is the last block that makes points: a derived one, or a probe; without either, the site.
func (c *checker) lastPointBlock() *block {
	last := c.site
	for _, p := range c.pointList {
		switch {
		case p.block != nil:
			last = p.block
		case p.probe != nil:
			last = p.probe.block
		}
	}
	return last
}
