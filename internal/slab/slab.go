// Package slab hands out values of one type from arrays of many. A tree of thousands of small parts then costs a few allocations, and the
// collector has little to find. What a slab gave is kept as long as any of it is: right where the parts live and die together.
//
// Concurrency: a slab belongs to one goroutine.
package slab

import "reflect"

// Of is a slab of values of one type; its zero value is ready.
type Of[T any] struct {
	array []T
	given int // of the array
	bytes int // of the next array
}

// Sizes of the arrays in bytes: each is twice the one before. Chosen: a small file wastes a few kilobytes, a large one a few tens; the most
// is a size that the allocator has, less the word that it puts before.
const (
	least = 1 << 10
	most  = 16<<10 - 8
)

// Next is a zero value that nobody has yet.
func (s *Of[T]) Next() *T {
	if s.given == len(s.array) {
		s.grow(1)
	}
	next := &s.array[s.given]
	s.given++
	return next
}

// Take gives n of them side by side. Appending to them makes a copy elsewhere.
func (s *Of[T]) Take(n int) []T {
	if len(s.array)-s.given < n {
		s.grow(n)
	}
	from := s.given
	s.given += n
	return s.array[from:s.given:s.given]
}

func (s *Of[T]) grow(n int) {
	s.bytes = min(max(2*s.bytes, least), most)
	s.array, s.given = make([]T, max(n, s.bytes/int(reflect.TypeFor[T]().Size()))), 0
}
