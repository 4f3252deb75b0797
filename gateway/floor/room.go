package floor

import (
	"context"
	"errors"
	"fmt"
	"syscall"
	"time"

	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/reading"
)

const (
	// earlyDisk is the share of free room, in per cent, below which the history does not grow any more: its oldest readings that are in the store go
	// early. Chosen: after disk-nearly-full has called somebody (10 %), before disk-full (1 %).
	earlyDisk = 3
	// roomEvery is how often that is looked at. Chosen: as the board looks at itself.
	roomEvery = 10 * time.Second
	// roomKept is how much of the history's file is kept free then, an eighth of it at most. Chosen: half a day of 64 readings a second.
	roomKept = 16 << 20
	// fullFor is how long the disk has been full before unsent readings go. Chosen: people have been told for minutes by then, and what waits in memory
	// for room has not been pushed out yet.
	fullFor = 10 * time.Minute
	// rowBytes and readingBytes are what a second's row and each reading in it take, as measured: 345 bytes for 64.
	rowBytes, readingBytes = 25, 5
)

// roomKeeper is what makeRoom keeps from one look to the next. Belongs to the roll-up.
type roomKeeper struct {
	looked time.Time
	full   time.Time // since when the disk is full; zero: it is not
	failed bool
}

// makeRoom lets the oldest readings go while the disk has little room, those in the store first.
func (f *Floor) makeRoom(ctx context.Context) {
	k := &f.room
	if time.Since(k.looked) < roomEvery {
		return
	}
	k.looked = time.Now()
	free := diskFree(f.o.Data)
	switch {
	case free >= lowDisk:
		k.full = time.Time{}
	case k.full.IsZero():
		k.full = time.Now()
	}
	if !(free < earlyDisk) { // not a number: nobody knows
		return
	}
	room, err := f.history.Room(ctx)
	if err == nil {
		evenUnsent := f.nobodyStores() || !k.full.IsZero() && time.Since(k.full) >= fullFor
		var removed history.Removed
		removed, err = f.history.MakeRoom(ctx, min(roomKept, room.Bytes/8), evenUnsent)
		f.tellRemoved(removed)
	}
	if err != nil && !k.failed && ctx.Err() == nil {
		f.log.Error("no room can be made in the history", "cause", err) // once: it is tried again
	}
	k.failed = err != nil
}

func (f *Floor) tellRemoved(removed history.Removed) {
	if removed.Readings == 0 {
		return
	}
	f.log.Warn("old readings removed early, the disk has little room", "readings", removed.Readings, "unsent", removed.Unsent)
	if removed.Unsent > 0 && !f.nobodyStores() {
		f.write(logbook.Entry{Kind: logbook.Fault, Place: "board",
			Text: fmt.Sprintf("the disk is full: %d readings were removed that are not in the store", removed.Unsent)})
	}
}

// unsentRoom is how long it takes until there is no room but that of unsent readings, at the rate since the start; longest where nothing waits.
func (f *Floor) unsentRoom(now reading.Stamp, out web.Outbox, longest time.Duration) (time.Duration, error) {
	if out.Oldest < unsentLong {
		return longest, nil
	}
	ran := now.Mono - f.started.Mono
	counts := f.history.Counts()
	if ran < time.Minute || now.Boot != f.started.Boot || counts.Appended == 0 {
		return 0, errors.New("not known yet")
	}
	rate := float64(counts.Appended) / ran.Seconds()
	bytes := rowBytes + readingBytes*rate
	room, err := f.history.Room(context.Background())
	if err != nil {
		return 0, err
	}
	disk, err := diskRoom(f.o.Data)
	if err != nil {
		return 0, err
	}
	left := disk + float64(room.Bytes) - float64(out.Readings)/rate*bytes
	return min(time.Duration(max(left, 0)/bytes*float64(time.Second)), longest), nil
}

// unsentLong is how long readings have waited for the store before it matters how much room they have. Chosen: a network that is away for minutes is
// ordinary.
const unsentLong = 10 * time.Minute

// diskRoom is how many bytes the disk has until it counts as full.
func diskRoom(dir string) (float64, error) {
	var fs syscall.Statfs_t
	if err := syscall.Statfs(dir, &fs); err != nil {
		return 0, err
	}
	return max(float64(fs.Bavail)-float64(fs.Blocks)*lowDisk/100, 0) * float64(fs.Bsize), nil
}
