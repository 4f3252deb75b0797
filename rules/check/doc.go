// Package check gives a parsed rules file its meaning: names, quantities, ranges, contradictions, what can never come true. It holds the
// kinds of station (kinds.txt); parts, buses and channels come in as a vocabulary. What it says to people stands in messages.txt, so that
// it can be read in one go. It knows neither drivers nor how a condition is evaluated.
//
// The way of a file: read.go takes in all texts; blocks, stations, probes, points and limits find the names of the floor; typing, functions
// and ranges turn formulas into checked ones; alarms makes each alarm at each place; people and roster hold the calling to its hours;
// unused and unwise warn; assemble writes the Plan.
//
// The package is larger than most here because the language is one: each of these needs the names that the others found, and the
// messages of all are held together by one archive of mistakes (testdata/rules/mistakes.txtar).
//
// Concurrency: one Load shares nothing with another; it reads a long file in pieces, makes many alarms side by side, and takes some
// steps beside others that need nothing of them (side.go, load.go); a Plan is not changed afterwards.
package check
