//go:build unix

package database

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"

	"golang.org/x/sys/unix"
)

func take(f *os.File) error { return unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) }

// HandOver gives what root wrote into a folder to the folder's owner: a gateway that does not run as root could not open it. Others change nothing.
func HandOver(dir string) error {
	if os.Geteuid() != 0 {
		return nil
	}
	folder, err := os.Stat(dir)
	if err != nil {
		return err
	}
	owner, ok := folder.Sys().(*syscall.Stat_t)
	if !ok || owner.Uid == 0 {
		return nil
	}
	entries, err := os.ReadDir(dir)
	for _, e := range entries {
		info, statErr := e.Info()
		if statErr != nil {
			err = errors.Join(err, statErr)
			continue
		}
		if of, ok := info.Sys().(*syscall.Stat_t); ok && of.Uid == 0 {
			err = errors.Join(err, os.Lchown(filepath.Join(dir, e.Name()), int(owner.Uid), int(owner.Gid)))
		}
	}
	return err
}
