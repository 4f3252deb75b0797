package onewire_test

import (
	"encoding/hex"
	"strings"
	"testing"

	"millwarden/internal/measured"
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

// The measurement tables' examples. A scratchpad of zeros passes, which is why zeros need a check of their own (drivers/ds18b20, check value M30).
func TestChecksum_examples(t *testing.T) {
	seen := 0
	for _, row := range measured.Rows(t, "../../testdata/vectors/checksums.csv", 14) {
		if !strings.HasPrefix(row[0], "1-Wire") {
			continue
		}
		seen++
		if got := onewire.Checksum(measured.Bytes(t, row[1])); got != measured.Bytes(t, row[2])[0] {
			t.Errorf("Checksum(%s) = %02X, want %s", row[1], got, row[2])
		}
	}
	if seen != 3 {
		t.Errorf("%d examples, want 3", seen)
	}
}
