// Package measured opens tables that real probes and plants gave, for tests. They are not part of the project: where the folder is absent, a
// test says so and is skipped. Tests alone may import it.
package measured

import (
	"compress/gzip"
	"encoding/csv"
	"os"
	"path/filepath"
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
