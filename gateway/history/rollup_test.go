package history

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// rollAll rolls up all that can be, and checks that each step does something.
func rollAll(t testing.TB, h *History, now time.Time, evenUnsent bool) (total Rolled) {
	t.Helper()
	for range 100000 {
		done, err := h.RollUp(t.Context(), now, evenUnsent)
		if err != nil {
			t.Fatal(err)
		}
		if done == (Rolled{}) {
			return total
		}
		total.Readings += done.Readings
		total.Hours += done.Hours
	}
	t.Fatal("RollUp() comes to no end")
	return total
}

// mixed gives a second of a small estate: a quality now and then, missing values, one too large for steps, causes with and without a number, a radio
// probe that delivers the half hour it was out of reach, a boot that ends.
func mixed(r *rand.Rand, s int) []reading.Reading {
	at := after(time.Duration(s) * time.Second)
	at.Mono += time.Duration(r.IntN(3)-1) * time.Millisecond // the two clocks are read one after the other
	if s > 4000 {
		at.Boot, at.Mono = 2, at.Mono-4000*time.Second
	}
	rs := []reading.Reading{
		temperature("tank-1/temperature", 20+math.Sin(float64(s)/600)*5+r.Float64()*0.05, at),
		{Point: "tank-1/ph", Quantity: units.PH, Value: 4 + float64(r.IntN(9))*0.01, Stamp: at},
		temperature("deck/air", 24, at),
	}
	switch {
	case s%97 == 0:
		rs[0] = reading.Missing(rs[0].Point, rs[0].Quantity, at, "no answer")
	case s%101 == 0:
		rs[1].Quality, rs[1].Cause = reading.Uncertain, "calibration is due"
	case s%311 == 0:
		rs[1].Quality, rs[1].Cause = reading.Bad, strings.Repeat("long ", 30)+fmt.Sprint(s)
	case s%503 == 0:
		rs[2].Value = 1e300
	}
	if s%1800 == 0 && s > 0 { // what was kept out of reach
		for back := 1800; back > 0; back -= 10 {
			old := at
			old.Wall = old.Wall.Add(-time.Duration(back)*time.Second + 3*time.Millisecond)
			old.Mono += -time.Duration(back) * time.Second
			rs = append(rs, temperature("bin-1/grain", 15+float64(back%7)*0.25, old))
		}
	}
	return rs
}

func fillMixed(t testing.TB, h *History, seconds int) {
	t.Helper()
	r := rand.New(rand.NewPCG(71, 72))
	for s := range seconds {
		mustAppend(t, h, mixed(r, s)...)
	}
}

var mixedPoints = []string{"tank-1/temperature", "tank-1/ph", "deck/air", "bin-1/grain"}

// alike is equal, but for the monotonic time, which chunks keep within slack.
func alike(a, b reading.Reading) bool {
	if d := a.Stamp.Mono - b.Stamp.Mono; d > slack*time.Millisecond || d < -slack*time.Millisecond {
		return false
	}
	a.Stamp.Mono = b.Stamp.Mono
	return equal(a, b)
}

// seen is what a history answers about all there is.
type seen struct {
	ranges map[string][]Entry
	pixels map[string][]Column
	latest []Entry
	recent map[string][]reading.Reading
}

func seeAll(t testing.TB, h *History) seen {
	t.Helper()
	s := seen{map[string][]Entry{}, map[string][]Column{}, h.Latest(), map[string][]reading.Reading{}}
	from, to := night.Add(-48*time.Hour), night.Add(96*time.Hour)
	for _, p := range mixedPoints {
		var err error
		if s.ranges[p], err = h.Range(t.Context(), p, from, to, 0); err != nil {
			t.Fatal(err)
		}
		if s.pixels[p], err = h.Pixels(t.Context(), p, night, night.Add(4*time.Hour), 500); err != nil {
			t.Fatal(err)
		}
	}
	if err := h.Recent(t.Context(), 1, time.Hour+1000*time.Second, func(r *reading.Reading) error {
		s.recent[r.Point] = append(s.recent[r.Point], *r)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	for _, rs := range s.recent {
		slices.SortStableFunc(rs, func(a, b reading.Reading) int { return a.Stamp.Wall.Compare(b.Stamp.Wall) })
	}
	return s
}

// wantSame checks that nothing that was seen has changed, but for how exact a monotonic time is.
func wantSame(t testing.TB, when string, got, want seen) {
	t.Helper()
	for _, p := range mixedPoints {
		if len(got.ranges[p]) != len(want.ranges[p]) || len(want.ranges[p]) == 0 {
			t.Fatalf("%s: Range(%s) gives %d, want %d", when, p, len(got.ranges[p]), len(want.ranges[p]))
		}
		for i, e := range got.ranges[p] {
			if !alike(e.Reading, want.ranges[p][i].Reading) {
				t.Fatalf("%s: Range(%s) %d = %+v, want %+v", when, p, i, e.Reading, want.ranges[p][i].Reading)
			}
		}
		if !slices.EqualFunc(got.pixels[p], want.pixels[p], sameColumn) {
			t.Fatalf("%s: Pixels(%s) changed", when, p)
		}
		// At the edge of the window the slack may let one in or out.
		if d := len(got.recent[p]) - len(want.recent[p]); d < -1 || d > 1 || len(want.recent[p]) == 0 {
			t.Fatalf("%s: Recent gives %d of %s, want %d", when, len(got.recent[p]), p, len(want.recent[p]))
		}
		last, wanted := got.recent[p][len(got.recent[p])-1], want.recent[p][len(want.recent[p])-1]
		if !alike(last, wanted) {
			t.Fatalf("%s: Recent of %s ends with %+v, want %+v", when, p, last, wanted)
		}
	}
	if len(got.latest) != len(want.latest) {
		t.Fatalf("%s: Latest gives %d, want %d", when, len(got.latest), len(want.latest))
	}
	for i := range got.latest {
		if got.latest[i].Position != want.latest[i].Position || !alike(got.latest[i].Reading, want.latest[i].Reading) {
			t.Errorf("%s: Latest %+v, want %+v", when, got.latest[i], want.latest[i])
		}
	}
}

// sameColumn compares all but the mean exactly; the mean adds in another order.
func sameColumn(a, b Column) bool {
	close := math.Abs(a.Mean-b.Mean) <= 1e-9*math.Abs(a.Mean)
	a.Mean, b.Mean = 0, 0
	return close && a == b
}

// Aim: rolling up changes nothing that can be asked, at no step, and not over a start. Method: a history of four hours of everything a reading can
// be is asked for all before, in the middle and after, as hours and as days.
func TestRollUp_changesNoAnswer(t *testing.T) {
	dir := memoryFolder(t)
	h, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	fillMixed(t, h, 4*3600)
	want := seeAll(t, h)
	last := h.Last()
	now := night.Add(10 * time.Hour) // the day is not over for long enough
	for step := range 400 {
		done, err := h.RollUp(t.Context(), now, true)
		if err != nil {
			t.Fatal(err)
		}
		if done == (Rolled{}) {
			break
		}
		if step%9 == 0 {
			wantSame(t, fmt.Sprint("step ", step), seeAll(t, h), want)
		}
	}
	wantSame(t, "as hours", seeAll(t, h), want)
	if h.First() < last-4*rowsPerStretch*3-1000 || h.Last() != last {
		t.Errorf("rows from %d to %d, want a stretch or two before %d", h.First(), h.Last(), last)
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	h = openTest(t, dir)
	wantSame(t, "after a start", seeAll(t, h), want)
	if done := rollAll(t, h, night.Add(48*time.Hour), true); done.Hours < 4*4 {
		t.Errorf("%+v, want the hours of 4 points merged", done)
	}
	wantSame(t, "as days", seeAll(t, h), want)
	var days, hours int
	if err := h.file.Read.QueryRowContext(t.Context(), "SELECT sum(hours = 24), sum(hours = 1) FROM chunk").Scan(&days, &hours); err != nil || days == 0 || hours != 0 {
		t.Errorf("%d chunks of days, %d of hours, %v, want only days", days, hours, err)
	}
	wantReplay(t, h, want)
}

// wantReplay checks that Replay gives every reading once.
func wantReplay(t *testing.T, h *History, want seen) {
	t.Helper()
	count := map[string]int{}
	var before time.Time
	err := h.Replay(t.Context(), func(e *Entry) error {
		if e.Position == 0 && e.Stamp.Wall.Before(before) {
			return fmt.Errorf("%s before %s", e.Stamp.Wall, before)
		}
		before = e.Stamp.Wall
		count[e.Point]++
		return nil
	})
	for _, p := range mixedPoints {
		if err != nil || count[p] != len(want.ranges[p]) {
			t.Errorf("Replay() gives %d of %s, %v, want %d", count[p], p, err, len(want.ranges[p]))
		}
	}
}

// What is not in the store, or of an hour that is not over, stays in rows, and so From goes on giving it.
func TestRollUp_onlySentAndOver(t *testing.T) {
	h := openTest(t, memoryFolder(t))
	fillMixed(t, h, 2*3600)
	now := night.Add(24 * time.Hour)
	if done := rollAll(t, h, now, false); done != (Rolled{}) {
		t.Errorf("%+v of readings that are not in the store, want nothing", done)
	}
	if done := rollAll(t, h, night.Add(90*time.Minute), true); done != (Rolled{}) {
		t.Errorf("%+v of hours that are not over, want nothing", done)
	}
	commit := h.Last() / 2
	if err := h.SetWatermark(Mark{Commit: commit, Stored: commit}); err != nil {
		t.Fatal(err)
	}
	done := rollAll(t, h, now, false)
	if done.Readings == 0 || uint64(done.Readings) > commit {
		t.Fatalf("%+v, want some of %d", done, commit)
	}
	for position := commit + 1; position <= h.Last(); position += 977 {
		if got, err := h.From(position, 1, nil); err != nil || len(got) != 1 || got[0].Position != position {
			t.Fatalf("From(%d) = %v, %v", position, got, err)
		}
	}
}

// A reading of an hour or a day that is rolled up: it stands in its row, then in the chunk; delivered again it is known; of a time that is taken it moves.
func TestRollUp_lateReadings(t *testing.T) {
	for _, days := range []bool{false, true} {
		h := openTest(t, memoryFolder(t))
		for s := range 2 * 3600 {
			mustAppend(t, h, temperature("tank-1/temperature", float64(s%50), after(time.Duration(s)*time.Second)))
		}
		now := night.Add(8 * time.Hour)
		if days {
			now = now.Add(24 * time.Hour)
		}
		rollAll(t, h, now, true)
		late := temperature("tank-1/temperature", 77, after(1000*time.Second+500*time.Millisecond))
		taken := temperature("tank-1/temperature", 78, after(1001*time.Second))
		again := temperature("tank-1/temperature", float64(1002%50), after(1002*time.Second))
		mustAppend(t, h, late, taken, again)
		if c := h.Counts(); c.Repeated != 1 || c.Moved != 1 {
			t.Errorf("days %v: Repeated, Moved = %d, %d, want 1, 1", days, c.Repeated, c.Moved)
		}
		want := []float64{0, 77, 1, 78, 2}
		check := func(when string) {
			t.Helper()
			got, err := h.Range(t.Context(), "tank-1/temperature", night.Add(1000*time.Second), night.Add(1003*time.Second), 0)
			if err != nil || len(got) != len(want) {
				t.Fatalf("days %v, %s: %d readings, %v, want %d", days, when, len(got), err, len(want))
			}
			for i := range got {
				if got[i].Value != want[i] {
					t.Errorf("days %v, %s: reading %d is %v, want %v", days, when, i, got[i].Value, want[i])
				}
			}
		}
		check("in its row")
		for s := range 2 * rowsPerStretch { // its stretch and the next are closed
			mustAppend(t, h, temperature("deck/air", 20, after(8*time.Hour+time.Duration(s)*time.Second)))
		}
		if done := rollAll(t, h, now.Add(2*time.Hour), true); done.Readings == 0 {
			t.Fatal("nothing more is rolled up")
		}
		var rows int
		if err := h.file.Read.QueryRowContext(t.Context(), "SELECT count(*) FROM chunk WHERE hours = 24").Scan(&rows); err != nil || days != (rows > 0) {
			t.Errorf("days %v: %d chunks of days, %v", days, rows, err)
		}
		check("in its chunk")
	}
}

// A query beside the roll-up sees every reading once, whatever moves meanwhile, and so does an append that looks whether a late reading is known.
func TestRollUp_besideQueries(t *testing.T) {
	h := openTest(t, memoryFolder(t))
	const seconds = 3 * 3600
	var batch []reading.Reading
	for s := range seconds {
		if batch = append(batch, temperature("tank-1/temperature", float64(s%50), after(time.Duration(s)*time.Second))); len(batch) == 4 {
			mustAppend(t, h, batch...)
			batch = batch[:0]
		}
	}
	done := make(chan struct{})
	var all sync.WaitGroup
	queries := make([]int, 2)
	for q := range queries {
		all.Go(func() {
			for {
				got, err := h.Range(t.Context(), "tank-1/temperature", night, night.Add(4*time.Hour), 0)
				if err != nil || len(got) != seconds {
					t.Errorf("Range() beside the roll-up gives %d, %v, want %d", len(got), err, seconds)
					return
				}
				queries[q]++
				select {
				case <-done:
					return
				default:
				}
			}
		})
	}
	rolled := rollAll(t, h, night.Add(48*time.Hour), true)
	for s := 100; s < 200; s++ {
		mustAppend(t, h, temperature("tank-1/temperature", float64(s%50), after(time.Duration(s)*time.Second)))
	}
	close(done)
	all.Wait()
	if c := h.Counts(); c.Repeated != 100 || rolled.Readings == 0 || rolled.Hours == 0 || queries[0] < 2 {
		t.Errorf("Repeated = %d, %+v, queries %v, want 100 and both", c.Repeated, rolled, queries)
	}
}

// Aim: a roll-up that is cut off anywhere leaves every reading once, in a row or in a chunk. Method: the log of some steps is cut at each of its
// frames and within them, and what is left is opened and asked for all.
func TestRollUp_logCutAnywhere(t *testing.T) {
	dir := memoryFolder(t)
	h, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	fillMixed(t, h, 4*rowsPerStretch)
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	h = openTest(t, dir)
	want := seeCounts(t, h)
	if done := rollAll(t, h, night.Add(48*time.Hour), true); done.Readings == 0 || done.Hours == 0 {
		t.Fatalf("%+v, want both", done)
	}
	base, err := os.ReadFile(filepath.Join(dir, fileName))
	if err != nil {
		t.Fatal(err)
	}
	log, err := os.ReadFile(filepath.Join(dir, fileName+"-wal"))
	if err != nil {
		t.Fatal(err)
	}
	const frame = 24 + pageSize // [SQLite, WAL format]
	cuts, halves := 0, map[string]int{}
	for cut := 32; cut <= len(log); cut += frame/2 + 1 {
		cuts++
		to := memoryFolder(t)
		cutAt(t, to, base, log[:cut])
		h, err := Open(to, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if got := seeCounts(t, h); got != want || h.Aside() != nil {
			t.Errorf("cut at %d: %s, want %s", cut, got, want)
		}
		var chunks, rows int
		if err := h.file.Read.QueryRowContext(t.Context(), "SELECT (SELECT count(*) FROM chunk), (SELECT count(*) FROM row)").Scan(&chunks, &rows); err != nil {
			t.Error(err)
		}
		halves[fmt.Sprint(chunks > 0)]++
		if err := h.Close(); err != nil {
			t.Error(err)
		}
	}
	if cuts < 50 || halves["true"] == 0 || halves["false"] == 0 {
		t.Errorf("%d cuts, before and after a step %v, want both", cuts, halves)
	}
}

// Aim: what Append has acknowledged is there once, in a row or in a chunk, though the process is killed while it rolls up. Method: as TestKill; the
// position of a numbered reading follows from its time.
func TestRollUp_killedWhileRolling(t *testing.T) {
	dir := t.TempDir()
	kills := 20
	if testing.Short() {
		kills = 4
	}
	r := rand.New(rand.NewPCG(91, 92))
	const enough = 12_000 // from here on there is something to roll up; a slow machine needs more kills for it
	var acknowledged uint64
	done := 0
	for ; done < kills || acknowledged < enough && done < 10*kills; done++ {
		acknowledged = max(acknowledged, killOne(t, time.Duration(r.IntN(200))*time.Millisecond, childFolder+"="+dir, childRolling+"=1"))
	}
	h := openTest(t, dir)
	seen, rolled := map[uint64]bool{}, 0
	err := h.Replay(t.Context(), func(e *Entry) error {
		position := uint64(e.Stamp.Wall.Sub(after(0).Wall).Milliseconds())
		if seen[position] || !alike(e.Reading, numbered(position)) {
			t.Fatalf("%+v, seen before %v, want %+v", e, seen[position], numbered(position))
		}
		seen[position] = true
		if e.Position == 0 {
			rolled++
		}
		return nil
	})
	if err != nil || h.Aside() != nil {
		t.Fatal(err, h.Aside())
	}
	for position := uint64(1); position <= acknowledged; position++ {
		if !seen[position] {
			t.Fatalf("%d of %d acknowledged is lost", position, acknowledged)
		}
	}
	t.Logf("%d kills, %d readings acknowledged, %d kept, %d of them rolled up", done, acknowledged, len(seen), rolled)
	if rolled == 0 {
		t.Error("nothing was rolled up")
	}
}

// seeCounts tells how many readings of each point there are, and a sum over them.
func seeCounts(t testing.TB, h *History) string {
	t.Helper()
	var b bytes.Buffer
	for _, p := range mixedPoints {
		got, err := h.Range(t.Context(), p, night.Add(-48*time.Hour), night.Add(96*time.Hour), 0)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for i := range got {
			if got[i].Quality != reading.Bad && got[i].Value < 1e100 {
				sum += got[i].Value * float64(i+1)
			}
		}
		fmt.Fprintf(&b, "%s %d %g; ", p, len(got), sum)
	}
	return b.String()
}

// Aim: a damaged chunk is told, never read. Method: each bit of some chunks' columns is flipped in the file. Control: with checksums left out some
// flips give wrong readings without a word.
func TestChunk_damageIsTold(t *testing.T) {
	dir := memoryFolder(t)
	h, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	fillMixed(t, h, 3*rowsPerStretch)
	want := seeCounts(t, h)
	rollAll(t, h, night.Add(24*time.Hour), true)
	chunks := allChunks(t, h)
	if len(chunks) < 3 {
		t.Fatal(len(chunks))
	}
	defer h.Close()
	r := rand.New(rand.NewPCG(81, 82))
	told, silent := 0, 0
	for n := range 300 {
		c := chunks[n%len(chunks)]
		key := c.key
		bad := c
		bad.data = bytes.Clone(c.data)
		if n%10 == 0 {
			bad.count ^= 1 << r.IntN(12)
		} else {
			bad.data[r.IntN(len(bad.data))] ^= 1 << r.IntN(8)
		}
		if _, err := pool(t, h).ExecContext(t.Context(), "UPDATE chunk SET count = ?, data = ? WHERE key = ?", bad.count, bad.data, key); err != nil {
			t.Fatal(err)
		}
		p := h.names.points[pointOf(key)].point
		got, err := h.Range(t.Context(), p, night.Add(-48*time.Hour), night.Add(96*time.Hour), 0)
		var d *Damage
		if !errors.As(err, &d) || d.First != 0 || d.Point != p || !errors.Is(err, ErrDamaged) || len(got) >= int(c.count) {
			t.Fatalf("flip %d: Range() gives %d readings, %v, want *Damage of %s", n, len(got), err, p)
		}
		told++
		h.trusting = true
		got, err = h.Range(t.Context(), p, night.Add(-48*time.Hour), night.Add(96*time.Hour), 0)
		h.trusting = false
		if err == nil && len(got) > 0 {
			silent++
		}
		if _, err := pool(t, h).ExecContext(t.Context(), "UPDATE chunk SET count = ?, data = ? WHERE key = ?", c.count, c.data, key); err != nil {
			t.Fatal(err)
		}
	}
	if told != 300 || silent == 0 || seeCounts(t, h) != want {
		t.Errorf("%d told, %d silent without checksums, want 300, some, and all well again", told, silent)
	}
	if h.Counts().Damaged == 0 {
		t.Error("Counts().Damaged = 0")
	}
}

// A stretch in which something is damaged is not rolled up: what is damaged stays told, what is not stays read.
func TestRollUp_leavesDamageWhereItIs(t *testing.T) {
	h, err := Open(memoryFolder(t), Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	fillMixed(t, h, 4*rowsPerStretch)
	if _, err := pool(t, h).ExecContext(t.Context(), "UPDATE row SET data = zeroblob(50) WHERE first = 31"); err != nil {
		t.Fatal(err)
	}
	if done := rollAll(t, h, night.Add(24*time.Hour), true); done.Readings == 0 || h.First() != 1 {
		t.Errorf("%+v, First() = %d, want the others rolled up and 1", done, h.First())
	}
	var d *Damage
	if _, err := h.Range(t.Context(), "deck/air", night, night.Add(time.Hour), 0); !errors.As(err, &d) || d.First != 31 || d.Last != 33 {
		t.Errorf("Range() = %v, want the damage of 31 to 33", err)
	}
}

func TestRetain_removesChunks(t *testing.T) {
	h := openTest(t, memoryFolder(t))
	for s := 0; s < 4*86400; s += 20 {
		mustAppend(t, h, temperature("tank-1/temperature", float64(s%50), after(time.Duration(s)*time.Second)), temperature("deck/air", 20, after(time.Duration(s)*time.Second)))
	}
	rollAll(t, h, night.Add(5*24*time.Hour), true)
	before := time.Date(2026, 5, 15, 0, 0, 0, 0, time.UTC) // 54 hours after the beginning
	removed, err := h.Retain(t.Context(), before, true)
	if err != nil || removed.Readings != 2*54*180 {
		t.Errorf("Retain() = %+v, %v, want %d readings removed", removed, err, 2*54*180)
	}
	got, err := h.Range(t.Context(), "deck/air", night, night.Add(5*24*time.Hour), 0)
	if err != nil || len(got) != (96-54)*180 || !got[0].Stamp.Wall.Equal(before) {
		t.Errorf("Range() gives %d, %v, want %d", len(got), err, (96-54)*180)
	}
}

// A history of the first schema, written by the program that had it, is read whole by this one, and rolls up.
func TestOpen_schemaOfVersion1(t *testing.T) {
	dir := memoryFolder(t)
	file, err := os.ReadFile(filepath.Join("testdata", "version-1.db"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, fileName), file, 0o600); err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(61, 62)) // as the file was made: 600 seconds of 4 points
	var want []reading.Reading
	for s := range 600 {
		want = append(want, second(r, 4, s)...)
	}
	h := openTest(t, dir)
	wantEntries(t, readAll(t, h), want)
	if m := h.Watermark(); m != (Mark{Commit: 2000, Stored: 2100, BootID: "b"}) || h.Last() != 2400 {
		t.Errorf("Watermark(), Last() = %+v, %d", m, h.Last())
	}
	if done := rollAll(t, h, night.Add(8*time.Hour), false); done.Readings == 0 {
		t.Error("nothing was rolled up")
	}
	got, err := h.Range(t.Context(), "tank-3/temperature", night, night.Add(time.Hour), 0)
	if err != nil || len(got) != 600 {
		t.Fatalf("Range() gives %d, %v, want 600", len(got), err)
	}
	for s := range got {
		if !alike(got[s].Reading, want[4*s+2]) {
			t.Fatalf("second %d: %+v, want %+v", s, got[s].Reading, want[4*s+2])
		}
	}
}

// Any bytes: an error or readings, never a panic; and what is encoded comes back.
func FuzzChunk(f *testing.F) {
	r := rand.New(rand.NewPCG(91, 92))
	for n := range 20 {
		f.Add(int64(1+n*37), r.Uint64(), []byte(nil))
	}
	f.Add(int64(5), uint64(0), []byte{chunkLayout, 1, 0, 0, 0, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0})
	f.Fuzz(func(t *testing.T, count int64, seed uint64, data []byte) {
		_, _, _ = decodeChunk(&chunk{key: 1 << 40, hours: 1, count: count, data: data}, true)
		count = 1 + (count%2000+2000)%2000
		rs := randomPacked(seed, int(count))
		c := &chunk{key: chunkKey(7, 1000), hours: 1}
		var e encoder
		if err := e.encode(c, 99, rs); err != nil {
			t.Fatal(err)
		}
		got, head, err := decodeChunk(c, false)
		if err != nil || head.position != 99 || len(got) != len(rs) {
			t.Fatalf("%d readings at %d, %v, want %d at 99", len(got), head.position, err, len(rs))
		}
		for i := range got {
			if d := got[i].mono - rs[i].mono; d < -slack || d > slack {
				t.Fatalf("reading %d: monotonic time off by %d ms", i, d)
			}
			got[i].mono = rs[i].mono
			if got[i] != rs[i] {
				t.Fatalf("reading %d = %+v, want %+v", i, got[i], rs[i])
			}
		}
	})
}

// randomPacked gives readings of one point, in the order of time, of all forms.
func randomPacked(seed uint64, n int) []packed {
	r := rand.New(rand.NewPCG(seed, 1))
	rs := make([]packed, n)
	at, offset, boot := int64(1000*hourMilli), r.Int64N(1<<40), uint32(1)
	shape := r.IntN(4)
	for i := range rs {
		k := packed{stamp: stamp{wall: at, boot: boot, set: true}, point: 7, number: int64(r.IntN(1 + shape*shape*30))}
		k.mono = at - offset + r.Int64N(5)
		switch r.IntN(200) {
		case 0, 1, 2, 3, 4:
			k.form, k.number, k.quality, k.cause = missing, 0, reading.Bad, 3
		case 5, 6, 7, 8, 9:
			k.form, k.number = raw, int64(r.Uint64())
		case 10, 11, 12, 13, 14:
			k.quality, k.text = reading.Uncertain, "because"
		case 15, 16, 17, 18, 19:
			k.number = mostSteps - r.Int64N(2*mostSteps)
		case 20:
			offset, boot = r.Int64N(1<<40), boot+1
		}
		rs[i] = k
		at += 1000
		if shape > 1 {
			at += r.Int64N(7)
		}
	}
	return rs
}
