//go:build !linux

package clock

import "time"

var started = time.Now()

// Where Millwarden is only developed, not run, the clock counts as right and time as beginning with the process.
func synchronised() bool       { return true }
func keptRight() bool          { return true }
func sinceBoot() time.Duration { return time.Since(started) }
