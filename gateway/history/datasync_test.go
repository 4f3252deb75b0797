//go:build linux

package history

import (
	"os"

	"golang.org/x/sys/unix"
)

func datasync(f *os.File) error { return unix.Fdatasync(int(f.Fd())) }
