package callout

import (
	"slices"
	"testing"

	"millwarden/internal/phrase"
)

// A rules file may name all the channels of the language; what has no code here is declared all the same.
func TestNotYet(t *testing.T) {
	declared, err := phrase.Parse(NotYet)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, d := range declared {
		names = append(names, d.Name)
	}
	if want := []string{"push"}; !slices.Equal(names, want) {
		t.Errorf("declared %v, want %v", names, want)
	}
}
