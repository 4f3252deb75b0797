// Package check gives a parsed rules file its meaning: names, quantities, ranges, contradictions, what can never come true. It holds the
// kinds of station; parts, buses and channels come in as a vocabulary. What it says to people are the texts of messages.go.
//
// Concurrency: one Load is one goroutine; a Plan is not changed afterwards.
package check
