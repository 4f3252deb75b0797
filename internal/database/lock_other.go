//go:build !unix

package database

import "os"

// Where Millwarden is only developed, not run, nothing is locked.
func take(*os.File) error { return nil }
