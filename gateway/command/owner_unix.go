//go:build unix

package command

import (
	"fmt"
	"io/fs"
	"os"
	"syscall"
)

// keepOwner gives a file the owner and group of the one that it will replace: a rules file that root changed would else belong to root, and the gateway, which
// is somebody else, could not read it any more.
func keepOwner(f *os.File, was fs.FileInfo) error {
	now, err := f.Stat()
	if err != nil {
		return err
	}
	old, known := was.Sys().(*syscall.Stat_t)
	mine, too := now.Sys().(*syscall.Stat_t)
	if !known || !too || old.Uid == mine.Uid && old.Gid == mine.Gid {
		return nil
	}
	if err := f.Chown(int(old.Uid), int(old.Gid)); err != nil {
		return fmt.Errorf("it belongs to user %d, group %d, which must stay so; do this as that user or as root: %w", old.Uid, old.Gid, err)
	}
	return nil
}
