package check

import (
	"runtime"
	"slices"
	"sync"

	"millwarden/internal/slab"
	"millwarden/rules/formula"
	"millwarden/rules/syntax"
)

// leastShare of alarms is worth a goroutine. Chosen: a small site is checked in one.
const leastShare = 64

// instantiateAll makes all alarms at all their places. Where there are many and processors for them, shares are made side by side; what is
// said comes in the order of the alarms all the same.
func (c *checker) instantiateAll(alarms []*alarm) {
	n := max(1, min(runtime.GOMAXPROCS(0), len(alarms)/leastShare))
	parts := make([]*checker, n)
	var making sync.WaitGroup
	for i := range parts {
		share := alarms[len(alarms)*i/n : len(alarms)*(i+1)/n]
		parts[i] = c.aside()
		if i+1 < n {
			making.Go(func() { parts[i].instantiateEach(share) })
			continue
		}
		parts[i].instantiateEach(share)
	}
	making.Wait()
	for _, part := range parts {
		c.list = append(c.list, part.list...)
	}
}

func (c *checker) instantiateEach(alarms []*alarm) {
	t := &typer{}
	for _, a := range alarms {
		for _, p := range a.places {
			c.instantiate(a, p, t)
		}
		c.noteLacking(a)
	}
}

// alongside begins a step of the check beside those that follow, which may not need what it finds. What is returned waits for it and puts
// what it said before what they said.
func (c *checker) alongside(step func(*checker)) (wait func()) {
	part, at := c.aside(), len(c.list)
	var running sync.WaitGroup
	running.Go(func() { step(part) })
	return func() {
		running.Wait()
		c.list = slices.Insert(c.list, at, part.list...)
	}
}

// aside is a checker of the same floor with room of its own for what it makes and says. The floor stays as it is meanwhile, but for the
// marks of what is used, which several may set at once.
func (c *checker) aside() *checker {
	part := *c
	part.list, part.said = nil, map[string]bool{}
	part.ends, part.texts, part.printed = map[*syntax.Key]ends{}, map[string]string{}, nil
	part.constants, part.standing = map[constant]*formula.Node{}, map[*point]*formula.Node{}
	part.nodes, part.args = slab.Of[formula.Node]{}, slab.Of[*formula.Node]{}
	return &part
}
