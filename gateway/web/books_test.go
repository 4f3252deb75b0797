package web

import (
	"context"
	"net/http"
	"strings"
	"testing"
	"time"
)

// hoursAgo is when the invented estate stands still, hours ago.
func hoursAgo(hours float64) int64 {
	return fakeStamp(time.Duration(hours * float64(time.Hour))).Wall.UnixMilli()
}

func (f *fake) Way(_ context.Context, from, to time.Time) (Way, error) {
	return Way{From: from.UnixMilli(), To: to.UnixMilli(),
		Stays: []Stay{
			{Station: "tank-2", Lot: "139", From: hoursAgo(97), To: hoursAgo(72), Loaded: 640, Who: "Ana", EmptiedBy: "Ben", Note: "late"},
			{Station: "deck-a", Lot: "139", From: hoursAgo(70), Loaded: 640, Who: "Ana"},
			{Station: "tank-2", Lot: "143", From: hoursAgo(10), Loaded: 388, Who: "Ana"},
		},
		Marks: []Mark{{Alarm: "too-wet@bin-3", Title: "too wet", Station: "bin-3", Priority: "medium", At: hoursAgo(5)},
			{Alarm: "over-fermented@tank-1", Title: "over-fermented", Station: "tank-1", Priority: "high", At: hoursAgo(0.1)}},
		Acts: []Line{{ID: 7, At: hoursAgo(4), Set: true, Kind: "transition", Alarm: "too-wet@bin-3", Occurrence: 2, Place: "bin-3", Who: "Ben", Text: "acknowledged"}},
	}, f.bookFault
}

// Aim: without books the page says so, and nothing breaks.
func TestBooks_none(t *testing.T) {
	f := newFake()
	w, err := New(Config{Model: f, Acts: f, Health: f})
	must(t, err)
	got := ask(t, w, request("GET", "/api/way", ""))
	if got.Code != http.StatusNotFound || !strings.Contains(got.Body.String(), "no books") {
		t.Errorf("without books: %d %s", got.Code, got.Body)
	}
}
