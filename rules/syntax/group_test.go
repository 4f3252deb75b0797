package syntax

import (
	"strings"
	"testing"
)

// TestParse_goesOn: each way in which the specification (section 1) lets a line go on in the next, and the ways in which it does not.
func TestParse_goesOn(t *testing.T) {
	declared := func(block, key string) bool { return block == "probe" && key == "channel" }
	for _, c := range []struct {
		name, text string
		keys       string // of the lines that come of it
	}{
		{"and begins the next", "alarm a at b\n  when c\n  and d\n  while e", "when while"},
		{"or begins the next, less deep", "alarm a at b\n    when c\n or d", "when"},
		{"an operator begins the next", "alarm a at b\n  when c\n  < d\n  + e", "when"},
		{"= is an operator", "alarm a at b\n  when c\n  = on", "when"},
		{"a comma begins the next", "alarm a at b\n  call c\n  , d", "call"},
		{"a closing parenthesis begins the next", "alarm a at b\n  when (c\n  )", "when"},
		{"a quote begins the next", "alarm a at b\n  note \"c\"\n  \"d\"", "note"},
		{"an operator ends it", "alarm a at b\n  when c <\n  while", "when"},
		{"a comma ends it", "alarm a at b\n  call c,\n  d", "call"},
		{"a semicolon ends it", "watch a\n  call c;\n  after 5 min d", "call after"},
		{"an opening parenthesis ends it", "alarm a at b\n  when (\n  c)", "when"},
		{"not ends it", "alarm a at b\n  when not\n  c", "when"},
		{"deeper and no key", "probe a\n  table 1 V is 2 V\n   over 3", "table"},
		{"deeper but a key", "probe a\n  part b\n     every 5 s", "part every"},
		{"deeper but a declared key", "probe a\n  part b\n     channel c", "part channel"},
		{"as deep and no key", "probe a\n  part b\n  wires 3", "part wires"},
		{"less deep", "probe a\n    part b\n  wires 3", "part wires"},
		{"a comment and a blank line between", "alarm a at b\n  when c\n\n  # why\n  and d", "when"},
		{"not at the margin", "alarm a at b\n  when c and\nwhile d", "when while"},
		{"a tab is deeper than four spaces", "probe a\n    table b\n\tover 3", "table"},
		{"a header goes on too", "use a,\n   b\narea c\n note \"d\"", "note"},
	} {
		f, _ := ParseDeclared("x", c.text, declared)
		var keys []string
		for _, b := range f.Blocks {
			for _, l := range b.Lines {
				keys = append(keys, l.Key.Word())
			}
		}
		if got := strings.Join(keys, " "); got != c.keys {
			t.Errorf("%s: lines %q, want %q", c.name, got, c.keys)
		}
	}
}
