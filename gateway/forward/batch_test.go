package forward

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// Aim: a batch has the line of each reading once, each series in one piece and in the order in which its readings came, also where it was used before.
func TestBatch_seriesBySeries(t *testing.T) {
	l, r := newLines(), rand.New(rand.NewPCG(3, 3))
	b := new(batch)
	for number := 1; number <= 3; number++ {
		var order []string // of the series, as they came first
		bySeries := map[string]string{}
		for _, one := range some(500, r) {
			board := []string{"hub", "mill"}[r.IntN(2)]
			line := lineOf(l, board, &one)
			series, _, _ := strings.Cut(line, " ")
			if !slices.Contains(order, series) {
				order = append(order, series)
			}
			bySeries[series] += line
			b.add(l.row(board, &one), number)
		}
		want := ""
		for _, series := range order {
			want += bySeries[series]
		}
		if got := string(b.encode()); got != want {
			t.Fatalf("batch %d:\n%s\nwant\n%s", number, got, want)
		}
		b.empty()
	}
}
