//go:build !unix

package database

import "os"

// Where Millwarden is only developed, not run, nothing is locked.
func take(*os.File) error { return nil }

// HandOver has nothing to give where there are no owners as Unix has them.
func HandOver(string) error { return nil }
