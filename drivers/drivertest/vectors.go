package drivertest

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// Vector is one row of a part's table: what the part sends, and what it means.
type Vector struct {
	Raw     uint64
	Channel string
	Value   float64
	Within  float64
	Source  string
}

// Vectors reads testdata/vectors/<part>.txt, for a test of drivers/<part>. A row is
//
//	RAW CHANNEL VALUE WITHIN SOURCE…
//
// with RAW in hexadecimal and VALUE in the base unit; # begins a comment.
func Vectors(t *testing.T, part string) []Vector {
	t.Helper()
	content, err := os.ReadFile(filepath.Join("..", "..", "testdata", "vectors", part+".txt"))
	if err != nil {
		t.Fatal(err)
	}
	var list []Vector
	for n, line := range strings.Split(string(content), "\n") {
		line, _, _ = strings.Cut(line, "#")
		words := strings.Fields(line)
		if len(words) == 0 {
			continue
		}
		if len(words) < 5 {
			t.Fatalf("%s.txt:%d: want RAW CHANNEL VALUE WITHIN SOURCE", part, n+1)
		}
		v := Vector{Channel: words[1], Source: strings.Join(words[4:], " ")}
		var err1, err2, err3 error
		v.Raw, err1 = strconv.ParseUint(words[0], 16, 64)
		v.Value, err2 = strconv.ParseFloat(words[2], 64)
		v.Within, err3 = strconv.ParseFloat(words[3], 64)
		if err1 != nil || err2 != nil || err3 != nil {
			t.Fatalf("%s.txt:%d: %v %v %v", part, n+1, err1, err2, err3)
		}
		list = append(list, v)
	}
	if len(list) == 0 {
		t.Fatalf("%s.txt holds no row", part)
	}
	return list
}
