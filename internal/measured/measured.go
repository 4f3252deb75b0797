// Package measured opens tables for tests: those that real probes and plants gave, which are not part of the project, so that a test says where the folder is absent and is skipped; and those of
// a folder testdata, each with its source in its head. Tests alone may import it.
package measured

import (
	"compress/gzip"
	"encoding/csv"
	"encoding/hex"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// Path is where a file of the folder lies, seen from any package of the module.
func Path(t testing.TB, name string) string {
	t.Helper()
	folder, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(folder, "go.mod")); err == nil {
			break
		}
		above := filepath.Dir(folder)
		if above == folder {
			t.Fatal("no go.mod above the test")
		}
		folder = above
	}
	path := filepath.Join(filepath.Dir(folder), "shared", "data", filepath.FromSlash(name))
	if _, err := os.Stat(path); err != nil {
		t.Skipf("no measured data here: %v", err)
	}
	return path
}

// Table is a compressed table without its header.
func Table(t testing.TB, name string) [][]string {
	t.Helper()
	f, err := os.Open(Path(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(z).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

// Rows is a table of a folder testdata without the names of its columns; at least so many rows, so that half a table is no whole one. Lines that begin with # are its head.
func Rows(t testing.TB, name string, least int) [][]string {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) <= least {
		t.Fatalf("%s: %d lines, %v; want the names of the columns and %d rows", name, len(rows), err, least)
	}
	return rows[1:]
}

// Number is a cell as a number.
func Number(t testing.TB, cell string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Bytes is a cell of bytes in hexadecimal, as "01 F4".
func Bytes(t testing.TB, cell string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(cell, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}
