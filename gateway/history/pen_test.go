package history

import (
	"database/sql"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
)

// Aim: a view kept open over commits does not let SQLite's log grow: it is brought into the file, and begun anew, as ever. Control: with the view never given up it grows past the bound.
func TestPen_logKeepsItsSize(t *testing.T) {
	size := func(giveUp bool) int64 {
		dir := memoryFolder(t)
		h, err := Open(dir, Options{})
		if err != nil {
			t.Fatal(err)
		}
		defer h.Close()
		r := rand.New(rand.NewPCG(71, 72))
		for s := range 1500 {
			if !giveUp {
				h.pen.left = viewCommits
			}
			mustAppend(t, h, second(r, 64, s)...)
		}
		info, err := os.Stat(filepath.Join(dir, fileName+"-wal"))
		if err != nil {
			t.Fatal(err)
		}
		return info.Size()
	}
	const bound = 1<<20 + 1<<18 // a megabyte, and what viewCommits may add to it
	if kept, control := size(true), size(false); kept > bound || control <= bound {
		t.Errorf("log of %d bytes, want at most %d; control %d, want more", kept, bound, control)
	}
}

// Aim: where another connection has written since the view was taken, the append finds a new one, and nothing is lost: a person may have the file open in another program.
func TestPen_anotherWrites(t *testing.T) {
	dir := memoryFolder(t)
	h, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	r := rand.New(rand.NewPCG(73, 74))
	for s := range 3 {
		mustAppend(t, h, second(r, 8, s)...)
	}
	if h.pen.view == nil {
		t.Fatal("no view is open: this test would show nothing")
	}
	other := openOther(t, dir)
	if _, err := other.ExecContext(t.Context(), "CREATE TABLE another (n INTEGER)"); err != nil {
		t.Fatal(err)
	}
	if _, err := h.pen.insert.ExecContext(t.Context(), 1<<40, []byte{}); err == nil {
		t.Fatal("the old view could still be written on: this test would show nothing")
	}
	if last := mustAppend(t, h, second(r, 8, 3)...); last != 32 {
		t.Errorf("the append ends at %d, want 32", last)
	}
	if got := readAll(t, h); len(got) != 32 {
		t.Errorf("%d readings, want 32", len(got))
	}
}

func openOther(t *testing.T, dir string) *sql.DB {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(dir, fileName))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}
