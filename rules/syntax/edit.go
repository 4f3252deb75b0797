package syntax

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// ErrFaulty is why a file with mistakes of writing is not edited by machine: nobody could say what would come of it.
var ErrFaulty = errors.New("the file has mistakes")

// Add gives the file's text with a new block in it: behind the last block of its word at the same station, else behind the last of its
// word, else at the end. The block is printed in the one layout; all else stays byte for byte.
func Add(f *File, block string) (string, error) {
	added, printed, err := printBlock(f, block)
	if err != nil {
		return "", err
	}
	var behind *Block
	for _, b := range f.Blocks {
		if b.Word.Word() != added.Word.Word() {
			continue
		}
		if behind == nil || stationOf(b) == stationOf(added) || stationOf(behind) != stationOf(added) {
			behind = b
		}
	}
	at := len(f.Text)
	if behind != nil {
		_, at = f.extent(behind)
	}
	before, after := f.Text[:at], f.Text[at:]
	if before != "" && !strings.HasSuffix(before, "\n") {
		before += f.newline()
	}
	alike := behind != nil && len(behind.Lines) == 0 && len(added.Lines) == 0
	if before != "" && !alike && !endsBlank(before) {
		before += f.newline()
	}
	if first, _, _ := strings.Cut(after, "\n"); after != "" && !alike && strings.TrimSpace(first) != "" {
		printed += f.newline()
	}
	return before + printed + after, nil
}

// Replace gives the file's text with another block in the place of b, printed in the one layout; all else stays byte for byte.
func Replace(f *File, b *Block, block string) (string, error) {
	_, printed, err := printBlock(f, block)
	if err != nil {
		return "", err
	}
	from, to := f.extent(b)
	return f.Text[:from] + printed + f.Text[to:], nil
}

// SetLine gives the file's text with the line of that key in b changed, or put behind its other lines. The line's comments stay.
func SetLine(f *File, b *Block, key, value string) (string, error) {
	from, to := f.extent(b)
	rows := strings.SplitAfter(f.Text[from:to], "\n")
	line := "    " + key + " " + value
	found := b.Find(key)
	if len(found) > 1 {
		return "", fmt.Errorf("edit: %s: %s stands %d times", b.Title(), key, len(found))
	}
	if len(found) == 0 {
		return Replace(f, b, strings.TrimRight(strings.Join(rows, ""), "\r\n")+"\n"+line+"\n")
	}
	first, last := found[0].Key.Line(), found[0].lastLine()
	var above []string
	for _, c := range f.Comments {
		switch {
		case c.Line < first || c.Line > last:
		case !c.Own && !strings.Contains(line, "  #"):
			line += "  " + c.Text
		default:
			above = append(above, "    "+c.Text+"\n")
		}
	}
	top := b.Word.Line()
	rows = slices.Replace(rows, first-top, last-top+1, append(above, line+"\n")...)
	return Replace(f, b, strings.Join(rows, ""))
}

// SetAmount gives the file's text with another amount in the header of a limit.
func SetAmount(f *File, b *Block, amount string) (string, error) {
	if b.Amount == nil {
		return "", fmt.Errorf("edit: %s has no amount", b.Title())
	}
	from, to := f.extent(b)
	a := b.Amount.Measures
	start, last := a[0].Number, a[len(a)-1].Number
	if u := a[len(a)-1].Unit; u.Given() {
		last = u
	}
	return Replace(f, b, f.Text[from:start.at]+amount+f.Text[last.end():to])
}

// printBlock reads the text of one block and prints it with the file's ends of lines.
func printBlock(f *File, text string) (*Block, string, error) {
	if f.faulty {
		return nil, "", fmt.Errorf("edit: %s: %w", f.Name, ErrFaulty)
	}
	one, list := Parse("the new block", text)
	if len(list) > 0 {
		d := list[0]
		return nil, "", fmt.Errorf("edit: %s: %s. %s", d.Subject.Position, d.Summary, d.Detail)
	}
	if len(one.Blocks) != 1 {
		return nil, "", fmt.Errorf("edit: %d blocks, want one", len(one.Blocks))
	}
	printed := string(Format(one))
	if f.newline() != "\n" {
		printed = strings.ReplaceAll(printed, "\n", f.newline())
	}
	return one.Blocks[0], printed, nil
}

// newline is how the file ends its lines.
func (f *File) newline() string {
	if strings.Contains(f.Text, "\r\n") {
		return "\r\n"
	}
	return "\n"
}

func endsBlank(text string) bool {
	lines := strings.Split(text, "\n")
	return len(lines) > 1 && strings.TrimSpace(lines[len(lines)-2]) == ""
}

// extent is where a block stands: from the start of its header's line to behind the end of its last line.
func (f *File) extent(b *Block) (from, to int) {
	from = int(b.Word.at) // a header stands at the margin, or behind a byte order mark that stays
	last := b.Head[len(b.Head)-1]
	for _, l := range b.Lines {
		if t := l.lastToken(); t.at > last.at {
			last = t
		}
	}
	if i := strings.IndexByte(f.Text[last.at:], '\n'); i >= 0 {
		return from, int(last.at) + i + 1
	}
	return from, len(f.Text)
}

func (l *Line) lastToken() Token {
	if len(l.Tokens()) > 0 {
		return l.Tokens()[len(l.Tokens())-1]
	}
	return l.Key
}

func (l *Line) lastLine() int { return l.lastToken().Line() }

// stationOf is where a block belongs: the first station it names.
func stationOf(b *Block) string {
	if len(b.Scope.At) > 0 {
		return b.Scope.At[0].Word()
	}
	for _, l := range b.Find("gives") {
		if g, ok := l.Value.(*Gives); ok {
			return g.Station.Word()
		}
	}
	return ""
}
