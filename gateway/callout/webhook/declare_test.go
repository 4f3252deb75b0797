package webhook

import (
	"slices"
	"testing"

	"millwarden/internal/phrase"
)

func TestDeclares(t *testing.T) {
	declared, err := phrase.Parse(Declares)
	if err != nil || len(declared) != 1 || declared[0].Name != "webhook" {
		t.Fatalf("%+v, %v", declared, err)
	}
	var keys []string
	for _, line := range declared[0].Phrases {
		keys = append(keys, line.Key)
	}
	if want := []string{"address", "credential"}; !slices.Equal(keys, want) {
		t.Errorf("lines %v, want %v", keys, want)
	}
}
