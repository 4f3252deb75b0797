package reading

import (
	"encoding/csv"
	"errors"
	"io"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// sameAsLibrary reads a text with the table and with encoding/csv: the same rows at the same lines, and an error at the same row.
func sameAsLibrary(t *testing.T, text string) {
	t.Helper()
	library := csv.NewReader(strings.NewReader("a,b\n" + text))
	library.FieldsPerRecord = -1
	if _, err := library.Read(); err != nil {
		t.Fatal(err)
	}
	ours, err := openTable(strings.NewReader("a,b\n"+text), []string{"a", "b"})
	if err != nil {
		t.Fatal(err)
	}
	for {
		want, wantErr := library.Read()
		got, gotErr := ours.nextRow()
		if errors.Is(wantErr, io.EOF) || errors.Is(gotErr, io.EOF) {
			if !errors.Is(gotErr, wantErr) {
				t.Fatalf("%q ends with %v, want %v", text, gotErr, wantErr)
			}
			return
		}
		if wantErr != nil || gotErr != nil {
			if wantErr == nil || gotErr == nil {
				t.Fatalf("%q gives error %v, want %v", text, gotErr, wantErr)
			}
			return // encoding/csv does not promise where it goes on
		}
		if line, _ := library.FieldPos(0); !slices.Equal(got, want) || ours.line != line {
			t.Fatalf("%q gives %q in line %d, want %q in line %d", text, got, ours.line, want, line)
		}
	}
}

func TestTable_sameAsEncodingCSV(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	pieces := []string{"a", "bc", ",", ",", "\n", "\r\n", "\r", `"`, `""`, `"x,y"`, "\"p\nq\"", " ", "é"}
	for range 20_000 {
		var b strings.Builder
		for range rng.IntN(12) {
			b.WriteString(pieces[rng.IntN(len(pieces))])
		}
		sameAsLibrary(t, b.String())
	}
	long := strings.Repeat("x", linesBuffer)
	for _, text := range []string{long, long + ",b\nc,d", long + "\n" + long[:100], `"` + long + "\n" + long + `",z` + "\n1,2", long[1:] + "\r\nq,r"} {
		sameAsLibrary(t, text)
	}
}

func FuzzTable(f *testing.F) {
	f.Add("1,2\r\n\"a\n\"\"b\",c\n\nx,\"y")
	f.Fuzz(sameAsLibrary)
}
