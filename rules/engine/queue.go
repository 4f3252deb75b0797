package engine

// queue is a double-ended queue of sample numbers in a ring as long as the window's: the candidates for its highest or lowest.
type queue struct {
	ring       []uint32
	head, tail uint32
}

func (q *queue) empty() bool   { return q.head == q.tail }
func (q *queue) first() uint32 { return q.ring[q.head&uint32(len(q.ring)-1)] }
func (q *queue) last() uint32  { return q.ring[(q.tail-1)&uint32(len(q.ring)-1)] }
func (q *queue) dropLast()     { q.tail-- }

func (q *queue) push(i uint32) {
	q.ring[q.tail&uint32(len(q.ring)-1)] = i
	q.tail++
}

func (q *queue) dropFirstIf(i uint32) {
	if !q.empty() && q.first() == i {
		q.head++
	}
}

func (q *queue) resize(size int) {
	old := *q
	q.ring = make([]uint32, size)
	for i := old.head; i != old.tail; i++ {
		q.ring[i&uint32(size-1)] = old.ring[i&uint32(len(old.ring)-1)]
	}
}
