// Package diag is what a checker says: a position, a diagnostic, a sorted list, and its printing with the source line under it.
// It knows nothing about the language it speaks of.
//
// Concurrency: values; a List is filled by one goroutine.
package diag

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
)

// Severity orders what is said. Only an Error refuses the file.
type Severity uint8

const (
	Error Severity = iota
	Warning
	Note
)

func (s Severity) String() string { return [...]string{"error", "warning", "note"}[s] }

// Position is a place in a file. Line and Column count from 1; Column counts characters as a person does, Byte counts bytes from 0
// from the start of the file.
type Position struct {
	File   string
	Line   int
	Column int
	Byte   int
}

func (p Position) String() string { return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column) }

// Valid tells whether the position was set.
func (p Position) Valid() bool { return p.Line > 0 }

// Range is a stretch of one line; Width counts characters.
type Range struct {
	Position
	Width int
}

// Diagnostic is one thing said about a file.
type Diagnostic struct {
	Severity Severity
	Code     string // number in the table of messages, for example "37" or "W5"
	Subject  Range  // what is marked
	Summary  string // one line: what is wrong
	Detail   string // what to do, may name a second place
}

// List collects what is said.
type List []Diagnostic

// HasErrors tells whether the file must be refused.
func (l List) HasErrors() bool {
	return slices.ContainsFunc(l, func(d Diagnostic) bool { return d.Severity == Error })
}

// Sort orders by file, line, column, then severity; the order of what was added decides between equals.
func (l List) Sort() {
	slices.SortStableFunc(l, func(a, b Diagnostic) int {
		return cmp.Or(cmp.Compare(a.Subject.File, b.Subject.File), cmp.Compare(a.Subject.Line, b.Subject.Line),
			cmp.Compare(a.Subject.Column, b.Subject.Column), cmp.Compare(a.Severity, b.Severity))
	})
}

// Sources gives the text of a file by its name, so that the line can be printed.
type Sources map[string]string

// Line returns line n (from 1) of the file without its end, or "".
func (s Sources) Line(file string, n int) string {
	text := s[file]
	for i := 1; i < n; i++ {
		_, rest, found := strings.Cut(text, "\n")
		if !found {
			return ""
		}
		text = rest
	}
	line, _, _ := strings.Cut(text, "\n")
	return strings.TrimSuffix(line, "\r")
}

// Most is how many diagnostics Print writes before it only counts. Chosen: nobody reads more in one go, and the first hundred mistakes
// cause the rest.
const Most = 100

// Print writes each diagnostic with its source line and a mark under the words meant; beyond Most of them, how many more there are.
func (l List) Print(w io.Writer, sources Sources) error {
	for i, d := range l {
		if i == Most {
			_, err := fmt.Fprintf(w, "and %d more\n", len(l)-Most)
			return err
		}
		if err := d.print(w, sources); err != nil {
			return err
		}
	}
	return nil
}

func (d Diagnostic) print(w io.Writer, sources Sources) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s: %s\n", d.Subject.Position, d.Severity, d.Summary)
	if line := sources.Line(d.Subject.File, d.Subject.Line); line != "" {
		number := fmt.Sprintf("%5d", d.Subject.Line)
		fmt.Fprintf(&b, "%s | %s\n", number, strings.ReplaceAll(line, "\t", " "))
		fmt.Fprintf(&b, "%s | %s%s\n", strings.Repeat(" ", len(number)), strings.Repeat(" ", max(0, d.Subject.Column-1)),
			strings.Repeat("^", max(1, d.Subject.Width)))
	}
	if d.Detail != "" {
		fmt.Fprintf(&b, "   %s\n", d.Detail)
	}
	_, err := io.WriteString(w, b.String())
	return err
}
