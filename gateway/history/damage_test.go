package history

import (
	"bytes"
	"database/sql"
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// fill appends seconds of readings and gives what is then to be read.
func fill(t testing.TB, dir string, points, seconds int) []Entry {
	t.Helper()
	h, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(21, 22))
	for s := range seconds {
		rs := second(r, points, s)
		if s%7 == 0 {
			rs[0] = reading.Missing(rs[0].Point, rs[0].Quantity, rs[0].Stamp, "no answer")
		}
		mustAppend(t, h, rs...)
	}
	all := readAll(t, h)
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	return all
}

// memoryFolder is a folder in memory where the system has one: thousands of files are opened and synced there.
func memoryFolder(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "history")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

func copyFolder(t testing.TB, from string) string {
	t.Helper()
	to := memoryFolder(t)
	copyInto(t, to, from)
	return to
}

func copyInto(t testing.TB, to, from string) {
	t.Helper()
	for _, name := range []string{fileName, fileName + "-wal", reserveName} {
		content, err := os.ReadFile(filepath.Join(from, name))
		if os.IsNotExist(err) {
			continue
		} else if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(to, name), content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// outcome of opening and reading a damaged history.
type outcome struct {
	silent   string // what was wrong without a word; "" nothing
	reported bool
	aside    bool
}

// asWritten tells whether a reading is what was written at its position; a cause may be known to be lost.
func asWritten(e Entry, truth []Entry) bool {
	if e.Position < 1 || e.Position > uint64(len(truth)) {
		return false
	}
	want := truth[e.Position-1].Reading
	if e.Cause == lostCause {
		want.Cause = lostCause
	}
	return equal(e.Reading, want)
}

// judge reads all of a history every way there is, and holds it against what was written.
func judge(t testing.TB, dir string, trusting bool, truth []Entry) outcome {
	t.Helper()
	h, err := open(dir, trusting)
	if err != nil {
		return outcome{reported: true}
	}
	defer h.Close()
	if h.Aside() != nil {
		if h.Last() < truth[len(truth)-1].Position {
			return outcome{silent: fmt.Sprintf("set aside, and positions go on from %d", h.Last())}
		}
		return outcome{reported: true, aside: true}
	}
	lost := map[uint64]bool{}
	seen := map[uint64]bool{}
	end := truth[len(truth)-1].Position
	for position := uint64(1); position <= end; {
		got, err := h.From(position, 100, nil)
		for _, e := range got {
			if !asWritten(e, truth) {
				return outcome{silent: fmt.Sprintf("From gives %+v", e)}
			}
			seen[e.Position], position = true, e.Position+1
		}
		var d *Damage
		switch {
		case errors.As(err, &d):
			for p := d.First; p <= min(d.Last, uint64(len(truth))); p++ {
				lost[p] = true
			}
			position = d.Last + 1
		case err != nil:
			return outcome{reported: true}
		case len(got) == 0:
			position = end + 1
		}
	}
	o := outcome{reported: len(lost) > 0 || h.Counts().Damaged > 0}
	for _, e := range truth {
		if !seen[e.Position] && !lost[e.Position] && h.Counts().Damaged == 0 {
			return outcome{silent: fmt.Sprintf("position %d is gone", e.Position)}
		}
	}
	byTime, err := h.Range(t.Context(), truth[0].Point, night.Add(-time.Hour), night.Add(time.Hour), 0)
	want := 0
	for _, e := range truth {
		if e.Point == truth[0].Point {
			want++
		}
	}
	for _, e := range byTime {
		if !asWritten(e, truth) {
			return outcome{silent: fmt.Sprintf("Range gives %+v", e)}
		}
	}
	if len(byTime) != want && err == nil && h.Counts().Damaged == 0 {
		return outcome{silent: fmt.Sprintf("Range gives %d of %d", len(byTime), want)}
	}
	for _, e := range h.Latest() {
		if !asWritten(e, truth) {
			return outcome{silent: fmt.Sprintf("Latest gives %+v", e)}
		}
	}
	if h.Last() < truth[len(truth)-1].Position {
		return outcome{silent: fmt.Sprintf("positions go on from %d", h.Last())}
	}
	return o
}

var flipsAsked = flag.Int("flips", 150, "how many flipped bits")

// Aim: no flipped bit at rest is ever read as a reading. Method: flip one bit of the closed file, read it every way there is, compare with what was
// written. Control: the same flips with the checksums of rows left out must give wrong readings without a word, or the test proves nothing.
func TestFlippedBit_isNeverSilent(t *testing.T) {
	source := t.TempDir()
	truth := fill(t, source, 8, rowsPerStretch+60)
	size, err := os.Stat(filepath.Join(source, fileName))
	if err != nil {
		t.Fatal(err)
	}
	flips := *flipsAsked
	if testing.Short() {
		flips = 40
	}
	r := rand.New(rand.NewPCG(23, 24))
	var control, reported, aside int
	for range flips {
		bit := r.Int64N(size.Size() * 8)
		flip := func() string {
			dir := copyFolder(t, source)
			f, err := os.OpenFile(filepath.Join(dir, fileName), os.O_RDWR, 0)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			b := make([]byte, 1)
			if _, err := f.ReadAt(b, bit/8); err != nil {
				t.Fatal(err)
			}
			b[0] ^= 1 << (bit % 8)
			if _, err := f.WriteAt(b, bit/8); err != nil {
				t.Fatal(err)
			}
			return dir
		}
		o := judge(t, flip(), false, truth)
		if o.silent != "" {
			t.Errorf("bit %d of byte %d: %s, without a word", bit%8, bit/8, o.silent)
		}
		if o.reported {
			reported++
		}
		if o.aside {
			aside++
		}
		if judge(t, flip(), true, truth).silent != "" {
			control++
		}
	}
	t.Logf("%d flips: %d reported (%d set aside), the others hit nothing that is read; control without row checksums: %d silent", flips, reported, aside, control)
	if control == 0 || reported == 0 {
		t.Errorf("control: %d silent, %d reported: the flips did not reach the readings", control, reported)
	}
}

// Aim: whatever part of the log reaches the disk, the history opens, and holds each commit that lies whole before the cut. Method: a log of a few
// commits cut at every byte. Control: with one commit less than the cut allows the count would differ at each border, so the borders are checked exactly.
func TestLog_cutAtEveryByte(t *testing.T) {
	dir := memoryFolder(t)
	h, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(25, 26))
	mustAppend(t, h, second(r, 3, 0)...)
	if _, err := pool(t, h).ExecContext(t.Context(), "PRAGMA wal_checkpoint(TRUNCATE)"); err != nil { // the schema is in the file, the log is empty
		t.Fatal(err)
	}
	log := filepath.Join(dir, fileName+"-wal")
	ends := []int64{0} // size of the log after each commit
	for s := 1; s <= 2; s++ {
		mustAppend(t, h, second(r, 3, s)...)
		info, err := os.Stat(log)
		if err != nil {
			t.Fatal(err)
		}
		ends = append(ends, info.Size())
	}
	truth := readAll(t, h)
	copied := memoryFolder(t)
	copyInto(t, copied, dir) // as a power cut leaves it: nothing is closed
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(filepath.Join(copied, fileName+"-wal"))
	if err != nil || int64(len(whole)) != ends[2] {
		t.Fatalf("log of %d bytes, %v, want %d", len(whole), err, ends[2])
	}
	base, err := os.ReadFile(filepath.Join(copied, fileName))
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("log of %d bytes, commits end at %v", len(whole), ends)
	step := 1
	if testing.Short() {
		step = 37
	}
	for cut := 0; cut <= len(whole); cut += step {
		cutAt(t, copied, base, whole[:cut])
		commits := 0
		for commits < 2 && ends[commits+1] <= int64(cut) {
			commits++
		}
		h, err := Open(copied, Options{})
		if err != nil {
			t.Fatalf("cut at %d: Open() = %v", cut, err)
		}
		wantEntries(t, readAll(t, h), readings(truth[:3*(1+commits)]))
		if cut%101 == 0 { // and it goes on from there
			if last := mustAppend(t, h, second(r, 3, 9)...); last != uint64(3*(1+commits)+3) {
				t.Fatalf("cut at %d: the next append ends at %d", cut, last)
			}
		}
		if h.Aside() != nil || h.Counts().Damaged != 0 {
			t.Fatalf("cut at %d: %v, %+v", cut, h.Aside(), h.Counts())
		}
		if err := h.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

func cutAt(t *testing.T, dir string, base, log []byte) {
	t.Helper()
	_ = os.Remove(filepath.Join(dir, fileName+"-shm"))
	for name, content := range map[string][]byte{fileName: base, fileName + "-wal": log} {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

func readings(es []Entry) []reading.Reading {
	rs := make([]reading.Reading, len(es))
	for i := range es {
		rs[i] = es[i].Reading
	}
	return rs
}

// A file that is no database, cut short, or gone: the gateway starts, the file is kept, positions go on above all that were given.
func TestOpen_setsDamagedFileAside(t *testing.T) {
	for name, damage := range map[string]func([]byte) []byte{
		"garbage": func(b []byte) []byte { return bytes.Repeat([]byte("garbage "), len(b)/8) },
		"half":    func(b []byte) []byte { return b[:len(b)/2/pageSize*pageSize] },
		"emptied": func(b []byte) []byte { return nil },
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			truth := fill(t, dir, 4, 300)
			path := filepath.Join(dir, fileName)
			content, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			content = damage(content)
			if err := os.WriteFile(path, content, 0o600); err != nil {
				t.Fatal(err)
			}
			h, err := Open(dir, Options{})
			if err != nil {
				t.Fatal(err)
			}
			defer h.Close()
			last := truth[len(truth)-1].Position
			if h.Last() < last {
				t.Errorf("Last() = %d, want at least %d: positions would be given twice", h.Last(), last)
			}
			if m := h.Watermark(); m.Commit > h.Last() {
				t.Errorf("Watermark() = %+v above Last() %d", m, h.Last())
			}
			if got := mustAppend(t, h, temperature("bin-1/temperature", 20, after(time.Hour))); got <= last {
				t.Errorf("Append() after it = %d, want above %d", got, last)
			}
			if got, err := h.From(h.Last(), 10, nil); err != nil || len(got) != 1 || got[0].Point != "bin-1/temperature" {
				t.Errorf("From(%d) = %+v, %v", h.Last(), got, err)
			}
			if name == "emptied" {
				return // an empty file is what SQLite begins with: nothing to keep
			}
			if a := h.Aside(); a == nil || !errors.Is(a, ErrDamaged) {
				t.Fatalf("Aside() = %v, want what was done with the damaged file", a)
			} else if kept, err := os.ReadFile(a.Path); err != nil || !bytes.Equal(kept, content) {
				t.Errorf("the damaged file was not kept as it was: %v", err)
			}
		})
	}
}

// The file is damaged while the gateway runs: the append that meets it keeps its readings in a new file.
func TestAppend_meetsDamage(t *testing.T) {
	dir := t.TempDir()
	h, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	r := rand.New(rand.NewPCG(27, 28))
	for s := range 20 {
		mustAppend(t, h, second(r, 4, s)...)
	}
	last := h.Last()
	// A table that is gone is an error, one whose root is torn is damage: point the schema at a page that is no tree.
	if _, err := pool(t, h).ExecContext(t.Context(), "PRAGMA wal_checkpoint(TRUNCATE)"); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(filepath.Join(dir, fileName), os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt(bytes.Repeat([]byte{0xa5}, int(info.Size())-pageSize), pageSize); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := pool(t, h).ExecContext(t.Context(), "PRAGMA shrink_memory"); err != nil { // or its pages come from memory
		t.Fatal(err)
	}
	for s := 20; s < 24; s++ {
		mustAppend(t, h, second(r, 4, s)...)
	}
	if h.Aside() == nil {
		t.Fatal("Aside() = nil: the damage was not met")
	}
	if h.Last() <= last {
		t.Errorf("Last() = %d, want above %d", h.Last(), last)
	}
	if got, err := h.From(last+1, 100, nil); err != nil || len(got) != 16 {
		t.Errorf("the new file holds %d readings, %v, want the 16 appended since", len(got), err)
	}
}

// Whatever bytes a row has: no panic, no reading beyond its count, and what encodes comes back.
func FuzzRow(f *testing.F) {
	f.Add(uint64(1), encodeRow(nil, 1, []packed{{point: 1, number: 5}, {point: 2, form: missing, quality: reading.Bad, cause: 3}}))
	f.Add(uint64(9), encodeRow(nil, 9, []packed{{stamp: stamp{wall: -5, mono: 7, boot: 2, set: true}, point: 300, form: raw, number: math.MinInt64, text: "x"}}))
	f.Fuzz(func(t *testing.T, first uint64, data []byte) {
		r, err := openRow(first, data, true)
		if err != nil {
			return
		}
		var all []packed
		for {
			var p packed
			more, err := r.next(&p)
			if err != nil {
				return
			}
			if !more {
				break
			}
			all = append(all, p)
		}
		if uint64(len(all)) != r.count {
			t.Fatalf("%d readings of %d", len(all), r.count)
		}
		again, err := openRow(first, encodeRow(nil, first, all), false)
		if err != nil {
			t.Fatalf("what was encoded does not open: %v", err)
		}
		for i := range all {
			var p packed
			if _, err := again.next(&p); err != nil || p != all[i] {
				t.Fatalf("reading %d = %+v, %v, want %+v", i, p, err, all[i])
			}
		}
	})
}

// What stands beside the rows is damaged by hand, one table at a time: rows stay readable wherever they can be understood, and it is counted.
func TestOpen_tablesBesideTheRows(t *testing.T) {
	source := t.TempDir()
	truth := fill(t, source, 4, 3*rowsPerStretch+30)
	for _, c := range []struct {
		name, statement string
		lost            func(Entry) bool // nil: nothing
		counted         bool
	}{
		{"a stretch changed", "UPDATE stretch SET high = 0 WHERE first = (SELECT min(first) FROM stretch)", nil, false},
		{"a stretch gone", "DELETE FROM stretch WHERE first = (SELECT first FROM stretch ORDER BY first LIMIT 1 OFFSET 1)", nil, false},
		{"all stretches gone", "DELETE FROM stretch", nil, false},
		{"the newest gone", "DELETE FROM newest", nil, false},
		{"the mark changed", "UPDATE mark SET safe = 5", nil, true},
		{"a point changed", "UPDATE point SET name = 'tank-9/temperature' WHERE id = 2", func(e Entry) bool { return e.Point == "tank-2/temperature" }, true},
		{"a row gone", "DELETE FROM row WHERE first = 401", func(e Entry) bool { return e.Position > 400 && e.Position <= 404 }, true},
		{"the last rows gone", "DELETE FROM row WHERE first > 3000", func(e Entry) bool { return e.Position > 3000 }, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := copyFolder(t, source)
			h, err := Open(dir, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := pool(t, h).ExecContext(t.Context(), c.statement); err != nil {
				t.Fatal(err)
			}
			if err := errors.Join(h.pen.drop(), h.file.Close()); err != nil { // not h.Close: it would write what it knows
				t.Fatal(err)
			}
			if err := h.lock.Release(); err != nil {
				t.Fatal(err)
			}
			if o := judge(t, dir, false, truth); o.silent != "" || o.aside || (c.lost != nil) != o.reported && !c.counted {
				t.Errorf("outcome %+v", o)
			}
			if h, err = Open(dir, Options{}); err != nil {
				t.Fatal(err)
			}
			defer h.Close()
			kept := 0
			for position := uint64(1); position <= uint64(len(truth)); {
				got, err := h.From(position, 1000, nil)
				for _, e := range got {
					kept++
					if c.lost != nil && c.lost(e) {
						t.Fatalf("%+v was read, it should be lost", e)
					}
					position = e.Position + 1
				}
				var d *Damage
				switch {
				case errors.As(err, &d):
					position = d.Last + 1
				case err != nil:
					t.Fatal(err)
				case len(got) == 0:
					position = uint64(len(truth)) + 1
				}
			}
			want := 0
			for _, e := range truth {
				if c.lost == nil || !c.lost(e) {
					want++
				}
			}
			if kept != want || (h.Counts().Damaged > 0) != c.counted {
				t.Errorf("%d readings kept, want %d; Counts() = %+v, want damage counted: %v", kept, want, h.Counts(), c.counted)
			}
			if last := mustAppend(t, h, temperature("tank-2/temperature", 1, after(2*time.Hour))); last <= truth[len(truth)-1].Position {
				t.Errorf("Append() = %d: a position is given again", last)
			}
			if got, err := h.From(h.Last(), 1, nil); err != nil || len(got) != 1 || got[0].Point != "tank-2/temperature" {
				t.Errorf("From(%d) = %+v, %v", h.Last(), got, err)
			}
		})
	}
}

// A damaged cause costs its text, not the reading.
func TestOpen_damagedCause(t *testing.T) {
	dir := t.TempDir()
	h := openTest(t, dir)
	in := reading.Missing("tank-1/ph", units.PH, after(0), "no answer")
	mustAppend(t, h, in)
	if _, err := pool(t, h).ExecContext(t.Context(), "UPDATE cause SET text = 'nothing'"); err != nil {
		t.Fatal(err)
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	h, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	other := in
	other.Stamp, other.Cause = after(time.Second), "out of range"
	mustAppend(t, h, other)
	in.Cause = lostCause
	wantEntries(t, readAll(t, h), []reading.Reading{in, other})
	if h.Counts().Damaged != 1 {
		t.Errorf("Counts() = %+v, want the damage counted", h.Counts())
	}
}

// A step that a later version of the program changes: old rows keep the step they were written with.
func TestDictionary_keepsTheStep(t *testing.T) {
	dir := t.TempDir()
	h := openTest(t, dir)
	mustAppend(t, h, temperature("bin-1/temperature", 21.5, after(0)))
	// As if the program had counted tenths when this was written.
	if _, err := pool(t, h).ExecContext(t.Context(), "UPDATE point SET steps = 10, crc = ?", pointSum(1, "bin-1/temperature", "temperature", 10)); err != nil {
		t.Fatal(err)
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	h = openTest(t, dir)
	mustAppend(t, h, temperature("bin-1/temperature", 22.125, after(time.Second)))
	got, err := h.Range(t.Context(), "bin-1/temperature", night, night.Add(time.Hour), 0)
	if err != nil || len(got) != 2 || got[0].Value != 2150 || got[1].Value != 22.125 {
		t.Errorf("Range() = %+v, %v, want 21500 tenths, then 22.125", got, err)
	}
}

// Aim: what comes in the order of before, after a damaged file was set aside while the history runs, is in the new file under its own name: nothing that was kept of the old file's series serves there.
func TestAppend_afterSettingAside(t *testing.T) {
	h := openTest(t, memoryFolder(t))
	const points = 4
	r := rand.New(rand.NewPCG(23, 24))
	for s := range 3 {
		mustAppend(t, h, second(r, points, s)...)
	}
	h.writing.Lock()
	err := h.renew(errors.New("damaged, for the test"))
	h.writing.Unlock()
	if err != nil {
		t.Fatal(err)
	}
	from := h.Last()
	var want []reading.Reading
	for s := 3; s < 6; s++ {
		rs := second(r, points, s)
		if s == 4 { // and in another order
			rs[0], rs[1] = rs[1], rs[0]
		}
		mustAppend(t, h, rs...)
		for i := range rs {
			want = append(want, Round(rs[i]))
		}
	}
	got := readAll(t, h)
	if len(got) != len(want) || got[0].Position <= from {
		t.Fatalf("%d readings from position %v on, want %d above %d", len(got), got, len(want), from)
	}
	for i := range got {
		if !equal(got[i].Reading, want[i]) {
			t.Errorf("reading %d is %+v, want %+v", i, got[i].Reading, want[i])
		}
	}
	if latest := h.Latest(); len(latest) != points {
		t.Errorf("%d newest readings, want %d", len(latest), points)
	}
}

// pool lets a test write behind the history's back, on its own connection.
func pool(t testing.TB, h *History) *sql.DB {
	t.Helper()
	if err := h.pen.drop(); err != nil {
		t.Fatal(err)
	}
	return h.file.Write
}
