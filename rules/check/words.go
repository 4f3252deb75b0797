package check

import (
	"strings"

	"millwarden/internal/diag"
	"millwarden/rules/engine"
)

// near is the sentence that offers the nearest word, with the space after it; "" if none is near.
func near(written string, known []string) string {
	if word := diag.Near(strings.ToLower(written), known); word != "" {
		return "Did you mean " + word + "? "
	}
	return ""
}

// maxName: a name is a topic level and a SenML name.
const maxName = 40

// isName tells whether the word is [a-z][a-z0-9]*(-[a-z0-9]+)*, at most 40 characters.
func isName(word string) bool {
	if word == "" || len(word) > maxName || word[0] < 'a' || word[0] > 'z' || strings.HasSuffix(word, "-") || strings.Contains(word, "--") {
		return false
	}
	return !strings.ContainsFunc(word, func(r rune) bool { return (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '-' })
}

// spaced is what people read instead of a name.
func spaced(name string) string { return strings.ReplaceAll(name, "-", " ") }

// article puts a or an before a word.
func article(word string) string {
	if word != "" && strings.ContainsRune("aeiouAEIOU", rune(word[0])) {
		return "an " + word
	}
	return "a " + word
}

// sentence begins with a capital and ends with a full stop.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	r := []rune(text)
	text = strings.ToUpper(string(r[0])) + string(r[1:])
	if !strings.HasSuffix(text, ".") && !strings.HasSuffix(text, "?") {
		text += "."
	}
	return text
}

// oneOf writes "a, b or c".
func oneOf(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}

var (
	priorities = []string{"high", "medium", "low"}
	classes    = []string{"safety", "food", "quality", "equipment"}
	weekdays   = []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}
)

var priorityOf = map[string]engine.Priority{"high": engine.High, "medium": engine.Medium, "low": engine.Low}

var classOf = map[string]engine.Class{"safety": engine.Safety, "food": engine.Food, "quality": engine.Quality, "equipment": engine.Equipment}
