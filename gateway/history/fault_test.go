package history

import (
	"bufio"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"millwarden/internal/reading"
)

// numbered is the reading that has a position in the tests that kill: its value and time follow from the position alone.
func numbered(position uint64) reading.Reading {
	return Round(temperature(fmt.Sprintf("tank-%d/temperature", position%8), float64(position%1000)/16, after(time.Duration(position)*time.Millisecond)))
}

const (
	childFolder   = "MILLWARDEN_TEST_HISTORY"
	childUnsynced = "MILLWARDEN_TEST_HISTORY_UNSYNCED"
	childRolling  = "MILLWARDEN_TEST_HISTORY_ROLLING"
)

// TestChild is the process that is killed: it appends for ever, and says so after each append.
func TestChild(t *testing.T) {
	dir := os.Getenv(childFolder)
	if dir == "" {
		t.Skip("it is run by TestKill")
	}
	h, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if os.Getenv(childUnsynced) != "" { // the control of the power cuts
		if _, err := pool(t, h).ExecContext(t.Context(), "PRAGMA synchronous = OFF"); err != nil {
			t.Fatal(err)
		}
	}
	for next := h.Last() + 1; ; {
		var rs []reading.Reading
		for range 8 {
			rs = append(rs, numbered(next))
			next++
		}
		last, err := h.Append(rs)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(os.Stdout, "ack %d\n", last)
		if os.Getenv(childRolling) != "" && last%64 == 0 {
			if _, err := h.RollUp(t.Context(), night.Add(48*time.Hour), false); err != nil {
				t.Fatal(err)
			}
		}
		if last%400 == 0 {
			if err := h.SetWatermark(Mark{Commit: last - 8}); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// Aim: what Append has acknowledged is there after kill -9, and nothing is there twice. Method: this test's own binary appends and acknowledges on a
// pipe; only what came through the pipe counts. kill -9 says nothing about what the disk has: that every commit is synced is TestOpen_setsPragmas.
func TestKill_losesNothingAcknowledged(t *testing.T) {
	dir := t.TempDir()
	kills := 30
	if testing.Short() {
		kills = 5
	}
	r := rand.New(rand.NewPCG(31, 32))
	var acknowledged uint64
	for range kills {
		acknowledged = max(acknowledged, killOne(t, time.Duration(r.IntN(120))*time.Millisecond, childFolder+"="+dir))
	}
	h := openTest(t, dir)
	if h.Last() < acknowledged {
		t.Fatalf("Last() = %d, acknowledged were %d", h.Last(), acknowledged)
	}
	for i, e := range readAll(t, h) {
		if e.Position != uint64(i+1) || !equal(e.Reading, numbered(e.Position)) {
			t.Fatalf("entry %d = %+v, want %+v", i, e, numbered(uint64(i+1)))
		}
	}
	if m := h.Watermark(); m.Commit > h.Last() || (acknowledged > 1000 && m.Commit == 0) {
		t.Errorf("Watermark() = %+v", m)
	}
	t.Logf("%d kills, %d readings acknowledged, %d kept", kills, acknowledged, h.Last())
	if acknowledged < uint64(8*kills) {
		t.Errorf("only %d readings were acknowledged: the child hardly ran", acknowledged)
	}
}

// killOne runs the child for so long after its first acknowledgement, and gives the last one that came.
func killOne(t *testing.T, life time.Duration, environment ...string) (last uint64) {
	t.Helper()
	c := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestChild$")
	c.Env = append(os.Environ(), environment...)
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	var once sync.Once
	for lines := bufio.NewScanner(out); lines.Scan(); {
		if _, err := fmt.Sscanf(lines.Text(), "ack %d", &last); err != nil {
			t.Fatalf("the child says %q", lines.Text())
		}
		once.Do(func() { time.AfterFunc(life, func() { _ = c.Process.Kill() }) }) // SIGKILL
	}
	if err := c.Wait(); err == nil || !strings.Contains(err.Error(), "killed") {
		t.Fatalf("the child ended by itself: %v", err)
	}
	return last
}

// A full disk: a typed error, readings in memory, reads go on, and all is written when there is room. The limit on pages stands for the disk: SQLite
// gives the same code.
func TestAppend_fullDisk(t *testing.T) {
	h := openTest(t, t.TempDir())
	limit := func(pages int) {
		t.Helper()
		if _, err := pool(t, h).ExecContext(t.Context(), fmt.Sprintf("PRAGMA max_page_count = %d", pages)); err != nil {
			t.Fatal(err)
		}
	}
	r := rand.New(rand.NewPCG(33, 34))
	var want []reading.Reading
	append1 := func(s int) error {
		rs := second(r, 64, s)
		want = append(want, rs...)
		_, err := h.Append(rs)
		return err
	}
	if err := append1(0); err != nil {
		t.Fatal(err)
	}
	written := len(want)
	limit(1) // SQLite takes the present size: no page more
	var full int
	for s := 1; s < 40; s++ {
		err := append1(s)
		var u *Unwritten
		if err == nil {
			written = len(want)
			continue
		}
		full++
		if !errors.Is(err, ErrFull) || !errors.As(err, &u) || u.Waiting != len(want)-written || u.Lost != 0 {
			t.Fatalf("Append() on a full disk = %v, want *Unwritten with %d waiting", err, len(want)-written)
		}
		if got, err := h.From(1, 10000, nil); err != nil || len(got) != written {
			t.Fatalf("From() on a full disk: %d, %v, want %d", len(got), err, written)
		}
	}
	if full == 0 {
		t.Fatal("the disk was never full")
	}
	if c := h.Counts(); c.Waiting != len(want)-written {
		t.Errorf("Counts() = %+v, want %d waiting", c, len(want)-written)
	}
	limit(1 << 20)
	if err := append1(40); err != nil {
		t.Fatalf("Append() with room again = %v", err)
	}
	wantEntries(t, readAll(t, h), want)
	if c := h.Counts(); c.Waiting != 0 || c.Lost != 0 || c.Appended != uint64(len(want)) {
		t.Errorf("Counts() = %+v", c)
	}
}

// What finds no room in memory either is counted, and the newest are kept.
func TestAppend_fullDiskAndMemory(t *testing.T) {
	h := openTest(t, t.TempDir())
	if _, err := pool(t, h).ExecContext(t.Context(), "PRAGMA query_only = 1"); err != nil { // a card that went read-only
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(35, 36))
	total := 0
	for s := 0; total < ringReadings+3000; s++ {
		rs := second(r, 1000, s)
		total += len(rs)
		if _, err := h.Append(rs); err == nil {
			t.Fatal("Append() to a file that cannot be written gave no error")
		}
	}
	c := h.Counts()
	if c.Lost == 0 || int(c.Lost)+c.Waiting != total || c.Waiting > ringReadings {
		t.Errorf("Counts() = %+v of %d readings", c, total)
	}
	if _, err := pool(t, h).ExecContext(t.Context(), "PRAGMA query_only = 0"); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, h)
	if got := readAll(t, h); len(got) != c.Waiting || got[len(got)-1].Position != uint64(c.Waiting) {
		t.Errorf("%d written, want the %d that waited", len(got), c.Waiting)
	}
}

// The same on a real full file system, where this test may mount one. It also fills while the log is being checkpointed.
func TestAppend_fullFileSystem(t *testing.T) {
	dir := t.TempDir()
	if err := syscall.Mount("none", dir, "tmpfs", 0, "size=1m"); err != nil {
		t.Skipf("mounting a small file system: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Error(err)
		}
	})
	ballast := filepath.Join(dir, "ballast")
	if err := os.WriteFile(ballast, make([]byte, 600<<10), 0o600); err != nil {
		t.Fatal(err)
	}
	h := openTest(t, dir)
	r := rand.New(rand.NewPCG(37, 38))
	var want []reading.Reading
	var errs int
	for s := 0; s < 20000 && errs < 20; s++ {
		rs := second(r, 64, s)
		want = append(want, rs...)
		if _, err := h.Append(rs); errors.Is(err, ErrFull) {
			errs++
		} else if err != nil {
			t.Fatalf("Append() = %v, want ErrFull", err)
		}
	}
	if errs != 20 {
		t.Fatalf("the file system was not filled: %d errors", errs)
	}
	if got := readAll(t, h); len(got) == 0 || len(got) >= len(want) {
		t.Errorf("%d readings can be read on the full file system, of %d", len(got), len(want))
	}
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	rs := second(r, 64, 30000)
	want = append(want, rs...)
	mustAppend(t, h, rs...)
	wantEntries(t, readAll(t, h), want)
}

// The clock is set an hour after the start: readings of this boot get their time by the monotonic clock, positions stay, nothing else moves.
func TestSettle_thisBoot(t *testing.T) {
	dir := t.TempDir()
	h := openTest(t, dir)
	wrong := time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC)
	var want []reading.Reading
	mustAppend(t, h, temperature("tank-1/temperature", 1, after(0)))
	want = append(want, temperature("tank-1/temperature", 1, after(0)))
	boot := night.Add(2 * time.Hour) // when boot 2 began, truly
	for s := range rowsPerStretch + 40 {
		mono := time.Duration(s) * time.Second
		mustAppend(t, h, temperature("tank-1/temperature", float64(s), reading.Stamp{Wall: wrong.Add(mono), Mono: mono, Boot: 2}))
		want = append(want, temperature("tank-1/temperature", float64(s), reading.Stamp{Wall: boot.Add(mono), Mono: mono, Boot: 2, Set: true}))
	}
	if got, err := h.From(2, 1, nil); err != nil || got[0].Stamp.Set {
		t.Fatalf("From(2) = %+v, %v, want a reading without a known time", got, err)
	}
	now := reading.Stamp{Wall: boot.Add(time.Hour), Mono: time.Hour, Boot: 2, Set: true}
	if n, err := h.Settle(t.Context(), now); n != len(want)-1 || err != nil {
		t.Errorf("Settle() = %d, %v, want %d", n, err, len(want)-1)
	}
	if n, err := h.Settle(t.Context(), now); n != 0 || err != nil {
		t.Errorf("second Settle() = %d, %v, want nothing to do", n, err)
	}
	check := func() {
		t.Helper()
		wantEntries(t, readAll(t, h), want)
		got, err := h.Range(t.Context(), "tank-1/temperature", boot, boot.Add(time.Hour), 0)
		if err != nil || len(got) != len(want)-1 {
			t.Errorf("Range() finds %d, %v, want %d at their new time", len(got), err, len(want)-1)
		}
		if l := h.Latest(); len(l) != 1 || !equal(l[0].Reading, want[len(want)-1]) {
			t.Errorf("Latest() = %+v, want %+v", l, want[len(want)-1])
		}
	}
	check()
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	h = openTest(t, dir)
	check()
	if _, err := h.Settle(t.Context(), reading.Stamp{}); err == nil {
		t.Error("Settle() with an unset clock gave no error")
	}
}

// Two boots without a clock, then one with: order is kept, the times are estimates between what is known, and are marked.
func TestSettle_earlierBootsByEstimate(t *testing.T) {
	h := openTest(t, t.TempDir())
	mustAppend(t, h, temperature("tank-1/temperature", 0, after(0))) // boot 1, set
	for boot := uint32(2); boot <= 3; boot++ {
		for s := range 5 {
			mustAppend(t, h, temperature("tank-1/temperature", float64(s), reading.Stamp{Wall: time.Unix(int64(s), 0), Mono: time.Duration(s) * time.Second, Boot: boot}))
		}
	}
	began := night.Add(time.Hour) // boot 4
	mustAppend(t, h, temperature("tank-1/temperature", 9, reading.Stamp{Wall: began.Add(time.Minute), Mono: time.Minute, Boot: 4, Set: true}))
	if n, err := h.Settle(t.Context(), reading.Stamp{Wall: began.Add(2 * time.Minute), Mono: 2 * time.Minute, Boot: 4, Set: true}); n != 10 || err != nil {
		t.Fatalf("Settle() = %d, %v, want 10", n, err)
	}
	all := readAll(t, h)
	for i, e := range all {
		estimate := i > 0 && i < 11
		if !e.Stamp.Set || (e.Quality == reading.Uncertain) != estimate || (e.Cause == estimated) != estimate {
			t.Errorf("reading %d = %+v, want estimated: %v", i, e, estimate)
		}
		if i > 0 && !e.Stamp.Wall.After(all[i-1].Stamp.Wall) {
			t.Errorf("reading %d at %v, not after %v", i, e.Stamp.Wall, all[i-1].Stamp.Wall)
		}
	}
	if last := all[10].Stamp.Wall; last.After(began) {
		t.Errorf("the last estimate %v is after the boot that came next, %v", last, began)
	}
}

func TestRetain_removesOldAndSent(t *testing.T) {
	dir := t.TempDir()
	h := openTest(t, dir)
	r := rand.New(rand.NewPCG(41, 42))
	var all []reading.Reading
	for s := range 5 * rowsPerStretch {
		rs := second(r, 2, s)
		all = append(all, rs...)
		mustAppend(t, h, rs...)
	}
	const per = 2 * rowsPerStretch
	before := night.Add(time.Duration(3*rowsPerStretch+10) * time.Second) // three whole stretches are older
	if got, err := h.Retain(t.Context(), before, false); err != nil || got != (Removed{Kept: 3 * per}) {
		t.Errorf("Retain() of unsent readings = %+v, %v, want all kept", got, err)
	}
	if err := h.SetWatermark(Mark{Commit: per + 5}); err != nil {
		t.Fatal(err)
	}
	if got, err := h.Retain(t.Context(), before, false); err != nil || got != (Removed{Readings: per, Kept: 2 * per}) {
		t.Errorf("Retain() = %+v, %v, want the sent stretch removed", got, err)
	}
	if got, err := h.Retain(t.Context(), before, true); err != nil || got != (Removed{Readings: 2 * per, Unsent: 2*per - 5}) {
		t.Errorf("Retain(even unsent) = %+v, %v", got, err)
	}
	check := func() {
		t.Helper()
		got, err := h.From(1, len(all), nil)
		if err != nil || h.First() != 3*per+1 || got[0].Position != 3*per+1 {
			t.Fatalf("First() = %d, From(1) begins at %d, %v, want %d", h.First(), got[0].Position, err, 3*per+1)
		}
		wantEntries(t, got, all[3*per:])
	}
	check()
	if _, err := h.Retain(t.Context(), night.Add(1000*time.Hour), true); err != nil || h.First() == 0 {
		t.Errorf("Retain() of everything: First() = %d, %v, want the newest stretch kept", h.First(), err)
	}
	last := h.Last()
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	h = openTest(t, dir)
	if got := mustAppend(t, h, second(r, 1, 9999)...); got != last+1 {
		t.Errorf("Append() after retention and a start = %d, want %d", got, last+1)
	}
}

// Readers beside the writer, retention and settling: for the race detector, and no read may see half a change.
func TestHistory_manyAtOnce(t *testing.T) {
	h := openTest(t, t.TempDir())
	r := rand.New(rand.NewPCG(43, 44))
	looks := make(chan struct{}) // a reader that reads all the time would make two cores wait for it
	var readers sync.WaitGroup
	for i := range 3 {
		readers.Go(func() {
			for range looks {
				got, err := h.From(h.First(), 500, nil)
				if err != nil {
					t.Errorf("From() = %v", err)
				}
				for j := 1; j < len(got); j++ {
					if got[j].Position != got[j-1].Position+1 {
						t.Errorf("reader %d: position %d after %d", i, got[j].Position, got[j-1].Position)
					}
				}
				if _, err := h.Pixels(t.Context(), "tank-1/temperature", night, night.Add(time.Hour), 50); err != nil {
					t.Errorf("Pixels() = %v", err)
				}
				h.Latest()
				h.Counts()
			}
		})
	}
	for s := range 3*rowsPerStretch + 9 {
		select {
		case looks <- struct{}{}:
		default: // all are still reading
		}
		rs := second(r, 4, s)
		if s%50 == 49 {
			rs[0].Cause, rs[0].Quality = fmt.Sprintf("cause %d", s), reading.Uncertain
			rs[1].Point = fmt.Sprintf("new-%d/temperature", s)
		}
		if err := h.SetWatermark(Mark{Commit: mustAppend(t, h, rs...)}); err != nil {
			t.Fatal(err)
		}
		if s%300 == 299 {
			if _, err := h.Retain(t.Context(), after(time.Duration(s-280)*time.Second).Wall, false); err != nil {
				t.Fatal(err)
			}
		}
	}
	close(looks)
	readers.Wait()
}
