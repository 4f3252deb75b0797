//go:build unix

package database

import (
	"os"

	"golang.org/x/sys/unix"
)

func take(f *os.File) error { return unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) }
