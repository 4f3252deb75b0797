package logbook

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"millwarden/gateway/logbook/lots"
	"millwarden/internal/reading"
)

// night is when these tests happen.
var night = time.Date(2026, 5, 12, 18, 0, 0, 0, time.UTC)

func at(d time.Duration) reading.Stamp {
	return reading.Stamp{Wall: night.Add(d), Mono: time.Hour + d, Boot: 3, Set: true}
}

// openTest opens a logbook and checks at the end of the test that its seals fit.
func openTest(t testing.TB, dir string) *Logbook {
	t.Helper()
	l, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if _, err := l.Verify(context.Background()); err != nil && !errors.Is(err, sql.ErrConnDone) && !strings.Contains(err.Error(), "closed") {
			t.Errorf("Verify() at the end = %v", err)
		}
		if err := l.Close(); err != nil {
			t.Errorf("Close() = %v", err)
		}
	})
	return l
}

func some(n int) []Entry {
	var es []Entry
	for i := range n {
		e := Entry{At: at(time.Duration(i) * time.Second), Kind: []Kind{Transition, Act, Message, Lot}[i%4], Alarm: fmt.Sprintf("over-fermented@tank-%d", i%3),
			Occurrence: int64(i % 5), Place: fmt.Sprintf("tank-%d", i%3), Who: "ana", Why: "noche", Text: fmt.Sprintf("línea %d", i)}
		if i%4 == 3 {
			e.Lot, e.Data = "cosecha-7", json.RawMessage(`{"kg":120}`)
		}
		es = append(es, e)
	}
	return es
}

func TestWrite_readsBackInOrder(t *testing.T) {
	dir := t.TempDir()
	l := openTest(t, dir)
	want := some(40)
	for i := range want {
		id, err := l.Write(want[i])
		if err != nil || id != int64(i+1) {
			t.Fatalf("Write() = %d, %v, want %d", id, err, i+1)
		}
		want[i].ID = id
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	l = openTest(t, dir)
	got, err := l.Entries(t.Context(), Filter{})
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("Entries() = %v, %v, want what was written", got, err)
	}
}

// Each field of the filter against the same choice made in plain Go.
func TestEntries_filter(t *testing.T) {
	l := openTest(t, t.TempDir())
	all := some(60)
	if _, err := l.Write(all...); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		f    Filter
		want func(int, *Entry) bool
	}{
		"kinds":      {Filter{Kinds: []Kind{Act, Lot}}, func(_ int, e *Entry) bool { return e.Kind == Act || e.Kind == Lot }},
		"alarm":      {Filter{Alarm: "over-fermented@tank-1"}, func(_ int, e *Entry) bool { return e.Alarm == "over-fermented@tank-1" }},
		"occurrence": {Filter{Alarm: "over-fermented@tank-1", Occurrence: 4}, func(_ int, e *Entry) bool { return e.Alarm == "over-fermented@tank-1" && e.Occurrence == 4 }},
		"place":      {Filter{Place: "tank-2"}, func(_ int, e *Entry) bool { return e.Place == "tank-2" }},
		"lot":        {Filter{Lot: "cosecha-7"}, func(_ int, e *Entry) bool { return e.Lot == "cosecha-7" }},
		"time":       {Filter{From: night.Add(10 * time.Second), To: night.Add(20 * time.Second)}, func(i int, _ *Entry) bool { return i >= 10 && i < 20 }},
		"after":      {Filter{After: 50}, func(i int, _ *Entry) bool { return i >= 50 }},
		"limit":      {Filter{Limit: 7}, func(i int, _ *Entry) bool { return i < 7 }},
		"newest":     {Filter{Limit: 7, Newest: true}, func(i int, _ *Entry) bool { return i >= 53 }},
	} {
		var want []int64
		for i := range all {
			if c.want(i, &all[i]) {
				want = append(want, int64(i+1))
			}
		}
		if c.f.Newest {
			for i, j := 0, len(want)-1; i < j; i, j = i+1, j-1 {
				want[i], want[j] = want[j], want[i]
			}
		}
		found, err := l.Entries(t.Context(), c.f)
		var got []int64
		for _, e := range found {
			got = append(got, e.ID)
		}
		if err != nil || len(want) == 0 || !reflect.DeepEqual(got, want) {
			t.Errorf("%s: entries %v, %v, want %v", name, got, err, want)
		}
	}
}

// The record refuses change by statement; and what goes around it shows in Verify, at the right entry.
func TestRecord_cannotBeChangedSilently(t *testing.T) {
	l := openTest(t, t.TempDir())
	if _, err := l.Write(some(20)...); err != nil {
		t.Fatal(err)
	}
	for _, s := range []string{"UPDATE entry SET text = 'x' WHERE id = 3", "DELETE FROM entry WHERE id = 3", "DELETE FROM entry"} {
		if _, err := l.file.Write.ExecContext(t.Context(), s); err == nil || !strings.Contains(err.Error(), "append-only") {
			t.Errorf("%s = %v, want it refused", s, err)
		}
	}
	for _, c := range []struct {
		change string
		at     int64
	}{
		{"UPDATE entry SET text = 'nothing happened' WHERE id = 7", 7},
		{"UPDATE entry SET wall = wall + 60000 WHERE id = 1", 1},
		{"UPDATE entry SET who = 'ben' WHERE id = 20", 20},
		{"UPDATE entry SET alarm = alarm || place, place = '' WHERE id = 12", 12}, // the same letters in other columns
		{"UPDATE entry SET seal = (SELECT seal FROM entry WHERE id = 4) WHERE id = 5", 5},
		{"DELETE FROM entry WHERE id = 9", 9},
		{"DELETE FROM entry WHERE id = 20", 20}, // the last one: the number it had is remembered
		{"INSERT INTO entry SELECT 21, wall, mono, boot, clock, kind, alarm, occurrence, place, lot, who, why, text, data, seal FROM entry WHERE id = 20", 21},
	} {
		func() {
			if _, err := l.Verify(t.Context()); err != nil {
				t.Fatalf("Verify() before %q = %v", c.change, err)
			}
			tx, err := l.file.Write.BeginTx(t.Context(), nil)
			if err != nil {
				t.Fatal(err)
			}
			defer tx.Rollback()
			for _, s := range []string{"DROP TRIGGER entry_is_not_changed", "DROP TRIGGER entry_is_not_removed", c.change} {
				if _, err := tx.ExecContext(t.Context(), s); err != nil {
					t.Fatalf("%s: %v", s, err)
				}
			}
			// Verify reads by its own pool and would not see what is not committed: a copy of the file is what it is given.
			if err := tx.Commit(); err != nil {
				t.Fatal(err)
			}
		}()
		_, err := l.Verify(t.Context())
		var b *Broken
		if !errors.As(err, &b) || b.ID != c.at {
			t.Errorf("Verify() after %q = %v, want *Broken at %d", c.change, err, c.at)
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		l = openTest(t, t.TempDir())
		if _, err := l.Write(some(20)...); err != nil {
			t.Fatal(err)
		}
	}
}

// A changed record whose seals are all reckoned anew is told from the old one by a head that was printed.
func TestHead_fixesAllThatStoodBefore(t *testing.T) {
	write := func(text string) Head {
		l := openTest(t, t.TempDir())
		es := some(5)
		es[1].Text = text
		if _, err := l.Write(es...); err != nil {
			t.Fatal(err)
		}
		h, err := l.Head(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if v, err := l.Verify(t.Context()); err != nil || v != h {
			t.Errorf("Verify() = %v, %v, want the head %v", v, err, h)
		}
		return h
	}
	first, same, other := write("a"), write("a"), write("b")
	if first != same || first == other || first.ID != 5 {
		t.Errorf("heads %v, %v, %v: want the first two equal, the third not", first, same, other)
	}
}

// The seal of one entry, put together here by hand: SHA-256 [FIPS 180-4] over the seal before, the numbers, and each text after its length. It
// must never change, or old records would not fit any more.
func TestSeal_formIsFixed(t *testing.T) {
	l := openTest(t, t.TempDir())
	if _, err := l.Write(Entry{At: reading.Stamp{Wall: time.UnixMilli(1000), Mono: 2 * time.Millisecond, Boot: 3, Set: true}, Kind: "note", Alarm: "a", Occurrence: 4,
		Place: "p", Lot: "l", Who: "w", Why: "y", Text: "té", Data: json.RawMessage(`{}`)}); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	b.Write(make([]byte, 32))
	for _, n := range []int64{1, 1000, 2, 3, 1, 4} {
		binary.Write(&b, binary.BigEndian, n)
	}
	for _, s := range []string{"note", "a", "p", "l", "w", "y", "té", "{}"} {
		binary.Write(&b, binary.BigEndian, int64(len(s)))
		b.WriteString(s)
	}
	h, err := l.Head(t.Context())
	if want := sha256.Sum256(b.Bytes()); err != nil || h.Seal != want {
		t.Errorf("seal = %x, %v, want %x", h.Seal, err, want)
	}
}

func TestWrite_refusesWhatIsNoEntry(t *testing.T) {
	l := openTest(t, t.TempDir())
	for _, e := range []Entry{{}, {Kind: "a|b"}, {Kind: Note, Data: json.RawMessage("{")}} {
		if _, err := l.Write(Entry{Kind: Note}, e); err == nil {
			t.Errorf("Write(%+v) gave no error", e)
		}
	}
	if got, err := l.Entries(t.Context(), Filter{}); err != nil || len(got) != 0 {
		t.Errorf("a refused write left %v, %v", got, err)
	}
}

func TestEngine_savedAndLoaded(t *testing.T) {
	dir := t.TempDir()
	l := openTest(t, dir)
	if got, err := l.LoadEngine(); got != nil || err != nil {
		t.Errorf("LoadEngine() of a new logbook = %q, %v, want nothing", got, err)
	}
	for _, s := range []string{`{"a":1}`, `{"b":2}`} {
		if err := l.SaveEngine([]byte(s)); err != nil {
			t.Fatal(err)
		}
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	l = openTest(t, dir)
	if got, err := l.LoadEngine(); string(got) != `{"b":2}` || err != nil {
		t.Errorf("LoadEngine() = %q, %v, want the last saved", got, err)
	}
	if _, err := l.file.Write.ExecContext(t.Context(), `UPDATE engine SET state = '{"b":3}'`); err != nil {
		t.Fatal(err)
	}
	if got, err := l.LoadEngine(); !errors.Is(err, ErrDamaged) || got != nil {
		t.Errorf("LoadEngine() of a changed state = %q, %v, want ErrDamaged", got, err)
	}
}

func TestNextBoot_countsBootsNotStarts(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct {
		kernel string
		want   uint32
	}{{"3f2a", 1}, {"3f2a", 1}, {"77b0", 2}, {"3f2a", 3}, {"", 4}, {"", 5}} {
		l := openTest(t, dir)
		if got, err := l.NextBoot(c.kernel, night); got != c.want || err != nil {
			t.Errorf("NextBoot(%q) = %d, %v, want %d", c.kernel, got, err, c.want)
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

func TestCalibrate_keptWithItsEntry(t *testing.T) {
	l := openTest(t, t.TempDir())
	first := Calibration{At: at(0), Probe: "tank-1-electrode", Kind: "two-point", Points: []Pair{{Reference: 4.01, Read: 4.13, Temperature: 21.5}, {Reference: 7, Read: 6.98}},
		AsFound: json.RawMessage(`{"error":0.12}`), AsLeft: json.RawMessage(`{"slope":0.97}`), Who: "ben", Note: "buffers of May"}
	second := Calibration{At: at(time.Hour), Probe: "deck-1-scale", Channel: "weight", Kind: "offset"}
	for _, c := range []*Calibration{&first, &second} {
		var err error
		if c.ID, err = l.Calibrate(*c); err != nil {
			t.Fatal(err)
		}
	}
	if got, err := l.Calibrations(t.Context(), ""); err != nil || !reflect.DeepEqual(got, []Calibration{second, first}) {
		t.Errorf("Calibrations() = %+v, %v, want both, newest first", got, err)
	}
	if got, err := l.Calibrations(t.Context(), "tank-1-electrode"); err != nil || !reflect.DeepEqual(got, []Calibration{first}) {
		t.Errorf("Calibrations(tank-1-electrode) = %+v, %v", got, err)
	}
	es, err := l.Entries(t.Context(), Filter{Kinds: []Kind{Calibrated}, Place: "tank-1-electrode"})
	if err != nil || len(es) != 1 || es[0].Who != "ben" || !json.Valid(es[0].Data) || !bytes.Contains(es[0].Data, []byte("0.97")) {
		t.Errorf("entries of the calibration = %+v, %v", es, err)
	}
	if _, err := l.Calibrate(Calibration{Kind: "offset"}); err == nil {
		t.Error("a calibration of no probe was kept")
	}
}

func TestStay_loadAndEmpty(t *testing.T) {
	l := openTest(t, t.TempDir())
	id, err := l.Load(Stay{Station: "tank-1", Lot: "cosecha-7", From: at(0), Loaded: 820.5, Who: "ana", Note: "ripe"})
	if err != nil {
		t.Fatal(err)
	}
	var refused *lots.Refusal
	if _, err := l.Load(Stay{Station: "tank-1", Lot: "cosecha-8", From: at(time.Minute)}); !errors.As(err, &refused) || !strings.Contains(err.Error(), "cosecha-7") {
		t.Errorf("second Load() = %v, want it refused with the lot that stands there", err)
	}
	if _, err := l.Empty("tank-2", at(0), 0, "ana", ""); !errors.As(err, &refused) {
		t.Errorf("Empty() of an empty tank = %v, want it refused", err)
	}
	standing, err := l.Standing(t.Context())
	if err != nil || len(standing) != 1 || standing[0].Ended || standing[0].From != at(0) {
		t.Errorf("Standing() = %+v, %v", standing, err)
	}
	want := Stay{ID: id, Station: "tank-1", Lot: "cosecha-7", From: at(0), To: at(20 * time.Hour), Ended: true, Loaded: 820.5, Unloaded: 410, Who: "ana", EmptiedBy: "ben", Note: "ripe\ngritty"}
	if got, err := l.Empty("tank-1", at(20*time.Hour), 410, "ben", "gritty"); err != nil || got != want {
		t.Errorf("Empty() = %+v, %v, want %+v", got, err, want)
	}
	if _, err := l.Load(Stay{Station: "tank-1", Lot: "cosecha-8", From: at(21 * time.Hour)}); err != nil {
		t.Errorf("Load() after Empty = %v", err)
	}
	if got, err := l.Stays(t.Context(), "", "cosecha-7"); err != nil || len(got) != 1 || got[0] != want {
		t.Errorf("Stays() = %+v, %v", got, err)
	}
	if es, err := l.Entries(t.Context(), Filter{Kinds: []Kind{Lot}, Lot: "cosecha-7"}); err != nil || len(es) != 2 || es[0].Text != "tank-1 loaded: cosecha-7, 820.5 kg" || es[1].Who != "ben" {
		t.Errorf("entries of the lot = %+v, %v", es, err)
	}
}

func TestToken_answersOnce(t *testing.T) {
	l := openTest(t, t.TempDir())
	token := Token{Hash: sha256.Sum256([]byte("link")), Alarm: "over-fermented@tank-1", Occurrence: 12, Person: "ana", Title: "Tank 1 over-fermented", Expires: night.Add(time.Hour)}
	if err := l.KeepToken(token, night); err != nil {
		t.Fatal(err)
	}
	if _, err := l.UseToken(sha256.Sum256([]byte("another")), night); !errors.Is(err, ErrNoToken) {
		t.Errorf("UseToken of an unknown link = %v, want ErrNoToken", err)
	}
	for range 2 { // to look changes nothing
		if got, err := l.FindToken(t.Context(), token.Hash, night); err != nil || got != token {
			t.Errorf("FindToken() = %+v, %v, want %+v", got, err, token)
		}
	}
	if _, err := l.UseToken(token.Hash, night.Add(time.Hour)); !errors.Is(err, ErrExpired) {
		t.Errorf("UseToken() late = %v, want ErrExpired", err)
	}
	if got, err := l.UseToken(token.Hash, night.Add(time.Minute)); err != nil || got.Occurrence != 12 || got.Person != "ana" {
		t.Errorf("UseToken() = %+v, %v", got, err)
	}
	if got, err := l.UseToken(token.Hash, night.Add(2*time.Minute)); !errors.Is(err, ErrUsed) || got.Used != night.Add(time.Minute) {
		t.Errorf("second UseToken() = %+v, %v, want ErrUsed with the time of the first", got, err)
	}
	other := token
	other.Hash, other.Expires = sha256.Sum256([]byte("other")), night.Add(100*24*time.Hour)
	if err := l.KeepToken(other, night.Add(60*24*time.Hour)); err != nil {
		t.Fatal(err)
	}
	if _, err := l.FindToken(t.Context(), token.Hash, night); !errors.Is(err, ErrNoToken) {
		t.Errorf("a token expired two months ago: %v, want ErrNoToken", err)
	}
	if _, err := l.FindToken(t.Context(), other.Hash, night); err != nil {
		t.Errorf("the new token: %v", err)
	}
}

// Full disk: typed, nothing half-written, and it works again once there is room. The limit on pages stands for the disk: SQLite gives the same code.
func TestWrite_fullDisk(t *testing.T) {
	l := openTest(t, t.TempDir())
	if _, err := l.Write(some(5)...); err != nil {
		t.Fatal(err)
	}
	limit := func(pages int) {
		if _, err := l.file.Write.ExecContext(t.Context(), fmt.Sprintf("PRAGMA max_page_count = %d", pages)); err != nil {
			t.Fatal(err)
		}
	}
	limit(1) // SQLite takes the present size: no page more
	big := Entry{Kind: Note, Text: strings.Repeat("x", 100_000)}
	if _, err := l.Write(Entry{Kind: Note}, big); !errors.Is(err, ErrFull) {
		t.Fatalf("Write() on a full disk = %v, want ErrFull", err)
	}
	if es, err := l.Entries(t.Context(), Filter{}); err != nil || len(es) != 5 {
		t.Errorf("reading on a full disk: %d entries, %v, want 5", len(es), err)
	}
	limit(1 << 20)
	if id, err := l.Write(big); err != nil || id != 6 {
		t.Errorf("Write() with room again = %d, %v, want 6", id, err)
	}
}

// A logbook that is no database, or whose pages are torn, is set aside and a new one begun; nothing of it is deleted.
func TestOpen_setsDamagedFileAside(t *testing.T) {
	for name, damage := range map[string]func([]byte) []byte{
		"garbage": func(b []byte) []byte { return bytes.Repeat([]byte("garbage "), 4096) },
		"torn":    func(b []byte) []byte { return append(b[:4096:4096], make([]byte, len(b)-4096)...) },
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			l := openTest(t, dir)
			if _, err := l.Write(some(50)...); err != nil {
				t.Fatal(err)
			}
			if err := l.Close(); err != nil {
				t.Fatal(err)
			}
			path := filepath.Join(dir, fileName)
			content, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			content = damage(content)
			if err := os.WriteFile(path, content, 0o600); err != nil {
				t.Fatal(err)
			}
			l = openTest(t, dir)
			aside := l.Aside()
			if aside == nil || !errors.Is(aside, ErrDamaged) {
				t.Fatalf("Aside() = %v, want what was done with the damaged file", aside)
			}
			if kept, err := os.ReadFile(aside.Path); err != nil || !bytes.Equal(kept, content) {
				t.Errorf("the damaged file was not kept as it was: %v", err)
			}
			if _, err := l.Write(some(1)...); err != nil {
				t.Errorf("Write() to the new one = %v", err)
			}
		})
	}
}

// Two processes on one logbook: a command of a person beside the gateway. Numbers stay in order and the seals fit.
func TestWrite_besideAnotherProcess(t *testing.T) {
	dir := t.TempDir()
	a, b := openTest(t, dir), openTest(t, dir)
	done := make(chan error, 2)
	for _, l := range []*Logbook{a, b} {
		go func() {
			for range 20 {
				if _, err := l.Write(Entry{Kind: Note, At: at(0)}); err != nil {
					done <- err
					return
				}
			}
			done <- nil
		}()
	}
	for range 2 {
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
	if h, err := a.Verify(t.Context()); err != nil || h.ID != 40 {
		t.Errorf("Verify() = %v, %v, want 40 entries", h.ID, err)
	}
}

// Aim: the entries of one occurrence are found by their index, among those of others; a search of the whole record, the control, is a scan.
func TestOfOccurrence(t *testing.T) {
	l := openTest(t, t.TempDir())
	for n := range int64(30) {
		if _, err := l.Write(Entry{At: at(0), Kind: Message, Alarm: "hot@dryer-1", Occurrence: n % 3, Text: "called"}, Entry{At: at(0), Kind: Transition, Alarm: "wet@bin-1", Occurrence: n % 3}); err != nil {
			t.Fatal(err)
		}
	}
	found, err := l.OfOccurrence(t.Context(), "hot@dryer-1", 2)
	if err != nil || len(found) != 10 || found[0].ID != 5 || found[9].ID != 59 || found[9].Alarm != "hot@dryer-1" || found[9].Text != "called" {
		t.Errorf("OfOccurrence() = %+v, %v", found, err)
	}
	if none, err := l.OfOccurrence(t.Context(), "hot@dryer-1", 0); err != nil || len(none) != 0 {
		t.Errorf("of no occurrence: %+v, %v", none, err)
	}
	for query, want := range map[string]string{
		"SELECT * FROM entry WHERE occurrence > 0 AND occurrence = 2 AND alarm = 'a' ORDER BY id": "SEARCH entry USING INDEX entry_of_occurrence (occurrence=?)",
		"SELECT * FROM entry WHERE alarm = 'a' ORDER BY id":                                       "SCAN entry",
	} {
		var id, parent, unused int
		var plan string
		if err := l.file.Read.QueryRowContext(t.Context(), "EXPLAIN QUERY PLAN "+query).Scan(&id, &parent, &unused, &plan); err != nil || plan != want {
			t.Errorf("%s: %q, %v, want %q", query, plan, err, want)
		}
	}
}

// Aim: the committed code is what sqlc writes from query.sql and the migrations. It needs the sqlc module in the module cache and never fetches it.
func TestQuery_isCurrent(t *testing.T) {
	if testing.Short() {
		t.Skip("sqlc takes seconds to start")
	}
	cache, err := exec.CommandContext(t.Context(), "go", "env", "GOMODCACHE").Output()
	if err != nil {
		t.Fatal(err)
	}
	source := filepath.Join(strings.TrimSpace(string(cache)), "github.com/sqlc-dev/sqlc@v1.31.1")
	if _, err := os.Stat(source); err != nil {
		t.Skip("sqlc v1.31.1 is not in the module cache: go generate ./gateway/logbook fetches it")
	}
	config, err := filepath.Abs("query/sqlc.yaml")
	if err != nil {
		t.Fatal(err)
	}
	run := func(args ...string) ([]byte, error) {
		c := exec.CommandContext(t.Context(), "go", append([]string{"run", "./cmd/sqlc"}, args...)...)
		c.Dir, c.Env = source, append(os.Environ(), "GOPROXY=off", "GOFLAGS=")
		return c.CombinedOutput()
	}
	if out, err := run("version"); err != nil {
		t.Skipf("sqlc v1.31.1 is not whole in the module cache: %s", bytes.TrimSpace(out))
	}
	if out, err := run("diff", "-f", config); err != nil {
		t.Errorf("run go generate ./gateway/logbook: %v\n%s", err, out)
	}
}
