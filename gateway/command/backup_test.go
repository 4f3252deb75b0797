package command

import (
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/rehearse"
)

// begun is when the readings of these tests begin.
var begun = time.Date(2026, 5, 12, 18, 0, 0, 0, time.UTC)

// numbered is the reading that has a position here: all of it follows from the position.
func numbered(position uint64) reading.Reading {
	at := begun.Add(time.Duration(position) * time.Second)
	return history.Round(reading.Reading{Point: fmt.Sprintf("tank-%d/mass", position%3), Quantity: units.Temperature, Value: float64(position%200) / 8,
		Stamp: reading.Stamp{Wall: at, Mono: time.Duration(position) * time.Second, Boot: 1, Set: true}})
}

// board is a data folder in use: readings and entries are added until it is closed.
type board struct {
	t       testing.TB
	dir     string
	history *history.History
	logbook *logbook.Logbook
	stop    chan struct{}
	once    sync.Once
	done    sync.WaitGroup
}

func newBoard(t testing.TB, dir string) *board {
	t.Helper()
	b := &board{t: t, dir: dir, stop: make(chan struct{})}
	var err, err2 error
	b.history, err = history.Open(dir, history.Options{})
	b.logbook, err2 = logbook.Open(dir)
	if err := errors.Join(err, err2); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.close)
	return b
}

// add appends so many rounds of 20 readings, and an entry with each.
func (b *board) add(rounds int) {
	for range rounds {
		var rs []reading.Reading
		for i := range uint64(20) {
			rs = append(rs, numbered(b.history.Last()+1+i))
		}
		_, err := b.history.Append(rs)
		_, err2 := b.logbook.Write(logbook.Entry{At: rs[0].Stamp, Kind: logbook.Note, Who: "ana", Text: "round"})
		if err := errors.Join(err, err2); err != nil {
			b.t.Error(err)
			return
		}
	}
}

// run goes on adding beside the test.
func (b *board) run() {
	b.done.Go(func() {
		for {
			select {
			case <-b.stop:
				return
			default:
				b.add(1)
			}
		}
	})
}

func (b *board) close() {
	b.once.Do(func() {
		close(b.stop)
		b.done.Wait()
		if err := errors.Join(b.logbook.Close(), b.history.Close()); err != nil {
			b.t.Error(err)
		}
	})
}

// holds checks that a folder holds the readings from 1 on, without a gap, at least so many, and a record whose seals fit; it gives how many.
func holds(t testing.TB, dir string, least uint64) (readings uint64, entries int64) {
	t.Helper()
	h, err := history.Open(dir, history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := h.Close(); err != nil {
			t.Error(err)
		}
	}()
	for next := uint64(1); ; {
		page, err := h.From(next, 1000, nil)
		if err != nil {
			t.Fatal(err)
		}
		if len(page) == 0 {
			readings = next - 1
			break
		}
		for _, e := range page {
			if e.Position != next || e.Reading != numbered(next) {
				t.Fatalf("entry %d = %+v, want %+v", next, e, numbered(next))
			}
			next++
		}
	}
	book, err := logbook.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	head, err := book.Verify(t.Context())
	if err := errors.Join(err, book.Close()); err != nil {
		t.Fatal(err)
	}
	if readings < least {
		t.Errorf("%s holds %d readings, want at least %d", dir, readings, least)
	}
	return readings, head.ID
}

// must runs a command that must work.
func must(t testing.TB, args ...string) (out, said string) {
	t.Helper()
	code, out, said := command(t, args...)
	if code != exitWell {
		t.Fatalf("%v: exit %d\n%s%s", args, code, out, said)
	}
	return out, said
}

// refused runs a command that must fail with these words.
func refused(t testing.TB, words string, args ...string) {
	t.Helper()
	if code, out, said := command(t, args...); code == exitWell || !strings.Contains(said, words) {
		t.Errorf("%v: exit %d, want a refusal with %q\n%s%s", args, code, words, out, said)
	}
}

// folderBytes is all that stands in the files of a folder, by name.
func folderBytes(t testing.TB, dir string) map[string]string {
	t.Helper()
	all := map[string]string{}
	files, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		text, err := os.ReadFile(filepath.Join(dir, f.Name()))
		if err != nil {
			t.Fatal(err)
		}
		all[f.Name()] = string(text)
	}
	return all
}

// Aim: a backup taken while readings and entries are written holds all that was acknowledged before it began, without a gap; restored into an empty
// folder it is the same, and no position is given twice.
func TestBackup_whileRunning(t *testing.T) {
	home := t.TempDir()
	data, copied, again := filepath.Join(home, "data"), filepath.Join(home, "copy"), filepath.Join(home, "again")
	b := newBoard(t, data)
	b.add(100)
	b.run()
	least := b.history.Last()
	out, _ := must(t, "backup", copied, "--data", data)
	b.close()
	if !strings.Contains(out, "all were read again") {
		t.Errorf("backup says %q", out)
	}
	last := b.history.Last()
	if last == least {
		t.Error("nothing was written while the backup was taken: the test shows nothing")
	}
	before := folderBytes(t, copied)
	must(t, "restore", copied, "--data", again)
	for name, text := range folderBytes(t, copied) {
		if before[name] != text {
			t.Errorf("restore changed %s of the backup", name)
		}
	}
	readings, entries := holds(t, again, least)
	if readings > last || uint64(entries)*20 < least || uint64(entries)*20 > readings+20 {
		t.Errorf("restored: %d readings, %d entries of %d and %d", readings, entries, last, last/20)
	}
	b = newBoard(t, again)
	if got, err := b.history.Append([]reading.Reading{numbered(readings + 1)}); err != nil || got <= last {
		t.Errorf("the next position = %d, %v, want one above %d: those up to there were given", got, err, last)
	}
	left, err := filepath.Glob(filepath.Join(home, "*.part-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left over: %v, %v", left, err)
	}
}

// Aim: nothing is overwritten, and a refusal changes nothing; with --replace the old files are kept under names that are said.
func TestRestore_refusesAndSetsAside(t *testing.T) {
	home := t.TempDir()
	data, copied := filepath.Join(home, "data"), filepath.Join(home, "copy")
	b := newBoard(t, data)
	b.add(5)
	must(t, "backup", copied, "--data", data)
	refused(t, "is there already", "backup", copied, "--data", data)
	refused(t, "a gateway runs on "+data, "restore", copied, "--data", data, "--replace")
	b.add(5)
	b.close()
	before := folderBytes(t, data)
	refused(t, "--replace", "restore", copied, "--data", data)
	refused(t, "is no backup", "restore", home, "--data", data, "--replace")
	broken := filepath.Join(home, "broken")
	if err := os.CopyFS(broken, os.DirFS(copied)); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(broken, "history.db"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(broken, "history.db"), text[:len(text)/2], 0o600); err != nil {
		t.Fatal(err)
	}
	refused(t, "nothing was changed", "restore", broken, "--data", data, "--replace")
	for name, text := range folderBytes(t, data) {
		if before[name] != text && name != "lock" {
			t.Errorf("a refused restore changed %s", name)
		}
	}
	out, _ := must(t, "restore", copied, "--data", data, "--replace")
	for _, name := range []string{"history.db.replaced-1", "logbook.db.replaced-1"} {
		if !strings.Contains(out, name) || folderBytes(t, data)[name] == "" {
			t.Errorf("%s is not kept and said: %s", name, out)
		}
	}
	if readings, entries := holds(t, data, 100); readings != 100 || entries != 5 {
		t.Errorf("restored: %d readings, %d entries, want 100 and 5", readings, entries)
	}
}

// Aim: what is damaged in the source already is said, by backup and by restore, and the rest is kept. The control: without the damage nothing is said.
func TestBackup_saysDamage(t *testing.T) {
	home := t.TempDir()
	data := filepath.Join(home, "data")
	b := newBoard(t, data)
	b.add(5)
	b.close()
	must(t, "backup", filepath.Join(home, "good"), "--data", data)
	change(t, filepath.Join(data, "history.db"), "UPDATE row SET data = zeroblob(length(data)) WHERE first = 41")
	change(t, filepath.Join(data, "logbook.db"), "DROP TRIGGER entry_is_not_changed; UPDATE entry SET text = 'nothing' WHERE id = 3")
	copied := filepath.Join(home, "copy")
	for _, args := range [][]string{{"backup", copied, "--data", data}, {"restore", copied, "--data", filepath.Join(home, "again")}} {
		code, out, said := command(t, args...)
		if code != exitFailed || !strings.Contains(said, "20 readings cannot be read") || !strings.Contains(said, "entry 3 of the record was changed") || !strings.Contains(out, "80 readings") {
			t.Errorf("%v: exit %d\n%s%s", args, code, out, said)
		}
	}
}

func change(t testing.TB, path, statement string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	_, err = db.ExecContext(t.Context(), statement)
	if err := errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
}

// Aim: an export taken while readings are written, read again by what reads recorded readings, is those of the points and times asked for, in order.
func TestExport_readAgain(t *testing.T) {
	home := t.TempDir()
	data := filepath.Join(home, "data")
	b := newBoard(t, data)
	b.add(400) // 8,000 s: over several windows
	if _, err := b.history.Append([]reading.Reading{numbered(30), {Point: "tank-0/mass", Quantity: units.Temperature, Value: 1, Stamp: reading.Stamp{Wall: begun.Add(time.Hour), Boot: 2}}}); err != nil {
		t.Fatal(err) // one delivered again, one of an unset clock
	}
	from, to := begun.Add(100*time.Second), begun.Add(7300*time.Second)
	for _, form := range []string{"csv", "json"} {
		name := filepath.Join(home, "out."+form)
		args := []string{"export", "tank-0/mass", "tank-2/mass", "--data", data, "--from", from.Format(time.RFC3339), "--to", to.Format(time.RFC3339), "--out", name}
		if form == "json" {
			args = append(args, "--senml")
		}
		_, said := must(t, args...)
		if !strings.Contains(said, "1 more were taken before the clock was set") {
			t.Errorf("%s: said %q", form, said)
		}
		var want []reading.Reading
		for p := uint64(100); p < 7300; p++ {
			if p%3 != 1 {
				want = append(want, numbered(p))
			}
		}
		sameReadings(t, form, readExport(t, name), want)
		refused(t, "is there already", args...)
	}
	refused(t, `no point "tank-9/mass"`, "export", "tank-9/mass", "--data", data)
	refused(t, "is no data folder", "export", "--data", home)
	refused(t, "--from is not before", "export", "--data", data, "--from", "2026-06-10", "--to", "2026-06-09")
}

func readExport(t testing.TB, name string) (all []reading.Reading) {
	t.Helper()
	source, _, file, err := openReadings(name, func(string) (units.Quantity, bool) { return units.Temperature, true })
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := file.Close(); err != nil {
			t.Error(err)
		}
	}()
	all, err = drain(source)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func drain(from rehearse.Source) (all []reading.Reading, err error) {
	for {
		r, err := from.Next()
		if errors.Is(err, io.EOF) {
			return all, nil
		}
		if err != nil {
			return all, err
		}
		all = append(all, r)
	}
}

func sameReadings(t testing.TB, form string, got, want []reading.Reading) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %d readings, want %d", form, len(got), len(want))
	}
	for i := range want {
		g, w := got[i], want[i]
		if g.Point != w.Point || g.Value != w.Value || g.Quantity != w.Quantity || g.Quality != w.Quality || !g.Stamp.Wall.Equal(w.Stamp.Wall) {
			t.Fatalf("%s: reading %d = %+v, want %+v", form, i, g, w)
		}
	}
}

// Printed is the same as written to a file, header included.
func TestExport_printed(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	b := newBoard(t, data)
	b.add(1)
	out, _ := must(t, "export", "--data", data, "--from", begun.Format(time.RFC3339), "--to", begun.Add(3*time.Second).Format(time.RFC3339))
	want := "time,point,value,unit,quality\r\n2026-05-12T18:00:01Z,tank-1/mass,0.125,°C,good\r\n2026-05-12T18:00:02Z,tank-2/mass,0.25,°C,good\r\n"
	if !bytes.Equal([]byte(out), []byte(want)) {
		t.Errorf("printed\n%q, want\n%q", out, want)
	}
}

// Aim: backup, restore and export know what is rolled up: the export is the same before and after, and from a restored copy.
func TestExport_rolledUp(t *testing.T) {
	home := t.TempDir()
	data, copied, again := filepath.Join(home, "data"), filepath.Join(home, "copy"), filepath.Join(home, "again")
	b := newBoard(t, data)
	for range 600 { // more than two stretches of rows
		b.add(1)
	}
	export := func(folder string) string {
		out, _ := must(t, "export", "--data", folder, "--from", begun.Format(time.RFC3339), "--to", begun.AddDate(0, 0, 1).Format(time.RFC3339))
		return out
	}
	before := export(data)
	rolled := 0
	for {
		done, err := b.history.RollUp(t.Context(), begun.AddDate(0, 0, 2), true)
		if err != nil {
			t.Fatal(err)
		}
		if done == (history.Rolled{}) {
			break
		}
		rolled += done.Readings
	}
	if rolled == 0 {
		t.Fatal("nothing was rolled up: the test shows nothing")
	}
	out, _ := must(t, "backup", copied, "--data", data)
	if !strings.Contains(out, "12000 readings") {
		t.Errorf("backup says %q, want 12000 readings", out)
	}
	must(t, "restore", copied, "--data", again)
	for _, folder := range []string{data, again} {
		if got := export(folder); got != before || strings.Count(got, "\n") != 12001 {
			t.Errorf("the export of %s has %d lines after rolling up, %d before", folder, strings.Count(got, "\n"), strings.Count(before, "\n"))
		}
	}
	change(t, filepath.Join(again, "history.db"), "UPDATE chunk SET data = zeroblob(length(data)) WHERE key = (SELECT min(key) FROM chunk)")
	if code, _, said := command(t, "backup", filepath.Join(home, "bad"), "--data", again); code != exitFailed || !strings.Contains(said, "cannot be read any more") {
		t.Errorf("a damaged chunk: exit %d, %s", code, said)
	}
	if code, _, said := command(t, "export", "--data", again, "--from", begun.Format(time.RFC3339), "--to", begun.AddDate(0, 0, 1).Format(time.RFC3339)); code != exitFailed || !strings.Contains(said, "cannot be read any more") {
		t.Errorf("a damaged chunk: export exits %d, %s", code, said)
	}
}
