package floor

import (
	"os"
	"strings"
	"testing"
)

// Aim: each point that the declarations of rules/check give to the board, to buses, channels, probes and voted points is explained, and nothing else is.
func TestOwnPoint_everyOne(t *testing.T) {
	text, err := os.ReadFile("../../rules/check/kinds.txt")
	if err != nil {
		t.Fatal(err)
	}
	declared, of := map[string]bool{}, ""
	for line := range strings.Lines(string(text)) {
		words := strings.Fields(line)
		switch {
		case len(words) == 2 && (words[0] == "kind" || words[0] == "each"):
			of = words[1]
		case len(words) > 1 && words[0] == "computed" && ownPoints[of] != nil:
			declared[of+"/"+words[1]] = true
			if text, ok := OwnPoint(of, words[1]); !ok || text == "" {
				t.Errorf("%s of a %s is not explained", words[1], of)
			}
		}
	}
	for of, points := range ownPoints {
		for short := range points {
			if !declared[of+"/"+short] {
				t.Errorf("%s of a %s is explained and not declared", short, of)
			}
		}
	}
	if len(declared) < 35 {
		t.Errorf("only %d points were found in the declarations", len(declared))
	}
}
