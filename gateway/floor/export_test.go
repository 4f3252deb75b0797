package floor

import (
	"context"
	"time"

	"millwarden/gateway/web"
	"millwarden/internal/reading"
)

// Books are what the page asks, for tests without a page.
func (f *Floor) Books() web.Books { return books{f} }

// Decide gives readings to the flow, as a bus does, and tells how long it took until all alarms were decided: the wait for the flow is in it.
func (f *Floor) Decide(ctx context.Context, rs []reading.Reading) (took time.Duration, err error) {
	begun := time.Now()
	err = f.onFlow(ctx, func() {
		f.deciding.Lock()
		transitions := f.decide(rs, nil)
		f.deciding.Unlock()
		took = time.Since(begun)
		f.follow(transitions)
	})
	return took, err
}

// LinkBase is the address of the page in messages.
var LinkBase = linkBase

// Now is the gateway's clock.
func (f *Floor) Now() reading.Stamp { return f.clock.Now() }

// Sent is up to where the store has the readings.
func (f *Floor) Sent() uint64 { return f.history.Watermark().Commit }
