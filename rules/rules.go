// Package rules is the face of the rules language: Load reads and checks a rules file and gives the plan by which the gateway works.
//
// Concurrency: Load is called by one goroutine at a time; a Plan is not changed afterwards.
package rules

import (
	"io/fs"

	"millwarden/internal/diag"
	"millwarden/internal/phrase"
	"millwarden/rules/check"
)

// Plan is a rules file that was found good; see rules/check for its parts.
type Plan = check.Plan

// OnceGC is the percentage of the garbage collector for a program that loads one file and ends, as a compiler has it: what the load leaves behind goes with the program.
const OnceGC = check.OnceGC

// Load reads the file main of fsys and all that it includes, names or uses, and checks it against what parts, buses and channels declare.
// The plan is nil if the list holds an error. The sources are for printing the list.
func Load(fsys fs.FS, main string, vocabulary []phrase.Declaration) (*Plan, diag.List, diag.Sources) {
	return check.Load(fsys, main, vocabulary)
}
