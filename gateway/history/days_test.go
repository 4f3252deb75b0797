package history

import (
	"errors"
	"testing"
	"time"

	"millwarden/internal/reading"
)

// rolledEstate is a history of the mixed estate, rolled up to hours, or to days too.
func rolledEstate(t testing.TB, seconds int, now time.Time) *History {
	t.Helper()
	h, err := Open(memoryFolder(t), Options{}) // not openTest: it will be damaged
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { h.Close() })
	fillMixed(t, h, seconds)
	rollAll(t, h, now, true)
	return h
}

// Aim: whichever piece is lost from the table, as by a damaged key, it is told: by who asks for its time, by Verify, by the look after a start; and not
// by who asks for other times. The control is the same history before.
func TestChunk_lostIsTold(t *testing.T) {
	for name, now := range map[string]time.Time{"hours": night.Add(9 * time.Hour), "days": night.Add(48 * time.Hour)} {
		t.Run(name, func(t *testing.T) {
			h := rolledEstate(t, 3*3600, now)
			if v, err := h.Verify(t.Context()); err != nil || v.Damaged != 0 || v.Readings != h.Last() {
				t.Fatalf("Verify() = %+v, %v before the loss", v, err)
			}
			chunks := allChunks(t, h)
			if len(chunks) < 4 {
				t.Fatalf("%d chunks: the test shows nothing", len(chunks))
			}
			for i := range chunks {
				wantLost(t, h, &chunks[i])
			}
		})
	}
}

// wantLost removes a chunk, looks whether it is missed, and puts it back.
func wantLost(t testing.TB, h *History, c *chunk) {
	t.Helper()
	if _, err := pool(t, h).ExecContext(t.Context(), "DELETE FROM chunk WHERE key = ?", c.key); err != nil {
		t.Fatal(err)
	}
	clear(h.spoiled)
	h.counts.Damaged, h.roller.checked = 0, 0
	rollAll(t, h, night, true) // nothing is left to do, so that it looks
	for range h.names.points {
		if _, err := h.RollUp(t.Context(), night, true); err != nil {
			t.Fatal(err)
		}
	}
	if h.Counts().Damaged != 1 {
		t.Errorf("after a start Counts().Damaged = %d, want 1", h.Counts().Damaged)
	}
	point := h.names.points[pointOf(c.key)].point
	var d *Damage
	_, err := h.Range(t.Context(), point, hourTime(c.firstHour()), hourTime(c.endHour()), 0)
	if !errors.As(err, &d) || d.Point != point || !d.From.Equal(hourTime(c.firstHour())) || !d.To.Equal(hourTime(c.endHour())) {
		t.Errorf("Range(%s) = %v, want what is lost from %s to %s", point, err, hourTime(c.firstHour()), hourTime(c.endHour()))
	}
	for _, far := range [][2]int64{{c.firstHour() - 24, c.firstHour()}, {c.endHour(), c.endHour() + 24}} {
		if _, err := h.Range(t.Context(), point, hourTime(far[0]), hourTime(far[1]), 0); err != nil {
			t.Errorf("Range() of hours in which nothing is lost: %v", err)
		}
	}
	if v, err := h.Verify(t.Context()); err != nil || v.Damaged != 1 || v.Readings != h.Last()-uint64(c.count) {
		t.Errorf("Verify() = %+v, %v, want 1 damaged and %d readings", v, err, h.Last()-uint64(c.count))
	}
	if _, err := pool(t, h).ExecContext(t.Context(), "INSERT INTO chunk (key, hours, count, data) VALUES (?, ?, ?, ?)", c.key, c.hours, c.count, c.data); err != nil {
		t.Fatal(err)
	}
}

// What comes late does not take the place of a lost piece, which would hide it: it stays in its row, and both are read as they are.
func TestChunk_lateDoesNotHideTheLost(t *testing.T) {
	h := rolledEstate(t, 3*3600, night.Add(9*time.Hour))
	lost := allChunks(t, h)[0]
	point := h.names.points[pointOf(lost.key)].point
	if _, err := pool(t, h).ExecContext(t.Context(), "DELETE FROM chunk WHERE key = ?", lost.key); err != nil {
		t.Fatal(err)
	}
	at := reading.Stamp{Wall: hourTime(lost.firstHour()).Add(59*time.Minute + 500*time.Millisecond), Mono: time.Hour, Boot: 3, Set: true}
	late := temperature(point, 21, at)
	mustAppend(t, h, late)
	for s := range 3 * rowsPerStretch { // close its stretch
		mustAppend(t, h, temperature("deck/air", 24, after(4*time.Hour+time.Duration(s)*time.Second)))
	}
	rollAll(t, h, night.Add(9*time.Hour), true)
	got, err := h.Range(t.Context(), point, hourTime(lost.firstHour()), hourTime(lost.endHour()), 0)
	var d *Damage
	if !errors.As(err, &d) || len(got) != 1 || !alike(got[0].Reading, late) {
		t.Errorf("Range() = %d readings, %v, want the late one and what is lost", len(got), err)
	}
}
