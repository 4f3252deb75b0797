package floor

import (
	"context"
	"os"
	"runtime/debug"
	"time"
)

const (
	// The heap may grow by half of what lives before it is swept, not by all of it. Chosen: the program lives on some 4 MB and makes little garbage a second, so that a
	// sweep more costs less than the memory would on a board of 256 MB.
	heapGrowth = 50
	// Chosen: by then every part runs and what reading the rules took is garbage.
	settledAfter = 15 * time.Second
)

// KeepSmall gives back to the board what only the start needed, and keeps the heap near what lives. GOGC in the environment is obeyed instead where it is set. It is for a process that is a gateway and nothing else, and returns once the start is over.
func KeepSmall(ctx context.Context) {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(heapGrowth)
	}
	select {
	case <-ctx.Done():
	case <-time.After(settledAfter):
		debug.FreeOSMemory()
	}
}
