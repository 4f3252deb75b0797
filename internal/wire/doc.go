// Package wire is what board, broker and store say to each other.
package wire
