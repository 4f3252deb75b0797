//go:build linux

package history

import (
	"encoding/binary"
	"hash/crc32"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"millwarden/internal/reading"
)

// rawLog is the baseline: the same readings in a preallocated file, one fdatasync an append, nothing that could read them by point or time.
type rawLog struct {
	f    *os.File
	at   int64
	data []byte
}

const rawSize = 64 << 20

func newRawLog(b *testing.B) *rawLog {
	f, err := os.Create(filepath.Join(b.TempDir(), "raw"))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { f.Close() })
	if _, err := f.Write(make([]byte, rawSize)); err != nil {
		b.Fatal(err)
	}
	if err := f.Sync(); err != nil {
		b.Fatal(err)
	}
	return &rawLog{f: f}
}

func (l *rawLog) append(b *testing.B, rs []reading.Reading) {
	d := l.data[:0]
	d = binary.AppendVarint(d, rs[0].Stamp.Wall.UnixMilli())
	for i := range rs {
		d = binary.AppendUvarint(d, uint64(i))
		d = binary.AppendVarint(d, int64(rs[i].Value*rs[i].Quantity.StepsPerUnit()))
	}
	d = binary.LittleEndian.AppendUint32(d, crc32.Checksum(d, castagnoli))
	l.data = d
	if l.at+int64(len(d)) > rawSize {
		l.at = 0
	}
	if _, err := l.f.WriteAt(d, l.at); err != nil {
		b.Fatal(err)
	}
	if err := datasync(l.f); err != nil {
		b.Fatal(err)
	}
	l.at += int64(len(d))
}

// BenchmarkAppend: seconds of 64 readings, each durable, against the raw log in turn with it on the same disk; the goal is a rate of at least 0.7
// of the raw log's, a median of at most 1.5 and a 99th percentile of at most 4 times its [measured-store 8].
func BenchmarkAppend(b *testing.B) {
	h, err := Open(b.TempDir(), Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer h.Close()
	l := newRawLog(b)
	r := rand.New(rand.NewPCG(51, 52))
	for s := range 500 { // the log of the history has its full size from then on
		mustAppend(b, h, second(r, 64, s)...)
		l.append(b, second(r, 64, s))
	}
	var ours, raw []time.Duration
	for s := 1000; b.Loop(); s++ {
		rs := second(r, 64, s)
		start := time.Now()
		l.append(b, rs)
		between := time.Now()
		mustAppend(b, h, rs...)
		ours, raw = append(ours, time.Since(between)), append(raw, between.Sub(start))
	}
	slices.Sort(ours)
	slices.Sort(raw)
	total := func(ds []time.Duration) (sum time.Duration) {
		for _, d := range ds {
			sum += d
		}
		return sum
	}
	n := len(ours)
	b.ReportMetric(float64(total(raw))/float64(total(ours)), "rate/raw")
	b.ReportMetric(float64(ours[n/2])/float64(raw[n/2]), "p50/raw")
	b.ReportMetric(float64(ours[n*99/100])/float64(raw[n*99/100]), "p99/raw")
	b.ReportMetric(float64(n*64)/total(ours).Seconds(), "readings/s")
}

// BenchmarkSize: bytes a reading takes on the disk before any roll-up, whole file.
func BenchmarkSize(b *testing.B) {
	for b.Loop() {
		dir := memoryFolder(b)
		h, err := Open(dir, Options{})
		if err != nil {
			b.Fatal(err)
		}
		r := rand.New(rand.NewPCG(53, 54))
		for s := range 3600 {
			mustAppend(b, h, second(r, 64, s)...)
		}
		if err := h.Close(); err != nil {
			b.Fatal(err)
		}
		info, err := os.Stat(filepath.Join(dir, fileName))
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(info.Size())/(3600*64), "B/reading")
	}
}

// day is a history of one day of 64 points, made once.
func day(b *testing.B) *History {
	h, err := Open(memoryFolder(b), Options{})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { h.Close() })
	r := rand.New(rand.NewPCG(55, 56))
	for s := 0; s < 86400; s += 16 { // by 16 seconds at once, or it takes minutes
		var rs []reading.Reading
		for i := range 16 {
			rs = append(rs, second(r, 64, s+i)...)
		}
		mustAppend(b, h, rs...)
	}
	return h
}

// BenchmarkPixels: one point of a day of 64, drawn in 1,000 columns, against decoding the same rows from memory.
func BenchmarkPixels(b *testing.B) {
	h := day(b)
	var kept [][]byte
	rows, err := h.file.Read.QueryContext(b.Context(), "SELECT data FROM row")
	if err != nil {
		b.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var data []byte
		if err := rows.Scan(&data); err != nil {
			b.Fatal(err)
		}
		kept = append(kept, data)
	}
	if err := rows.Err(); err != nil {
		b.Fatal(err)
	}
	var ours, plain time.Duration
	for b.Loop() {
		start := time.Now()
		for _, data := range kept {
			row, _ := openRow(0, data, true)
			var p packed
			for {
				if more, _ := row.next(&p); !more {
					break
				}
			}
		}
		between := time.Now()
		if got, err := h.Pixels(b.Context(), "tank-1/temperature", night, night.Add(24*time.Hour), 1000); err != nil || len(got) != 1000 {
			b.Fatal(len(got), err)
		}
		ours, plain = ours+time.Since(between), plain+between.Sub(start)
	}
	b.ReportMetric(float64(ours)/float64(plain), "time/decoding")
	b.ReportMetric(ours.Seconds()*1000/float64(b.N), "ms/day")
}

// BenchmarkFrom: what the publisher reads, packs of 64.
func BenchmarkFrom(b *testing.B) {
	h := day(b)
	b.ReportAllocs()
	var into []Entry
	position := uint64(1)
	for b.Loop() {
		var err error
		if into, err = h.From(position, 64, into[:0]); err != nil || len(into) != 64 {
			b.Fatal(len(into), err)
		}
		position = into[63].Position + 1
		if position > 5_000_000 {
			position = 1
		}
	}
	b.ReportMetric(float64(b.N)*64/b.Elapsed().Seconds(), "readings/s")
}
