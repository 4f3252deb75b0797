package byhand

import (
	"testing"

	"millwarden/drivers"
	"millwarden/internal/phrase"
)

// Whoever tries to ask a person like a chip must be told, not given a value.
func TestOpen_refuses(t *testing.T) {
	p, err := Driver.Open(t.Context(), drivers.Site{})
	if p != nil || drivers.KindOf(err) != drivers.Settings || drivers.WorthRetry(err) {
		t.Errorf("Open() = %v, %v, want a Fault of kind %s", p, err, drivers.Settings)
	}
	if name := Driver.BusName(phrase.Line{}); name != "by-hand" {
		t.Errorf("BusName() = %q, want by-hand", name)
	}
}
