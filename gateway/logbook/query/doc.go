// Package query is the logbook's statements as Go functions, written by sqlc from query.sql and the logbook's migrations; a test of the logbook
// holds them to their sources.
//
// Concurrency: as the database handle they are given.
package query
