package history

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"millwarden/internal/database"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// night is when the readings of these tests begin.
var night = time.Date(2026, 5, 12, 18, 0, 0, 0, time.UTC)

// openTest opens a history and checks at the end of the test that it is whole: every position can be read, in order, and nothing is counted damaged.
func openTest(t testing.TB, dir string) *History {
	t.Helper()
	h, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { checkWhole(t, h) })
	return h
}

func checkWhole(t testing.TB, h *History) {
	t.Helper()
	h.mu.RLock()
	open := h.file != nil
	h.mu.RUnlock()
	if open {
		before := uint64(0)
		for _, e := range readAll(t, h) {
			if e.Position <= before {
				t.Errorf("position %d after %d", e.Position, before)
			}
			before = e.Position
		}
		if got := h.Counts().Damaged; got != 0 {
			t.Errorf("Counts().Damaged = %d, want 0", got)
		}
	}
	if err := h.Close(); err != nil {
		t.Errorf("Close() = %v", err)
	}
}

func readAll(t testing.TB, h *History) []Entry {
	t.Helper()
	var all []Entry
	for position := uint64(1); ; {
		more, err := h.From(position, 1000, nil)
		if err != nil {
			t.Fatalf("From(%d) = %v", position, err)
		}
		if len(more) == 0 {
			return all
		}
		all = append(all, more...)
		position = more[len(more)-1].Position + 1
	}
}

func mustAppend(t testing.TB, h *History, rs ...reading.Reading) uint64 {
	t.Helper()
	last, err := h.Append(rs)
	if err != nil {
		t.Fatal(err)
	}
	return last
}

// at is a stamp so long after the night began, in boot 1 that began an hour before.
func after(d time.Duration) reading.Stamp {
	return reading.Stamp{Wall: night.Add(d), Mono: time.Hour + d, Boot: 1, Set: true}
}

func temperature(point string, value float64, at reading.Stamp) reading.Reading {
	return reading.Reading{Point: point, Quantity: units.Temperature, Value: value, Stamp: at}
}

// equal is == with NaN equal to NaN, and wall times compared as instants.
func equal(a, b reading.Reading) bool {
	sameValue := a.Value == b.Value || math.IsNaN(a.Value) && math.IsNaN(b.Value)
	sameWall := a.Stamp.Wall.Equal(b.Stamp.Wall)
	a.Value, b.Value, a.Stamp.Wall, b.Stamp.Wall = 0, 0, time.Time{}, time.Time{}
	return sameValue && sameWall && a == b
}

func wantEntries(t testing.TB, got []Entry, want []reading.Reading) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d entries, want %d", len(got), len(want))
	}
	for i := range got {
		if !equal(got[i].Reading, want[i]) {
			t.Fatalf("entry %d = %+v, want %+v", i, got[i].Reading, want[i])
		}
	}
}

// second gives n points' readings of one second, values wandering in steps a sensor has.
func second(r *rand.Rand, n, s int) []reading.Reading {
	rs := make([]reading.Reading, n)
	for i := range rs {
		rs[i] = Round(temperature(fmt.Sprintf("tank-%d/temperature", i+1), 20+float64(r.IntN(160))*0.0625, after(time.Duration(s)*time.Second)))
	}
	return rs
}

// Aim: what Round gives is what is read back, to the last bit, for every shape a reading can have.
func TestAppend_readsBackWhatRoundGives(t *testing.T) {
	dir := t.TempDir()
	h := openTest(t, dir)
	long := strings.Repeat("x", 300)
	in := []reading.Reading{
		temperature("tank-1/temperature", 21.4375, after(0)),
		{Point: "tank-1/ph", Quantity: units.PH, Value: 4.2, Stamp: after(0), Quality: reading.Uncertain, Cause: "calibration overdue"},
		reading.Missing("dryer-1/air-temperature", units.Temperature, after(3*time.Millisecond), "no answer"),
		temperature("tank-1/temperature", math.Copysign(0, -1), after(-20*time.Minute)), // late
		{Point: "roaster-1/rise", Quantity: units.Temperature.Rate(), Value: 0.1234567891, Stamp: after(0), Quality: reading.Bad, Cause: long},
		{Point: "board/disk-free", Quantity: units.Share, Value: 1e300, Stamp: after(0)},
		{Point: "board/strange", Quantity: units.Count, Value: math.Inf(-1), Stamp: after(0)},
		{Point: "board/none", Quantity: units.None, Value: 3, Stamp: reading.Stamp{}},
		{Point: "board/unset", Quantity: units.YesNo, Value: 1, Stamp: reading.Stamp{Wall: night, Mono: -5 * time.Second, Boot: 4e9}},
		temperature("tank-1/temperature", 1e11/3, after(time.Second+999999)),
	}
	last := mustAppend(t, h, in...)
	if last != uint64(len(in)) {
		t.Errorf("Append() = %d, want %d", last, len(in))
	}
	var want []reading.Reading
	for _, r := range in {
		want = append(want, Round(r))
		if again := Round(Round(r)); !equal(again, Round(r)) {
			t.Errorf("Round twice = %+v, want %+v", again, Round(r))
		}
	}
	wantEntries(t, readAll(t, h), want)
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	h = openTest(t, dir)
	wantEntries(t, readAll(t, h), want)
	if h.Last() != last || h.First() != 1 {
		t.Errorf("after a start First, Last = %d, %d, want 1, %d", h.First(), h.Last(), last)
	}
}

// The value nearest to what was measured: half a step at most is lost by keeping it.
func TestRound_losesHalfAStepAtMost(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 10000 {
		q := units.Quantity(r.IntN(int(units.YesNo)) + 1)
		v := (r.Float64() - 0.5) * 1000
		got := Round(reading.Reading{Quantity: q, Value: v}).Value
		if diff := math.Abs(got - v); diff > 0.5/q.StepsPerUnit()*(1+1e-9) {
			t.Fatalf("Round(%v of %v) = %v: off by %v", v, q, got, diff)
		}
	}
}

// Positions: one after the other over appends, stretches and starts; From gives each from any position and any limit.
func TestFrom_givesEveryPositionOnce(t *testing.T) {
	dir := t.TempDir()
	h := openTest(t, dir)
	r := rand.New(rand.NewPCG(3, 4))
	var want []reading.Reading
	for s := range 3 * rowsPerStretch {
		rs := second(r, 3, s)
		want = append(want, rs...)
		if last := mustAppend(t, h, rs...); last != uint64(len(want)) {
			t.Fatalf("Append() = %d, want %d", last, len(want))
		}
		if s%200 == 150 { // a start now and then, so that stretches are short ones too
			if err := h.Close(); err != nil {
				t.Fatal(err)
			}
			h = openTest(t, dir)
		}
	}
	wantEntries(t, readAll(t, h), want)
	for range 200 {
		position, limit := uint64(r.IntN(len(want)+10)), r.IntN(40)
		got, err := h.From(position, limit, nil)
		if err != nil {
			t.Fatal(err)
		}
		begin := max(int(position)-1, 0)
		expect := want[min(begin, len(want)):min(begin+limit, len(want))]
		wantEntries(t, got, expect)
		if len(got) > 0 && got[0].Position != uint64(begin+1) {
			t.Fatalf("From(%d) begins at %d", position, got[0].Position)
		}
	}
}

// The rule on times, case by case as the package doc gives it.
func TestAppend_settlesTimesOfAPoint(t *testing.T) {
	type step struct {
		value float64
		at    time.Duration
	}
	for _, c := range []struct {
		name            string
		in              []step
		want            []time.Duration // of what is kept, in the order of positions
		repeated, moved uint64
	}{
		{"newer is kept", []step{{1, 0}, {2, 1}, {3, 5}}, []time.Duration{0, 1, 5}, 0, 0},
		{"late is kept as it is", []step{{1, 100}, {2, 50}, {3, 70}, {4, 101}}, []time.Duration{100, 50, 70, 101}, 0, 0},
		{"delivered again is not kept", []step{{1, 100}, {1, 100}, {2, 50}, {2, 50}, {1, 100}}, []time.Duration{100, 50}, 3, 0},
		{"another at the same time moves", []step{{1, 100}, {2, 100}}, []time.Duration{100, 101}, 0, 1},
		{"late another moves to the next free", []step{{1, 100}, {2, 50}, {3, 51}, {4, 50}, {5, 100}}, []time.Duration{100, 50, 51, 52, 101}, 0, 2},
		{"a clock stepped back", []step{{1, 10000}, {2, 11000}, {3, 10000}, {4, 11000}, {5, 12000}}, []time.Duration{10000, 11000, 10001, 11001, 12000}, 0, 2},
	} {
		for _, how := range []string{"one append", "appends", "starts"} {
			t.Run(c.name+", "+how, func(t *testing.T) {
				dir := t.TempDir()
				h := openTest(t, dir)
				var rs []reading.Reading
				for _, s := range c.in {
					rs = append(rs, temperature("bin-1/temperature", s.value, after(s.at*time.Millisecond)))
				}
				counts := Counts{}
				switch how {
				case "one append":
					mustAppend(t, h, rs...)
					counts = h.Counts()
				default:
					for _, r := range rs {
						mustAppend(t, h, r)
						if how == "starts" {
							counts.Moved, counts.Repeated = counts.Moved+h.Counts().Moved, counts.Repeated+h.Counts().Repeated
							if err := h.Close(); err != nil {
								t.Fatal(err)
							}
							h = openTest(t, dir)
						}
					}
					if how == "appends" {
						counts = h.Counts()
					}
				}
				var got []time.Duration
				for _, e := range readAll(t, h) {
					got = append(got, e.Stamp.Wall.Sub(night)/time.Millisecond)
				}
				if !slices.Equal(got, c.want) {
					t.Errorf("kept at %v ms, want %v", got, c.want)
				}
				if counts.Repeated != c.repeated || counts.Moved != c.moved {
					t.Errorf("repeated %d, moved %d, want %d, %d", counts.Repeated, counts.Moved, c.repeated, c.moved)
				}
			})
		}
	}
}

// Aim: whatever comes, no two readings of a series have one time, and nothing but a reading delivered again is dropped.
func TestAppend_neverKeepsTwoAtOneTime(t *testing.T) {
	h := openTest(t, t.TempDir())
	r := rand.New(rand.NewPCG(5, 6))
	given := 0
	for range 300 {
		var rs []reading.Reading
		for range r.IntN(8) {
			at := after(time.Duration(r.IntN(400)) * time.Millisecond)
			if r.IntN(20) == 0 {
				at = after(time.Duration(r.IntN(7200)) * time.Second)
			}
			rs = append(rs, temperature([]string{"bin-1/temperature", "bin-2/temperature"}[r.IntN(2)], float64(r.IntN(3)), at))
		}
		given += len(rs)
		mustAppend(t, h, rs...)
	}
	seen := map[string]bool{}
	for _, e := range readAll(t, h) {
		k := e.Point + e.Stamp.Wall.String()
		if seen[k] {
			t.Fatalf("two readings at %s", k)
		}
		seen[k] = true
	}
	c := h.Counts()
	if len(seen)+int(c.Repeated) != given {
		t.Errorf("%d kept and %d repeated, want %d together", len(seen), c.Repeated, given)
	}
	if c.Moved == 0 || c.Repeated == 0 {
		t.Errorf("moved %d, repeated %d: the test did not reach the rule", c.Moved, c.Repeated)
	}
}

func TestRange_pointAndTime(t *testing.T) {
	h := openTest(t, t.TempDir())
	r := rand.New(rand.NewPCG(7, 8))
	var all []reading.Reading
	for s := range 2*rowsPerStretch + 50 {
		rs := second(r, 2, s)
		if s%97 == 0 { // one that comes late
			rs = append(rs, temperature("tank-1/temperature", 99, after(time.Duration(s-200)*time.Second+time.Duration(500)*time.Millisecond)))
		}
		all = append(all, rs...)
		mustAppend(t, h, rs...)
	}
	for range 100 {
		from := night.Add(time.Duration(r.IntN(700)-100) * time.Second)
		to := from.Add(time.Duration(r.IntN(300000)) * time.Millisecond)
		var want []reading.Reading
		for _, x := range all {
			if x.Point == "tank-1/temperature" && !x.Stamp.Wall.Before(from) && x.Stamp.Wall.Before(to) {
				want = append(want, x)
			}
		}
		slices.SortStableFunc(want, func(a, b reading.Reading) int { return a.Stamp.Wall.Compare(b.Stamp.Wall) })
		got, err := h.Range(t.Context(), "tank-1/temperature", from, to, 0)
		if err != nil {
			t.Fatal(err)
		}
		wantEntries(t, got, want)
		few, err := h.Range(t.Context(), "tank-1/temperature", from, to, 3)
		if err != nil {
			t.Fatal(err)
		}
		wantEntries(t, few, want[:min(3, len(want))])
	}
	if got, err := h.Range(t.Context(), "nowhere/ph", night, night.Add(time.Hour), 0); err != nil || len(got) != 0 {
		t.Errorf("Range of an unknown point = %v, %v, want nothing", got, err)
	}
}

// Columns against a plain form that reckons each from all readings.
func TestPixels_againstPlainForm(t *testing.T) {
	h := openTest(t, t.TempDir())
	r := rand.New(rand.NewPCG(9, 10))
	var all []reading.Reading
	for s := range 600 {
		if s > 200 && s < 300 {
			continue // a gap
		}
		x := second(r, 1, s)[0]
		switch r.IntN(12) {
		case 0:
			x = reading.Missing(x.Point, x.Quantity, x.Stamp, "no answer")
		case 1:
			x.Quality, x.Cause = reading.Uncertain, "overdue"
		}
		all = append(all, x)
		mustAppend(t, h, x)
	}
	const n = 37
	from, to := night.Add(-10*time.Second), night.Add(610*time.Second)
	got, err := h.Pixels(t.Context(), "tank-1/temperature", from, to, n)
	if err != nil {
		t.Fatal(err)
	}
	readings, gaps := 0, n
	for _, c := range got {
		gaps--
		var values []float64
		bad, worst := 0, reading.Good
		for _, x := range all {
			if x.Stamp.Wall.Before(c.From) || !x.Stamp.Wall.Before(c.To) {
				continue
			}
			readings++
			worst = max(worst, x.Quality)
			if x.Quality == reading.Bad {
				bad++
			} else {
				values = append(values, x.Value)
			}
		}
		if c.Readings != len(values)+bad || c.Bad != bad || c.Worst != worst {
			t.Errorf("column from %v: %d readings, %d bad, worst %v, want %d, %d, %v", c.From, c.Readings, c.Bad, c.Worst, len(values)+bad, bad, worst)
		}
		if len(values) == 0 {
			continue
		}
		total := 0.0
		for _, v := range values {
			total += v
		}
		if c.Low != slices.Min(values) || c.High != slices.Max(values) || c.First != values[0] || c.Last != values[len(values)-1] ||
			math.Abs(c.Mean-total/float64(len(values))) > 1e-9 {
			t.Errorf("column from %v = %+v, want of %v", c.From, c, values)
		}
	}
	if readings != len(all) || gaps < 5 {
		t.Errorf("the columns hold %d readings with %d gaps, want %d and at least 5", readings, gaps, len(all))
	}
	if _, err := h.Pixels(t.Context(), "tank-1/temperature", to, from, n); err == nil {
		t.Error("Pixels with the end before the beginning gave no error")
	}
}

func TestLatest_survivesAStart(t *testing.T) {
	dir := t.TempDir()
	h := openTest(t, dir)
	r := rand.New(rand.NewPCG(11, 12))
	mustAppend(t, h, temperature("old/temperature", 5, after(-time.Hour))) // never again: it must be found beyond the open stretch
	for s := range rowsPerStretch + 20 {
		mustAppend(t, h, second(r, 2, s)...)
	}
	late := temperature("tank-1/temperature", 77, after(-time.Minute))
	mustAppend(t, h, late)
	want := h.Latest()
	if len(want) != 3 || want[0].Point != "old/temperature" || want[1].Value == 77 {
		t.Fatalf("Latest() = %+v, want three points, and not the late reading", want)
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	h = openTest(t, dir)
	got := h.Latest()
	if !slices.EqualFunc(got, want, func(a, b Entry) bool { return a.Position == b.Position && equal(a.Reading, b.Reading) }) {
		t.Errorf("Latest() after a start = %+v, want %+v", got, want)
	}
}

func TestRecent_ofThisBoot(t *testing.T) {
	dir := t.TempDir()
	h := openTest(t, dir)
	for s := range 20 {
		old := after(time.Duration(s) * time.Second)
		mustAppend(t, h, temperature("bin-1/temperature", float64(s), old))
	}
	var want []reading.Reading
	for s := range 400 {
		x := temperature("bin-1/temperature", float64(s), reading.Stamp{Wall: night.Add(time.Hour + time.Duration(s)*time.Second), Mono: time.Duration(s) * time.Second, Boot: 2, Set: true})
		if s >= 100 {
			want = append(want, x)
		}
		mustAppend(t, h, x)
	}
	late := temperature("bin-1/temperature", -3, reading.Stamp{Wall: night.Add(time.Hour + 150500*time.Millisecond), Mono: 150500 * time.Millisecond, Boot: 2, Set: true})
	mustAppend(t, h, late)
	want = append(want, late)
	var got []Entry
	if err := h.Recent(t.Context(), 2, 100*time.Second, func(r *reading.Reading) error {
		got = append(got, Entry{Reading: *r})
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	wantEntries(t, got, want)
	stop := errors.New("stop")
	if err := h.Recent(t.Context(), 2, 0, func(*reading.Reading) error { return stop }); !errors.Is(err, stop) {
		t.Errorf("Recent() = %v, want the visitor's error", err)
	}
}

func TestWatermark_isKept(t *testing.T) {
	dir := t.TempDir()
	h := openTest(t, dir)
	mustAppend(t, h, second(rand.New(rand.NewPCG(1, 1)), 20, 0)...)
	if err := h.SetWatermark(Mark{Commit: 21}); err == nil {
		t.Error("a watermark above the newest reading was taken")
	}
	want := Mark{Commit: 12, Stored: 17, BootID: "1779"}
	if err := h.SetWatermark(want); err != nil {
		t.Fatal(err)
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	h = openTest(t, dir)
	if got := h.Watermark(); got != want {
		t.Errorf("Watermark() after a start = %+v, want %+v", got, want)
	}
}

// A second gateway on the folder, and a folder that cannot be written: errors that name the folder and what to do.
func TestOpen_refusesWhatItCannotHold(t *testing.T) {
	dir := t.TempDir()
	h := openTest(t, dir)
	_, err := Open(dir, Options{})
	if !errors.Is(err, ErrInUse) || !strings.Contains(err.Error(), dir) || !strings.Contains(err.Error(), fmt.Sprint(os.Getpid())) {
		t.Errorf("second Open() = %v, want ErrInUse with the folder and the process", err)
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	openTest(t, dir) // and it works once the first is gone

	file := filepath.Join(dir, "a-file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(filepath.Join(file, "data"), Options{}); !errors.Is(err, ErrFolder) || !strings.Contains(err.Error(), file) {
		t.Errorf("Open below a file = %v, want ErrFolder with the folder", err)
	}
}

func TestOpen_newerSchemaIsLeftAlone(t *testing.T) {
	dir := t.TempDir()
	h := openTest(t, dir)
	if _, err := pool(t, h).ExecContext(t.Context(), "PRAGMA user_version = 99"); err != nil {
		t.Fatal(err)
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(dir, Options{}); !errors.Is(err, ErrNewer) {
		t.Errorf("Open() = %v, want ErrNewer", err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "*damaged*")); len(left) != 0 {
		t.Errorf("%v: a newer file was set aside", left)
	}
}

// The file is as the measurements want it: small pages, a log that is used in place, every commit synced.
func TestOpen_setsPragmas(t *testing.T) {
	h := openTest(t, t.TempDir())
	for pragma, want := range map[string]string{"page_size": "1024", "journal_mode": "wal", "synchronous": "2", "journal_size_limit": "-1"} {
		var got string
		if err := pool(t, h).QueryRowContext(t.Context(), "PRAGMA "+pragma).Scan(&got); err != nil || got != want {
			t.Errorf("%s = %q, %v, want %q", pragma, got, err, want)
		}
	}
	if _, err := h.file.Read.ExecContext(t.Context(), "DELETE FROM row"); err == nil {
		t.Error("a connection of the reading pool could write")
	}
}

var _ = database.ErrFull
