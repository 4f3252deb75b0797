// Package saying says in another language what the program has said in English: what stands in the logbook, why an alarm came, what a person is refused. What was written stays as it was written,
// under its seal; it is turned for who reads it. The built-in texts of rules/standard are turned too; names, and what people and rules files say, stay as they are.
//
// The sentences stand in es.txt beside this file, by their English form as it stands in the source. Nobody else has them: the page is told everything in the language of who looks at it
// (gateway/web/tongue.go).
//
// Concurrency: embedded text that is read once and never changes.
package saying

import (
	"cmp"
	_ "embed"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"millwarden/rules/standard"
)

//go:embed es.txt
var spanish string

// form is one sentence: its own words, with a place for what varies between each two of them.
type form struct {
	own  []string
	says string // $1 is what stands in the first place, said in the language; &1 the same as it is
}

// table is a section of the file.
type table struct {
	whole map[string]string // without a place, by the English
	forms []form            // the longer their own words, the earlier
}

type language struct{ sentences, entries, reasons table }

var inSpanish = sync.OnceValue(func() *language {
	l := &language{}
	for section, t := range map[string]*table{"sentences": &l.sentences, "entries": &l.entries, "reasons": &l.reasons} {
		*t = tableOf(Forms("es", section))
	}
	return l
})

// Forms gives the sentences of a section ("sentences", "entries", "reasons") in a language, by their English form. Only tests look at it from outside.
func Forms(lang, section string) map[string]string {
	found := map[string]string{}
	if lang != "es" {
		return found
	}
	in, of := "", ""
	for line := range strings.Lines(spanish) {
		line = strings.TrimRight(line, "\n")
		switch {
		case line == "" || line[0] == '#':
		case line[0] == '[':
			in = strings.Trim(line, "[]")
		case strings.HasPrefix(line, "    "):
			if in == section {
				found[of] = line[4:]
			}
		default:
			of = line
		}
	}
	return found
}

var verb = regexp.MustCompile(`%[-+#.0-9]*[a-vx-zA-Z]`) // 11.8 %wb is none

func tableOf(forms map[string]string) table {
	t := table{whole: map[string]string{}}
	for english, says := range forms {
		own := verb.Split(strings.ReplaceAll(english, "%%", "\x00"), -1)
		for i := range own {
			own[i] = strings.ReplaceAll(own[i], "\x00", "%")
		}
		if len(own) == 1 {
			t.whole[own[0]] = says
			continue
		}
		t.forms = append(t.forms, form{own, says})
	}
	slices.SortFunc(t.forms, func(a, b form) int { return cmp.Or(length(b)-length(a), slices.Compare(a.own, b.own)) })
	return t
}

func length(f form) int { return len(strings.Join(f.own, "")) }

// match finds what stands in the places; nil: it is another sentence. The shortest that fits is taken, from left to right.
func (f *form) match(text string) []string {
	rest, ok := strings.CutPrefix(text, f.own[0])
	if !ok {
		return nil
	}
	return places(rest, f.own[1:])
}

func places(text string, own []string) []string {
	if len(own) == 1 {
		if found, ok := strings.CutSuffix(text, own[0]); ok && found != "" {
			return []string{found}
		}
		return nil
	}
	for from := 1; from < len(text); {
		at := strings.Index(text[from:], own[0])
		if at < 0 {
			return nil
		}
		at += from
		if more := places(text[at+len(own[0]):], own[1:]); more != nil {
			return append([]string{text[:at]}, more...)
		}
		from = at + 1
	}
	return nil
}

// say turns a text by the table; what stands in its places by within.
func (t *table) say(text string, within func(string) string) (string, bool) {
	if said, ok := t.whole[text]; ok {
		return said, true
	}
	for i := range t.forms {
		f := &t.forms[i]
		found := f.match(text)
		if found == nil {
			continue
		}
		out := f.says
		for n := len(found) - 1; n >= 0; n-- {
			number := strconv.Itoa(n + 1)
			if strings.Contains(out, "$"+number) {
				out = strings.ReplaceAll(out, "$"+number, within(found[n]))
			}
			out = strings.ReplaceAll(out, "&"+number, found[n])
		}
		return out, true
	}
	return text, false
}

// rule is how every reason of an alarm ends: "; rule over-fermented, site.rules:14.", and how it does where there is no rule any more.
var rule = regexp.MustCompile(`; rule [a-z0-9-]+, [^;]+:\d+\.$|; withdrawn by rules change\.$`)

// In gives a text of the program in a language, "es"; a text that is not known, and every text in another language, stays as it is.
func In(lang, text string) string {
	if lang != "es" || text == "" {
		return text
	}
	l := inSpanish()
	if said := standard.In(lang, text); said != text {
		return said
	}
	if rule.MatchString(text) {
		return l.reason(text)
	}
	if said, ok := l.sentences.say(text, func(part string) string { return In(lang, part) }); ok {
		return said
	}
	return parts(text, ", ", func(part string) string {
		if said := standard.In(lang, part); said != part {
			return said
		}
		said, _ := l.entries.say(part, func(word string) string { return In(lang, word) })
		return said
	})
}

// Word gives a word of the program in a language, where a person may have written as well: what is more than such a word stays as it is.
func Word(lang, text string) string {
	if lang != "es" {
		return text
	}
	if said := standard.In(lang, text); said != text {
		return said
	}
	if said, known := inSpanish().sentences.whole[text]; known {
		return said
	}
	return text
}

// Reason gives why an alarm stands, or a part of it, in a language.
func Reason(lang, text string) string {
	if lang != "es" {
		return text
	}
	return inSpanish().reason(text)
}

func (l *language) reason(text string) string {
	return parts(text, "; ", func(clause string) string {
		return parts(clause, ", ", func(part string) string {
			said, _ := l.reasons.say(part, l.reason)
			return said
		})
	})
}

func parts(text, between string, each func(string) string) string {
	list := strings.Split(text, between)
	for i := range list {
		list[i] = each(list[i])
	}
	return strings.Join(list, between)
}
