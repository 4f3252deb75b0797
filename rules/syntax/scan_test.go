package syntax

import (
	"strings"
	"testing"
)

// TestIsPlain_everyByte: each byte in each place of a short and of a long line, against the plain words of the rule; 0x7f is the last control character.
func TestIsPlain_everyByte(t *testing.T) {
	for _, length := range []int{1, 7, 8, 9, 16, 21} {
		for at := range length {
			for b := range 256 {
				for _, rest := range []string{" ", "~"} { // the least and the greatest that ASCII prints
					line := strings.Repeat(rest, at) + string([]byte{byte(b)}) + strings.Repeat(rest, length-at-1)
					if want := b >= ' ' && b < 0x7f; isPlain(line) != want {
						t.Fatalf("isPlain(%q) = %v, want %v", line, !want, want)
					}
				}
			}
		}
	}
	if isPlain(strings.Repeat("a", maxLine+1)) {
		t.Error("a line that is too long is plain")
	}
}
