// Package housekeeping holds tests about the repository itself: who imports whom, package docs, the examples in the documents, the rules files
// that are shipped.
package housekeeping
