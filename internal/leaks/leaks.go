// Package leaks finds secrets where none may stand, for tests: in what was logged, answered and written to files. Tests alone may import it.
package leaks

import (
	"bytes"
	"encoding/base64"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// Log keeps what is written to it. Concurrency: safe for use by several goroutines.
type Log struct {
	mu   sync.Mutex // guards text
	text bytes.Buffer
}

func (l *Log) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

// String is all that was written, but for what was taken.
func (l *Log) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// Take gives what was written since it was taken last.
func (l *Log) Take() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	defer l.text.Reset()
	return l.text.String()
}

// In gives the secrets that stand in a text, as they are or as a header carries them. An empty one stands everywhere: a test that looks for nothing fails.
func In(text string, secrets ...string) (found []string) {
	for _, s := range secrets {
		if strings.Contains(text, s) || strings.Contains(text, base64.StdEncoding.EncodeToString([]byte(s))) {
			found = append(found, s)
		}
	}
	return found
}

// Files is what every file below a folder holds, by its name there. Files that go while it reads are left out.
func Files(t testing.TB, folder string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if os.IsNotExist(err) {
			return nil
		}
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		name, _ := filepath.Rel(folder, path)
		content, err := os.ReadFile(path)
		if err == nil {
			files[name] = string(content)
		} else if os.IsNotExist(err) {
			err = nil
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
	return files
}

// Folder is one for a gateway, in memory where there is some; it goes with the test. Its name is short: the path of a socket has 107 bytes at most [unix(7)].
func Folder(t testing.TB) string {
	t.Helper()
	folder, err := os.MkdirTemp("/dev/shm", "gate") //nolint:usetesting // that of a test is named for it, and too long
	if err != nil {
		folder, err = os.MkdirTemp("", "gate") //nolint:usetesting // the same
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(folder) })
	return folder
}
