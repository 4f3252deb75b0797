package check

import (
	_ "embed"
	"strings"

	"millwarden/internal/diag"
)

//go:embed messages.txt
var messagesText string

// message is one row of messages.txt.
type message struct {
	severity     diag.Severity
	says, advice string
}

var messages = func() map[string]message {
	m := map[string]message{}
	for line := range strings.Lines(messagesText) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		number, rest, _ := strings.Cut(strings.TrimSpace(line), " | ")
		says, advice, _ := strings.Cut(rest, " | ")
		row := message{severity: diag.Error, says: says, advice: advice}
		switch number[0] {
		case 'W':
			row.severity = diag.Warning
		case 'N':
			row.severity = diag.Note
		}
		m[number] = row
	}
	return m
}()

// facts fill a message; a fact that is empty counts as not known.
type facts map[string]string

// fill replaces {x} by its fact; what stands in [...] is said only where all facts in it are known. Facts are not looked into again.
func fill(template string, known facts) string {
	var b strings.Builder
	for template != "" {
		i := strings.IndexAny(template, "{[")
		if i < 0 {
			b.WriteString(template)
			break
		}
		b.WriteString(template[:i])
		end := map[byte]string{'{': "}", '[': "]"}[template[i]]
		inside, rest, found := strings.Cut(template[i+1:], end)
		if !found {
			b.WriteString(template[i:])
			break
		}
		switch {
		case template[i] == '{':
			b.WriteString(known[inside])
		case allKnown(inside, known):
			b.WriteString(fill(inside, known))
		}
		template = rest
	}
	return b.String()
}

func allKnown(template string, known facts) bool {
	for {
		_, rest, found := strings.Cut(template, "{")
		if !found {
			return true
		}
		name, rest, _ := strings.Cut(rest, "}")
		if known[name] == "" {
			return false
		}
		template = rest
	}
}

// compose makes the diagnostic of one message.
func compose(number string, at diag.Range, known facts) diag.Diagnostic {
	m := messages[number]
	return diag.Diagnostic{Severity: m.severity, Code: number, Subject: at,
		Summary: fill(m.says, known), Detail: strings.TrimSpace(fill(m.advice, known))}
}
