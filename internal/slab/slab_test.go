package slab

import "testing"

// Aim: what is given is zero, nobody else's, and stays so when it grows.
func TestTake_apart(t *testing.T) {
	var s Of[int]
	var all [][]int
	for n := range 3 * most {
		got := s.Take(n % 5)
		for i := range got {
			if got[i] != 0 {
				t.Fatalf("Take(%d) gives %v, want zeros", n%5, got)
			}
			got[i] = n
		}
		all = append(all, got)
	}
	for n, got := range all {
		_ = append(got, -1)
		for _, v := range got {
			if v != n {
				t.Errorf("take %d holds %d: two have the same place", n, v)
			}
		}
	}
	if a, b := s.Next(), s.Next(); a == b || *a != 0 || *b != 0 {
		t.Errorf("Next gives %p and %p of %d and %d", a, b, *a, *b)
	}
	if big := s.Take(most + 1); len(big) != most+1 {
		t.Errorf("Take gives %d of %d", len(big), most+1)
	}
}
