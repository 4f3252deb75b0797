//go:build unix

package command

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// Aim: a rules file that root changes stays its owner's, with its rights: else the gateway, which runs as somebody else, cannot read it any more.
func TestReplaceFile_keepsOwner(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("only root gives files away")
	}
	const owner, group = 4321, 1234 // nobody's
	path := filepath.Join(t.TempDir(), "site.rules")
	if err := os.WriteFile(path, []byte("before"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chown(path, owner, group); err != nil {
		t.Fatal(err)
	}
	if err := replaceFile(path, []byte("before"), []byte("after")); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if s, ok := info.Sys().(*syscall.Stat_t); !ok || s.Uid != owner || s.Gid != group || info.Mode().Perm() != 0o600 {
		t.Errorf("the file is now of %+v with %v, want of %d and %d, 0600", s, info.Mode(), owner, group)
	}
}
