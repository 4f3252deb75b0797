// Package syntax reads the rules language: scanner, parser, tree and the one layout. It knows how a line is written, not what it means:
// names, quantities, kinds and declared phrases are the checker's. grammar.txt is the grammar that the parser is held to.
//
// All mistakes of a file come in one run: a line that cannot be read is said once, kept in the tree as refused, and reading goes on
// with the next line.
//
// The package is larger than most here because the language has one scanner, one parser, one printer and the words of every message
// about them, and they change together.
//
// Concurrency: Parse and Format share nothing; a long file is read in pieces side by side (pieces.go); a File is not changed after Parse.
package syntax
