// Package standard holds the built-in alarms as rules files, one per subject. Every limit in them says where it comes from.
//
// Concurrency: embedded text that never changes.
package standard

import (
	"embed"
	"io/fs"
	"strings"
	"sync"
)

// Prefix stands before the name of a built-in file in messages and in the list of a plan's files.
const Prefix = "standard/"

//go:embed *.rules
var files embed.FS

// Text gives the rules of a subject, for example "fermentation".
func Text(subject string) (string, bool) {
	text, err := fs.ReadFile(files, subject+".rules")
	return string(text), err == nil
}

// Subjects names all of them, in alphabetical order.
func Subjects() []string {
	entries, _ := files.ReadDir(".") // an embedded folder is always there
	names := make([]string, 0, len(entries))
	for _, e := range entries {
		names = append(names, strings.TrimSuffix(e.Name(), ".rules"))
	}
	return names
}

// The Spanish of the built-in texts, and of the names of points; the heads of the files tell the form.
var (
	//go:embed es.txt
	spanish string
	//go:embed es-points.txt
	spanishPoints string
)

// In gives a built-in text, or the name of a built-in alarm or of a point with spaces for its dashes, in a language: "es"; whatever the case of its
// letters. A text that is not built in, and every text in another language, stays as it is: it is the site's own.
func In(language, text string) string {
	if language != "es" {
		return text
	}
	if said, found := inSpanish()[strings.ToLower(text)]; found {
		return said
	}
	return text
}

// inSpanish is read when somebody first wants Spanish.
var inSpanish = sync.OnceValue(func() map[string]string { return pairs(spanish + spanishPoints) })

// pairs reads lines at the margin with an indented one under each; # begins a comment.
func pairs(text string) map[string]string {
	found, of := map[string]string{}, ""
	for line := range strings.Lines(text) {
		line = strings.TrimRight(line, "\n")
		switch said, indented := strings.CutPrefix(line, "    "); {
		case line == "" || strings.HasPrefix(line, "#"):
		case indented:
			found[strings.ToLower(of)] = said
		default:
			of = line
		}
	}
	return found
}
