// Package standard holds the built-in alarms as rules files, one per subject. Every limit in them says where it comes from.
//
// Concurrency: embedded text that never changes.
package standard

import (
	"embed"
	"io/fs"
	"strings"
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
