//go:build race

package command

// raced tells that the race detector is on: a year of seconds in one goroutine only grows ten times slower by it.
const raced = true
