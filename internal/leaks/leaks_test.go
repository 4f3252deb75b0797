package leaks

import (
	"io"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
)

// Aim: what looks for secrets finds them, plain and as a header carries them, in a log that many write and in files; else tests of secrets would pass for nothing.
func TestIn_finds(t *testing.T) {
	const secret = "nine herons"
	for text, want := range map[string]bool{"": false, "nine": false, "x nine herons y": true, "Basic bmluZSBoZXJvbnM=": true} {
		if got := In(text, secret, "other"); (got != nil) != want || want && !slices.Equal(got, []string{secret}) {
			t.Errorf("In(%q) = %q", text, got)
		}
	}
	if In("anything", "") == nil {
		t.Error("an empty secret is looked for in vain")
	}
	var log Log
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() { _, _ = io.WriteString(&log, secret) })
	}
	all.Wait()
	if got := log.Take(); len(got) != 8*len(secret) || In(got, secret) == nil || log.String() != "" {
		t.Errorf("the log holds %q, then %q", got, log.String())
	}
	folder := Folder(t)
	for _, name := range []string{"a", "b/c"} {
		file := filepath.Join(folder, name)
		if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, []byte(secret), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if got := Files(t, folder); len(got) != 2 || got["a"] != secret || got[filepath.Join("b", "c")] != secret {
		t.Errorf("Files() = %q", got)
	}
}
