package floor

import (
	"context"
	"time"

	"millwarden/gateway/logbook"
	"millwarden/internal/reading"
)

// BackupPlace is where the record files backups that were taken.
const BackupPlace = "backup"

// backupEvery is how often the record is asked for them; chosen: the reminder goes within a minute, and asking costs nothing that counts.
const backupEvery = time.Minute

// backups is when the last one was taken, as the record said last. It belongs to the board's goroutine.
type backups struct {
	looked time.Duration // monotonic time; zero: never
	seen   int64         // entries of the record up to this one need no second look
	last   time.Time     // zero: none
}

// backupAge is how long ago the last backup was taken; while there is none, how long the record goes back. Unknown while the clock is not set, or the
// record does not answer.
func (f *Floor) backupAge(now reading.Stamp) (time.Duration, bool) {
	b := &f.backups
	if b.looked == 0 || now.Mono-b.looked >= backupEvery {
		asking, cancel := context.WithTimeout(context.Background(), queryWait)
		defer cancel()
		newest, err := f.logbook.Entries(asking, logbook.Filter{Newest: true, Limit: 1})
		if err != nil {
			return 0, false
		}
		if len(newest) == 0 || newest[0].ID < b.seen { // a new record was begun
			b.seen = 0
		}
		entries, err := f.logbook.Entries(asking, logbook.Filter{Kinds: []logbook.Kind{logbook.Act}, Place: BackupPlace, After: b.seen, Newest: true, Limit: 1})
		if err != nil {
			return 0, false
		}
		b.looked = now.Mono
		if len(newest) > 0 {
			b.seen = newest[0].ID
		}
		if len(entries) > 0 {
			b.last = entries[0].At.Wall
		}
	}
	since := b.last
	if since.IsZero() && f.began.Set {
		since = f.began.Wall
	}
	if !now.Set || since.IsZero() {
		return 0, false
	}
	return max(0, now.Wall.Sub(since)), true
}
