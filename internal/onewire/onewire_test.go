package onewire_test

import (
	"encoding/hex"
	"testing"

	"millwarden/internal/onewire"
)

// Against what others print: the scratchpad in the kernel's documentation of w1_therm (Documentation/w1/slaves/w1_therm.rst), and the number worked
// through in Maxim's application note 27 (from memory: A2 00 00 00 01 B8 1C 02, checksum first; recomputed in the measurement tables).
func TestChecksum_published(t *testing.T) {
	for _, whole := range []string{"91014b467fff0f1025", "021cb801000000a2"} {
		data, err := hex.DecodeString(whole)
		if err != nil {
			t.Fatal(err)
		}
		last := len(data) - 1
		if got := onewire.Checksum(data[:last]); got != data[last] {
			t.Errorf("Checksum(% x) = %02x, want %02x", data[:last], got, data[last])
		}
		if got := onewire.Checksum(data); got != 0 {
			t.Errorf("Checksum with its own byte, of % x, = %02x, want 00", data, got)
		}
	}
}
