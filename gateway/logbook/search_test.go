package logbook

import (
	"testing"
	"time"

	"millwarden/internal/reading"
)

// Aim: words are found in every text of a line whatever their case, and pages before a line hold only older ones.
func TestEntries_search(t *testing.T) {
	l, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	at := func(h int) reading.Stamp {
		return reading.Stamp{Wall: time.Date(2026, 6, 10, h, 0, 0, 0, time.UTC), Set: true}
	}
	_, err = l.Write(Entry{At: at(1), Kind: Note, Place: "tank-1", Who: "ana", Text: "Gritty, washed"},
		Entry{At: at(2), Kind: Note, Place: "tank-2", Who: "ben", Text: "slippery", Why: "by hand"},
		Entry{At: at(3), Kind: Transition, Alarm: "over-fermented@tank-1", Place: "tank-1", Text: "pH below"})
	if err != nil {
		t.Fatal(err)
	}
	for words, want := range map[string]int{"": 3, "GRITTY": 1, "by hand": 1, "tank-1": 2, "ben": 1, "over-ferm": 1, "nothing such": 0, "100%": 0} {
		found, err := l.Entries(t.Context(), Filter{Words: words, Newest: true})
		if err != nil || len(found) != want {
			t.Errorf("words %q: %d lines, %v; want %d", words, len(found), err, want)
		}
	}
	older, err := l.Entries(t.Context(), Filter{Before: 3, Newest: true, Limit: 1})
	if err != nil || len(older) != 1 || older[0].ID != 2 {
		t.Errorf("before line 3: %v, %v; want line 2 alone", older, err)
	}
}
