package web

import (
	"reflect"
	"testing"
	"time"
)

// Aim: the offsets are those of the time zone database. New York, changes of 2025 and 2026: second Sunday of March and first of November at 2:00 of
// the local clock [IANA tz, northamerica, rule US from 2007]; Lima has had no change since 1994 [IANA tz, southamerica].
func TestOffsets(t *testing.T) {
	at := func(text string) int64 {
		v, err := time.Parse(time.RFC3339, text)
		must(t, err)
		return v.UnixMilli()
	}
	around := time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC)
	got := offsetsOf("America/New_York", around)
	want := []offset{{at("2025-03-09T07:00:00Z"), at("2025-11-02T06:00:00Z"), -240}, {at("2025-11-02T06:00:00Z"), at("2026-03-08T07:00:00Z"), -300},
		{at("2026-03-08T07:00:00Z"), at("2026-11-01T06:00:00Z"), -240}}
	if len(got) < 3 || !reflect.DeepEqual(got[:3], want) {
		t.Errorf("offsets of New York %v, want them to begin with %v", got, want)
	}
	if last := got[len(got)-1]; last.To < around.AddDate(2, 0, 0).UnixMilli() {
		t.Errorf("the offsets end with %v, less than two years ahead", last)
	}
	if got := offsetsOf("America/Lima", around); len(got) != 1 || got[0].Minutes != -300 {
		t.Errorf("offsets of Lima %v, want five hours behind, without end", got)
	}
	if got := offsetsOf("no/where", around); got != nil {
		t.Errorf("offsets of a zone that is not known: %v", got)
	}
}
