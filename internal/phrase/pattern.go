package phrase

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"millwarden/internal/units"
)

// maxDepth of brackets in a pattern. Chosen: a line that people type has no more.
const maxDepth = 8

// ParsePattern reads a pattern and refuses one that cannot be read with one token of foresight.
func ParsePattern(text string) (Pattern, error) {
	p := patternParser{tokens: patternTokens(text)}
	pattern, err := p.sequence("", 0)
	if err != nil {
		return pattern, err
	}
	return pattern, foresight(pattern, nil)
}

func patternTokens(text string) []string {
	for _, mark := range []string{"(", ")", "|", "[", "]", "{", "}", ","} {
		text = strings.ReplaceAll(text, mark, " "+mark+" ")
	}
	return strings.Fields(text)
}

type patternParser struct {
	tokens []string
	at     int
}

func (p *patternParser) peek() string {
	if p.at < len(p.tokens) {
		return p.tokens[p.at]
	}
	return ""
}

func (p *patternParser) next() string {
	t := p.peek()
	p.at = min(p.at+1, len(p.tokens)) // a bound may end without its unit
	return t
}

// sequence reads elements up to one of the marks in end, which it leaves, or to the end of the text.
func (p *patternParser) sequence(end string, depth int) (Pattern, error) {
	if depth > maxDepth {
		return nil, fmt.Errorf("brackets stand more than %d deep", maxDepth)
	}
	var pattern Pattern
	for p.peek() != "" && !strings.Contains(end, p.peek()) {
		e, err := p.element(depth)
		if err != nil {
			return pattern, err
		}
		pattern = append(pattern, e)
	}
	if end != "" && p.peek() == "" {
		return pattern, fmt.Errorf("%s is missing", end[len(end)-1:])
	}
	return pattern, nil
}

func (p *patternParser) element(depth int) (Element, error) {
	switch token := p.next(); {
	case token == "(":
		return p.choice(depth)
	case token == "[" || token == "{":
		end, kind := "]", Optional
		if token == "{" {
			end, kind = "}", Repeat
		}
		inner, err := p.sequence(end, depth+1)
		p.next()
		if err == nil && len(inner) == 0 {
			err = errors.New("brackets hold nothing")
		}
		return Element{Kind: kind, Inner: inner}, err
	case strings.ContainsAny(token, ")|]}"):
		return Element{}, fmt.Errorf("%s does not belong here", token)
	case isSlot(token):
		return p.slot(token)
	default:
		return Element{Kind: Word, Text: token}, nil
	}
}

func (p *patternParser) choice(depth int) (Element, error) {
	e := Element{Kind: Choice}
	for {
		option, err := p.sequence("|)", depth+1)
		if err != nil {
			return e, err
		}
		if len(option) == 0 {
			return e, errors.New("a choice holds nothing")
		}
		e.Options = append(e.Options, option)
		if p.next() == ")" {
			return e, nil
		}
	}
}

func isSlot(token string) bool {
	if len(token) < 2 || strings.ContainsFunc(token, func(r rune) bool { return !unicode.IsUpper(r) && !unicode.IsDigit(r) && r != '-' }) {
		return false
	}
	return plainSlots[token] || slotQuantity(token) != units.None
}

func (p *patternParser) slot(token string) (Element, error) {
	e := Element{Kind: SlotOf, Text: token}
	if token == "POINT" {
		e.Of = p.next()
		if _, ok := units.ByName(e.Of); !ok {
			return e, errors.New("POINT needs its quantity")
		}
	}
	if first := p.peek(); first != "" && (first[0] == '-' && len(first) > 1 || first[0] >= '0' && first[0] <= '9') {
		from := p.at
		low, err := p.amount(e)
		if err != nil {
			return e, err
		}
		if p.next() != ".." {
			return e, fmt.Errorf("%s needs LEAST .. GREATEST", token)
		}
		high, err := p.amount(e)
		if err != nil {
			return e, err
		}
		e.Bounded, e.Least, e.Greatest = true, low, high
		e.Bounds = strings.Join(p.tokens[from:p.at], " ")
		if low.Value > high.Value {
			return e, fmt.Errorf("%s runs backwards", e.Bounds)
		}
	}
	if p.peek() == "default" {
		p.next()
		from := p.at
		amount, err := p.amount(e)
		if err != nil {
			return e, err
		}
		e.Default, e.Printed = &amount, strings.Join(p.tokens[from:p.at], " ")
	}
	return e, nil
}

// amount reads a bound or default: a number, with its unit where the slot is a quantity.
func (p *patternParser) amount(e Element) (units.Amount, error) {
	q := e.Quantity()
	text := p.next()
	if q == units.Count || q == units.None {
		n, err := number(text)
		return units.Amount{Value: n, Quantity: units.Count}, err
	}
	return units.Parse(text+" "+p.next(), q)
}

// String prints a pattern as it is declared, without its defaults.
func (p Pattern) String() string {
	var b strings.Builder
	for i := range p {
		text := p[i].String()
		if b.Len() > 0 && text != "," && !strings.HasPrefix(text, "{,") {
			b.WriteByte(' ')
		} else if strings.HasPrefix(text, "{,") {
			b.WriteByte(' ')
		}
		b.WriteString(text)
	}
	return b.String()
}

func (e *Element) String() string {
	switch e.Kind {
	case Choice:
		var options []string
		for _, o := range e.Options {
			options = append(options, o.String())
		}
		return "(" + strings.Join(options, "|") + ")"
	case Optional:
		return "[" + e.Inner.String() + "]"
	case Repeat:
		return "{" + e.Inner.String() + "}"
	case SlotOf:
		return join(e.Text, e.Of, e.Bounds)
	default:
		return e.Text
	}
}

// first lists what an element may begin with: words as they are, slots in capitals. It may be empty-handed too: skip.
func (e *Element) first() (begins []string, skip bool) {
	switch e.Kind {
	case Choice:
		for _, o := range e.Options {
			b, s := o.first()
			begins, skip = append(begins, b...), skip || s
		}
		return begins, skip
	case Optional, Repeat:
		begins, _ = e.Inner.first()
		return begins, true
	default:
		return []string{e.Text}, false
	}
}

func (p Pattern) first() (begins []string, skip bool) {
	for i := range p {
		b, s := p[i].first()
		begins = append(begins, b...)
		if !s {
			return begins, false
		}
	}
	return begins, true
}

// foresight refuses a pattern in which one token does not decide: two options, or an option and what follows it, begin alike.
func foresight(p Pattern, after []string) error {
	for i := range p {
		follow, skip := p[i+1:].first()
		if skip {
			follow = append(follow, after...)
		}
		if err := p[i].foresight(follow); err != nil {
			return err
		}
	}
	return nil
}

func (e *Element) foresight(follow []string) error {
	switch e.Kind {
	case Choice:
		var seen []string
		for _, o := range e.Options {
			begins, _ := o.first()
			for _, b := range begins {
				if clash(seen, b) {
					return fmt.Errorf("%s: two options begin with %s", e, b)
				}
			}
			seen = append(seen, begins...)
			if err := foresight(o, follow); err != nil {
				return err
			}
		}
	case Optional, Repeat:
		begins, _ := e.Inner.first()
		for _, b := range begins {
			if clash(follow, b) {
				return fmt.Errorf("%s: %s may also follow it", e, b)
			}
		}
		if e.Kind == Repeat {
			follow = append(slices.Clone(follow), begins...)
		}
		return foresight(e.Inner, follow)
	}
	return nil
}

// clash tells that one token could be both. A word beside a slot of names is no clash: the word is meant.
func clash(seen []string, begins string) bool {
	for _, s := range seen {
		if s == begins || (isSlot(s) && isSlot(begins) && takesNumber(s) == takesNumber(begins)) {
			return true
		}
	}
	return false
}

func takesNumber(slot string) bool {
	return slot == "AMOUNT" || slot == "ANY" || (slot != "ADDRESS" && slotQuantity(slot) != units.None)
}
