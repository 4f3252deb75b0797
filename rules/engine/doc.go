// Package engine decides: Observe(reading) and Tick(now) give transitions of alarms, each with its because. It is pure: no clock of its own,
// no files, no network, so that rehearse replays a night in milliseconds and the same input always gives the same transitions.
//
// Concurrency: an Engine belongs to one goroutine.
package engine
