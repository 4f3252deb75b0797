package lots

import "testing"

// Aim: every correction is an entry of its own that is shown: three of one entry, each pointing to it and saying what held before, the last striking it; one of another lot is not among them.
func TestShow_corrections(t *testing.T) {
	f := newFarm(t)
	f.enter(`{"act":"intake","lot":"150","kg":300,"cherry":"own"}`, `{"act":"intake","lot":"151","kg":100,"cherry":"own"}`, `{"act":"weigh","lot":"150","kg":299}`,
		`{"act":"correct","entry":3,"instead":{"act":"weigh","lot":"150","kg":298},"note":"read again"}`,
		`{"act":"correct","entry":3,"instead":{"act":"weigh","lot":"150","kg":297}}`,
		`{"act":"correct","entry":2,"instead":{"act":"intake","lot":"151","kg":101,"cherry":"own"}}`,
		`{"act":"correct","entry":3,"note":"it was another lot"}`)
	shown, _ := f.book.Show("150")
	want := []ShownRight{
		{Entry: 4, Of: 3, Text: "entry 3 corrected: 150 weighed, 298 kg", Was: "150 weighed, 299 kg", Why: "read again"},
		{Entry: 5, Of: 3, Text: "entry 3 corrected: 150 weighed, 297 kg", Was: "150 weighed, 298 kg"},
		{Entry: 7, Of: 3, Text: "entry 3 struck: it never was", Was: "150 weighed, 297 kg", Why: "it was another lot"},
	}
	if len(shown.Righted) != len(want) {
		t.Fatalf("%+v, want %d corrections", shown.Righted, len(want))
	}
	for i, got := range shown.Righted {
		if got.At == 0 || got.Who != "ana" {
			t.Errorf("correction %+v says neither when nor by whom", got)
		}
		got.At, got.Who = 0, ""
		if got != want[i] {
			t.Errorf("correction %d: %+v, want %+v", i, got, want[i])
		}
	}
	if other, _ := f.book.Show("151"); len(other.Righted) != 1 || other.Righted[0].Of != 2 {
		t.Errorf("of the other lot: %+v", other.Righted)
	}
}
