package logbook

import (
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/gateway/logbook/lots"
	"millwarden/internal/database"
)

func enter(t testing.TB, l *Logbook, book *lots.Book, hours int, step lots.Step) lots.Entry {
	t.Helper()
	e, _, err := l.Enter(book, lots.Entry{At: at(time.Duration(hours) * time.Hour), Who: "ana", Step: step})
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// What is entered stands in the record under its lot and place, and the book read from the file is the one that was kept; a refused step leaves no entry.
func TestEnter_foldsFromTheRecord(t *testing.T) {
	dir := t.TempDir()
	l := openTest(t, dir)
	book := lots.New(nil)
	enter(t, l, book, 0, lots.Step{Do: lots.Intake, Lot: "143", Kg: 640, Cherry: "own", Note: "west side"})
	enter(t, l, book, 1, lots.Step{Do: lots.Load, Lot: "143", Station: "tank-1", Kind: "tank"})
	enter(t, l, book, 18, lots.Step{Do: lots.Empty, Station: "tank-1", Kg: 260})
	if _, _, err := l.Enter(book, lots.Entry{At: at(19 * time.Hour), Step: lots.Step{Do: lots.Weigh, Lot: "143", Kg: 700}}); err == nil {
		t.Error("a weight that grew was entered")
	}
	// Another process writes, and this one's book follows before it judges.
	other, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	enter(t, other, lots.New(nil), 20, lots.Step{Do: lots.Load, Lot: "143", Station: "deck-a", Kind: "deck"})
	if err := other.Close(); err != nil {
		t.Fatal(err)
	}
	var refused *lots.Refusal
	if _, _, err := l.Enter(book, lots.Entry{At: at(21 * time.Hour), Step: lots.Step{Do: lots.Load, Lot: "144", Station: "deck-a"}}); !errors.As(err, &refused) {
		t.Errorf("two lots on one deck: %v", err)
	}
	enter(t, l, book, 22, lots.Step{Do: lots.Correct, Entry: 3, Note: "misread", Instead: &lots.Step{Do: lots.Empty, Station: "tank-1", Lot: "143", Kg: 262}})
	read, err := l.Lots(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	kept, _ := book.Show("143")
	if again, _ := read.Show("143"); !reflect.DeepEqual(kept, again) || kept.Kg != 262 || kept.Steps[0].Note != "west side" {
		t.Errorf("the book kept:\n%+v\nread again:\n%+v", kept, again)
	}
	es, err := l.Entries(t.Context(), Filter{Kinds: []Kind{Lot}, Lot: "143"})
	if err != nil || len(es) != 5 || es[2].Text != "tank-1 emptied: 143, 260 kg" || es[4].Text != "entry 3 corrected: tank-1 emptied: 143, 262 kg" || es[4].Why != "misread" {
		t.Errorf("entries %+v, %v", es, err)
	}
}

// A file of the first form, with its table of stays, opens: its lots come from its entries, as they did then.
func TestOpen_migratesStays(t *testing.T) {
	dir := t.TempDir()
	first, err := fs.ReadFile(migrations, "migrations/0001-record.sql")
	if err != nil {
		t.Fatal(err)
	}
	file, err := database.Open(t.Context(), filepath.Join(dir, fileName), fstest.MapFS{"0001-record.sql": {Data: first}}, database.Options{Readers: 1, Wait: busyWait})
	if err != nil {
		t.Fatal(err)
	}
	old := &Logbook{file: file}
	if _, err := old.Write(
		Entry{At: at(0), Kind: Lot, Place: "tank-1", Lot: "cosecha-7", Who: "ana", Why: "ripe", Text: "tank-1 loaded: cosecha-7, 820.5 kg", Data: []byte(`{"act":"loaded","stay":1,"kg":820.5}`)},
		Entry{At: at(20 * time.Hour), Kind: Lot, Place: "tank-1", Lot: "cosecha-7", Who: "ben", Why: "gritty", Text: "tank-1 emptied: cosecha-7, 410 kg", Data: []byte(`{"act":"emptied","kg":410,"stay":1}`)},
		Entry{At: at(21 * time.Hour), Kind: Lot, Place: "tank-2", Lot: "8", Who: "ben", Data: []byte(`{"act":"loaded","stay":2,"kg":0}`)}); err != nil {
		t.Fatal(err)
	}
	if err := file.Close(); err != nil {
		t.Fatal(err)
	}
	l := openTest(t, dir)
	stays, err := l.Stays(t.Context(), "", "")
	want := Stay{ID: 1, Station: "tank-1", Lot: "cosecha-7", From: at(0), To: at(20 * time.Hour), Ended: true, Loaded: 820.5, Unloaded: 410, Who: "ana", EmptiedBy: "ben", Note: "ripe\ngritty"}
	if err != nil || len(stays) != 2 || stays[0] != want || stays[1].Ended || stays[1].Station != "tank-2" {
		t.Errorf("stays %+v, %v", stays, err)
	}
	if _, err := l.Verify(t.Context()); err != nil {
		t.Errorf("Verify() of a migrated record = %v", err)
	}
}

// Every entry that is changed, taken out or swapped with the next shows in Verify at its place or the one after; a record whose entries carry each its own checksum, without the
// seal before, would miss every entry that was taken out and every swap of numbers and checksums: the control.
func TestVerify_everyEntry(t *testing.T) {
	const entries = 12
	found, missed := 0, 0
	for _, change := range []struct {
		name string
		sql  []string
		seen bool // by a checksum of the entry alone
	}{
		{"changed", []string{"UPDATE entry SET text = text || '.' WHERE id = ?1"}, true},
		{"taken out, those after it moved up", []string{"DELETE FROM entry WHERE id = ?1", "UPDATE entry SET id = -(id - 1) WHERE id > ?1", "UPDATE entry SET id = -id WHERE id < 0", "UPDATE sqlite_sequence SET seq = seq - 1 WHERE name = 'entry'"}, false},
		{"swapped with the next", []string{"UPDATE entry SET id = -1 WHERE id = ?1", "UPDATE entry SET id = ?1 WHERE id = ?1 + 1", "UPDATE entry SET id = ?1 + 1 WHERE id = -1"}, false},
	} {
		for id := int64(1); id < entries; id++ {
			l := openTest(t, t.TempDir())
			if _, err := l.Write(some(entries)...); err != nil {
				t.Fatal(err)
			}
			sums := alone(t, l)
			silently(t, l, change.sql, id)
			var b *Broken
			if _, err := l.Verify(t.Context()); !errors.As(err, &b) || b.ID < id || b.ID > id+1 {
				t.Errorf("entry %d %s: Verify() = %v", id, change.name, err)
			} else {
				found++
			}
			if seen := !aloneFits(t, l, sums); seen != change.seen {
				t.Errorf("entry %d %s: seen by checksums alone: %v, want %v", id, change.name, seen, change.seen)
			} else if !seen {
				missed++
			}
			if err := l.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
	t.Logf("%d silent changes, %d found by the chain, %d missed by checksums of single entries", 3*(entries-1), found, missed)
}

// alone is the checksum of each entry's text, without number and without chain.
func alone(t testing.TB, l *Logbook) map[[32]byte]bool {
	t.Helper()
	sums := map[[32]byte]bool{}
	es, err := l.Entries(t.Context(), Filter{})
	if err != nil {
		t.Fatal(err)
	}
	for i := range es {
		row := rowOf(&es[i])
		row.ID = 0
		sums[seal([32]byte{}, &row)] = true
	}
	return sums
}

func aloneFits(t testing.TB, l *Logbook, sums map[[32]byte]bool) bool {
	t.Helper()
	for sum := range alone(t, l) {
		if !sums[sum] {
			return false
		}
	}
	return true
}

// silently goes around what keeps the record append-only.
func silently(t testing.TB, l *Logbook, statements []string, id int64) {
	t.Helper()
	tx, err := l.file.Write.BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range append([]string{"DROP TRIGGER entry_is_not_changed", "DROP TRIGGER entry_is_not_removed"}, statements...) {
		if err := run(t.Context(), tx, s, id); err != nil {
			t.Fatalf("%s: %v", s, err)
		}
	}
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
}

func run(ctx context.Context, tx *sql.Tx, statement string, id int64) error {
	args := []any{id}
	if !strings.Contains(statement, "?1") {
		args = nil
	}
	_, err := tx.ExecContext(ctx, statement, args...)
	return err
}
