package check

import (
	"encoding/hex"
	"strings"
	"testing"

	"millwarden/internal/onewire"
)

// TestWholeID: the number worked through in Maxim's application note 27, printed with its checksum first (from memory).
func TestWholeID(t *testing.T) {
	if id, ok := wholeID("a200000001b81c02", "02"); !ok || id != "02-00000001b81c" {
		t.Errorf("the number with its checksum first is %q, %v", id, ok)
	}
}

// Aim: each single digit of a whole id that is mistyped is found, as a checksum of 8 bits finds every change within 8 bits; and so are two
// neighbours that changed places. What is right stands in the plan as the kernel writes it.
func TestLoad_wireID(t *testing.T) {
	data := []byte{0x28, 0xff, 0x4b, 0x79, 0xa2, 0x16, 0x03}
	whole := hex.EncodeToString(append(data, onewire.Checksum(data)))
	load := func(id string) (place string, said int) {
		plan, list := loadText(t, floor+"probe more\n    part ds18b20 "+id+"\n    gives wall-temperature at bin-1\n")
		if plan == nil {
			return "", len(list)
		}
		for _, p := range plan.Probes {
			if p.Name == "more" {
				place = p.Place[0].Text
			}
		}
		return place, 0
	}
	for _, right := range []string{whole, strings.ToUpper(whole), "28-0316A2794BFF", "28-0316a2794bff"} {
		if place, said := load(right); place != "28-0316a2794bff" && said == 0 {
			t.Errorf("%s: the plan has %q", right, place)
		}
	}
	for i := range whole {
		for _, digit := range "0123456789abcdef" {
			wrong := whole[:i] + string(digit) + whole[i+1:]
			if _, ok := wholeID(wrong, "28"); ok && wrong != whole {
				t.Errorf("%s is taken, right is %s", wrong, whole)
			}
		}
		if i > 0 && whole[i] != whole[i-1] {
			wrong := whole[:i-1] + whole[i:i+1] + whole[i-1:i] + whole[i+1:]
			if _, ok := wholeID(wrong, "28"); ok {
				t.Errorf("%s is taken, right is %s", wrong, whole)
			}
		}
	}
}
