package units

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
)

// ParseNumber gives the same float as strconv, to the bit, for whatever it takes.
func TestParseNumber_asStrconv(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200_000 {
		var b strings.Builder
		if rng.IntN(3) == 0 {
			b.WriteByte('-')
		}
		for range rng.IntN(12) {
			b.WriteByte(byte('0' + rng.IntN(10)))
		}
		if rng.IntN(2) == 0 {
			b.WriteByte('.')
		}
		for range rng.IntN(12) {
			b.WriteByte(byte('0' + rng.IntN(10)))
		}
		text := b.String()
		got, err := ParseNumber(text)
		digits := strings.TrimPrefix(text, "-")
		if wrong := digits == "" || digits[0] == '.' || strings.HasSuffix(digits, "."); wrong != (err != nil) {
			t.Fatalf("ParseNumber(%q) = %v, %v", text, got, err)
		}
		if want, _ := strconv.ParseFloat(text, 64); err == nil && math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("ParseNumber(%q) = %v, want %v", text, got, want)
		}
	}
}
