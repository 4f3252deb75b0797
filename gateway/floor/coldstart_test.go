package floor_test

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"millwarden/gateway/history"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// BenchmarkColdStart: from opening the data folder to the first reading decided, the rules read and checked in it, with a history of a year of 64 points,
// and with an empty one, the baseline. Goal: 150 ms. The folder is in memory: what a card adds for reading some hundred kB is not in it.
func BenchmarkColdStart(b *testing.B) {
	for _, name := range []string{"a year", "empty"} {
		b.Run(name, func(b *testing.B) {
			folder := b.TempDir()
			if memory, err := os.MkdirTemp("/dev/shm", "millwarden-cold-"); err == nil {
				folder = memory
				defer os.RemoveAll(memory)
			}
			if name == "a year" {
				fillYear(b, folder)
			}
			var took []time.Duration
			for b.Loop() {
				took = append(took, coldStart(b, folder))
			}
			slices.Sort(took)
			b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "p50-ms")
			b.ReportMetric(float64(took[len(took)-1].Microseconds())/1000, "most-ms")
		})
	}
}

func coldStart(b *testing.B, folder string) time.Duration {
	b.Helper()
	begun := time.Now()
	mill := openSixtyFour(b, folder, 0, "", "")
	ctx, stop := context.WithCancel(b.Context())
	ended := make(chan error, 1)
	go func() { ended <- mill.Run(ctx) }()
	decideOne(b, mill, 1)
	took := time.Since(begun)
	stop()
	if err := errors.Join(<-ended, mill.Close()); err != nil {
		b.Fatal(err)
	}
	return took
}

// fillYear makes a history of a year: a day and an hour as they come, the day rolled up, and that day again and again before it.
func fillYear(b *testing.B, folder string) {
	b.Helper()
	h, err := history.Open(folder, history.Options{})
	if err != nil {
		b.Fatal(err)
	}
	day := time.Now().UTC().Truncate(24*time.Hour).AddDate(0, 0, -1)
	rs := make([]reading.Reading, 64)
	for at := day; at.Before(day.Add(32 * time.Hour)); at = at.Add(10 * time.Second) {
		if at.Sub(day) > 31*time.Hour {
			at = at.Add(-9 * time.Second) // the last hour, a second at a time
		}
		for i := range rs {
			rs[i] = reading.Reading{Point: fmt.Sprintf("tank-%d/t%d", i/8+1, i%8), Quantity: units.Temperature, Value: 20 + float64((at.Unix()*7+int64(i)*13)%50)/10,
				Stamp: reading.Stamp{Wall: at, Mono: at.Sub(day), Set: true}}
		}
		if _, err := h.Append(rs); err != nil {
			b.Fatal(err)
		}
	}
	for done := (history.Rolled{Hours: 1}); err == nil && done != (history.Rolled{}); {
		done, err = h.RollUp(b.Context(), day.Add(32*time.Hour), true)
	}
	if err := errors.Join(err, h.Close()); err != nil {
		b.Fatal(err)
	}
	db, err := sql.Open("sqlite", filepath.Join(folder, "history.db"))
	if err != nil {
		b.Fatal(err)
	}
	repeatDay(b, db)
	if err := db.Close(); err != nil {
		b.Fatal(err)
	}
	readBack(b, folder, day.AddDate(0, 0, -200))
}

// readBack checks that what was made is a history.
func readBack(b *testing.B, folder string, day time.Time) {
	b.Helper()
	h, err := history.Open(folder, history.Options{})
	if err != nil {
		b.Fatal(err)
	}
	got, err := h.Range(b.Context(), "tank-1/t0", day, day.AddDate(0, 0, 1), 0)
	if err != nil || len(got) != 8640 {
		b.Fatalf("%d readings of a day of the year, %v, want 8640", len(got), err)
	}
	if err := h.Close(); err != nil {
		b.Fatal(err)
	}
}

type dayChunk struct {
	key, count int64
	data       []byte
}

// repeatDay puts the chunks of whole days of a file once more before each of the 364 days before.
func repeatDay(b *testing.B, db *sql.DB) {
	b.Helper()
	rows, err := db.QueryContext(b.Context(), "SELECT key, count, data FROM chunk WHERE hours = 24")
	if err != nil {
		b.Fatal(err)
	}
	defer rows.Close()
	var days []dayChunk
	for rows.Next() {
		var c dayChunk
		if err := rows.Scan(&c.key, &c.count, &c.data); err != nil {
			b.Fatal(err)
		}
		days = append(days, c)
	}
	if err := rows.Err(); err != nil || len(days) != 64 {
		b.Fatalf("%d chunks of a day, %v, want one of each point", len(days), err)
	}
	tx, err := db.BeginTx(b.Context(), nil)
	if err != nil {
		b.Fatal(err)
	}
	for _, c := range days {
		for back := range int64(364) {
			earlier := c.before(back + 1)
			_, err := tx.ExecContext(b.Context(), "INSERT INTO chunk (key, hours, count, data) VALUES (?, 24, ?, ?)", earlier.key, earlier.count, earlier.data)
			if err != nil {
				b.Fatal(err)
			}
		}
	}
	if err := tx.Commit(); err != nil {
		b.Fatal(err)
	}
}

// before is the same chunk some days earlier; gateway/history/chunk.go has the layout.
func (c dayChunk) before(days int64) dayChunk {
	body := c.data[1 : len(c.data)-4]
	position, n := binary.Uvarint(body)
	wall, m := binary.Varint(body[n:])
	data := binary.AppendUvarint([]byte{c.data[0]}, position)
	data = binary.AppendVarint(data, wall-days*86400*1000)
	data = append(data, body[n+m:]...)
	key := c.key - 24*days
	var head [24]byte
	for i, v := range []int64{key, 24, c.count} {
		binary.LittleEndian.PutUint64(head[8*i:], uint64(v)) //nolint:gosec // as it is written
	}
	castagnoli := crc32.MakeTable(crc32.Castagnoli)
	data = binary.LittleEndian.AppendUint32(data, crc32.Update(crc32.Checksum(head[:], castagnoli), castagnoli, data))
	return dayChunk{key, c.count, data}
}
