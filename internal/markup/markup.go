// Package markup fills pages of HTML that stand in the program, and escapes what comes into them. The texts are written as for html/template and are read by that package's
// parser; that package itself is not used, because it can call any method by its name, so that the linker must keep every method of the whole program: 3.5 MB of 23.6 on arm64.
//
// What it knows: {{.Field.Field}}, {{$variable}}, calls of functions, if, else, with, range, define, template; the functions and, or, not, eq, ne, lt, gt, len, printf, call. Pipes and
// methods it does not know.
//
// Values may stand in text and within double quotes of an attribute; Parse refuses a page in which one stands elsewhere: as the name of a tag or attribute, unquoted, in a script, in
// an attribute that is a program or a style, or at the beginning of an address, where it could name a scheme.
//
// Concurrency: a Page may be filled by any number of goroutines at once.
package markup

import (
	"fmt"
	"strings"
	"text/template/parse"
)

// Safe is markup or style that is put in as it is. Only what was made of constants and of escaped text may become one.
type Safe string

// Funcs are the functions of a page by name; each gives one value.
type Funcs map[string]any

// Page is a page that can be filled.
type Page struct {
	trees map[string]*parse.Tree
	name  string
	funcs Funcs
}

// Parse reads a page. Errors: what the parser says; a function that is not there; a value at a place where it could not be escaped.
func Parse(name, text string, funcs Funcs) (*Page, error) {
	trees, err := parse.Parse(name, text, "", "", funcs, builtins)
	if err != nil {
		return nil, fmt.Errorf("markup: %w", err)
	}
	for part, tree := range trees {
		p := place{tree: tree}
		if err := p.list(tree.Root); err != nil {
			return nil, err
		}
		if p.in != inText {
			return nil, fmt.Errorf("markup: %s: %q ends within a tag", name, part)
		}
	}
	return &Page{trees: trees, name: name, funcs: funcs}, nil
}

// MustParse is Parse for a page that is part of the program.
func MustParse(name, text string, funcs Funcs) *Page {
	p, err := Parse(name, text, funcs)
	if err != nil {
		panic(err)
	}
	return p
}

// Where in the markup a value would stand.
const (
	inText = iota
	inTag
	inQuotes
)

// place follows the markup in the order of the text. Both branches of a condition must leave it where it was found.
type place struct {
	tree      *parse.Tree
	in        int
	attribute string // the one whose quotes are open
	begun     bool   // something fixed stands in them already
	tag       string // what stands in the open tag, up to the quotes
}

func (p *place) list(l *parse.ListNode) error {
	if l == nil {
		return nil
	}
	for _, n := range l.Nodes {
		if err := p.node(n); err != nil {
			return err
		}
	}
	return nil
}

func (p *place) node(n parse.Node) error {
	switch n := n.(type) {
	case *parse.TextNode:
		return p.text(n)
	case *parse.ActionNode:
		if len(n.Pipe.Decl) > 0 {
			return nil
		}
		return p.value(n)
	case *parse.TemplateNode:
		if p.in != inText {
			return p.refuse(n, "a part of the page")
		}
		return nil
	case *parse.IfNode:
		return p.branches(n.List, n.ElseList, n)
	case *parse.WithNode:
		return p.branches(n.List, n.ElseList, n)
	case *parse.RangeNode:
		return p.branches(n.List, n.ElseList, n)
	}
	return p.refuse(n, "this")
}

func (p *place) branches(one, other *parse.ListNode, n parse.Node) error {
	before := *p
	for _, l := range []*parse.ListNode{one, other} {
		*p = before
		if err := p.list(l); err != nil {
			return err
		}
		if p.in != before.in || p.in == inQuotes && p.attribute != before.attribute {
			return p.refuse(n, "a branch that ends within other markup than it began,")
		}
	}
	return nil
}

func (p *place) text(n *parse.TextNode) error {
	for _, c := range string(n.Text) {
		switch {
		case p.in == inText && c == '<':
			p.in, p.tag = inTag, ""
		case p.in == inTag && c == '>':
			p.in = inText
			if strings.EqualFold(p.tag, "script") || strings.HasPrefix(strings.ToLower(p.tag), "script ") {
				return p.refuse(n, "a script")
			}
		case p.in == inTag && c == '"':
			words := strings.Fields(strings.TrimSuffix(p.tag, "="))
			if !strings.HasSuffix(p.tag, "=") || len(words) == 0 {
				return p.refuse(n, "a quote")
			}
			p.in, p.attribute, p.begun = inQuotes, strings.ToLower(words[len(words)-1]), false
		case p.in == inTag:
			p.tag += string(c)
		case p.in == inQuotes && c == '"':
			p.in, p.tag = inTag, p.tag+`""`
		case p.in == inQuotes:
			p.begun = true
		}
	}
	return nil
}

func (p *place) value(n parse.Node) error {
	switch {
	case p.in == inTag:
		return p.refuse(n, "a value outside of quotes")
	case p.in == inText:
		return nil
	case strings.HasPrefix(p.attribute, "on") || p.attribute == "style":
		return p.refuse(n, "a value in "+p.attribute)
	case !p.begun && (p.attribute == "href" || p.attribute == "src" || p.attribute == "action" || p.attribute == "formaction"):
		return p.refuse(n, "a value that begins an address")
	}
	return nil
}

func (p *place) refuse(n parse.Node, what string) error {
	at, text := p.tree.ErrorContext(n)
	return fmt.Errorf("markup: %s: %s cannot stand here: %.60q", at, what, text)
}
