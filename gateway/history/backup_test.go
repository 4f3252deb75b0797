package history

import (
	"math/rand/v2"
	"testing"
	"time"
)

// Aim: a copy of a history that is rolled up, or half so, is verified whole: every reading is counted, and a flipped bit in any chunk is found. The
// control is the same copy before the flip.
func TestVerify_rolledUp(t *testing.T) {
	from, to := memoryFolder(t), memoryFolder(t)
	h, err := Open(from, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	fillMixed(t, h, 3*rowsPerStretch)
	for range 2 {
		if _, err := h.RollUp(t.Context(), night.Add(8*time.Hour), true); err != nil {
			t.Fatal(err)
		}
	}
	if err := CopyTo(t.Context(), from, to); err != nil {
		t.Fatal(err)
	}
	copied, err := Open(to, Options{}) // not openTest: it will be damaged
	if err != nil {
		t.Fatal(err)
	}
	defer copied.Close()
	whole, err := copied.Verify(t.Context())
	if err != nil || whole.Damaged != 0 || whole.Readings != h.Last() || !whole.Newest.Equal(h.Latest()[0].Stamp.Wall) {
		t.Fatalf("Verify() = %+v, %v, want all %d readings", whole, err, h.Last())
	}
	chunks := allChunks(t, copied)
	if len(chunks) < 3 {
		t.Fatalf("%d chunks: the test shows nothing", len(chunks))
	}
	r := rand.New(rand.NewPCG(91, 92))
	for i := range chunks {
		c := &chunks[i]
		c.data[r.IntN(len(c.data))] ^= 1 << r.IntN(8)
		if _, err := pool(t, copied).ExecContext(t.Context(), "UPDATE chunk SET data = ? WHERE key = ?", c.data, c.key); err != nil {
			t.Fatal(err)
		}
		whole.Readings -= uint64(c.count)
		whole.Damaged += uint64(c.count)
		if got, err := copied.Verify(t.Context()); err != nil || got.Readings != whole.Readings || got.Damaged != whole.Damaged {
			t.Errorf("chunk %d: Verify() = %+v, %v, want %d readings and %d damaged", i, got, err, whole.Readings, whole.Damaged)
		}
	}
}

func allChunks(t testing.TB, h *History) (all []chunk) {
	t.Helper()
	rows, err := h.file.Read.QueryContext(t.Context(), "SELECT key, hours, count, data FROM chunk ORDER BY key")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var c chunk
		if err := rows.Scan(&c.key, &c.hours, &c.count, &c.data); err != nil {
			t.Fatal(err)
		}
		all = append(all, c)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return all
}
