package rehearse

import (
	"sync"

	"millwarden/internal/reading"
)

// packSize is how many readings are handed over at once. chosen: handing over costs little, and the memory is small.
const packSize = 512

// pack is a stretch of a source, with the error after it, if any.
type pack struct {
	readings []reading.Reading
	err      error
}

// ahead reads a source in a goroutine of its own, so that reading and deciding go side by side where there are two cores. The order stays the same.
type ahead struct {
	packs chan pack
	free  chan []reading.Reading // packs that were used up, to be filled again
	now   pack
	at    int
}

// readAhead begins to read; it ends with the source, with its first error, or when stop is closed.
func readAhead(from Source, stop <-chan struct{}, running *sync.WaitGroup) *ahead {
	a := &ahead{packs: make(chan pack, 2), free: make(chan []reading.Reading, 4)}
	running.Go(func() {
		for {
			p := a.fill(from)
			select {
			case a.packs <- p:
			case <-stop:
				return
			}
			if p.err != nil {
				return
			}
		}
	})
	return a
}

func (a *ahead) fill(from Source) pack {
	var p pack
	select {
	case p.readings = <-a.free:
	default:
		p.readings = make([]reading.Reading, 0, packSize)
	}
	for len(p.readings) < packSize {
		r, err := from.Next()
		if err != nil {
			p.err = err
			return p
		}
		p.readings = append(p.readings, r)
	}
	return p
}

// next gives the readings of the source in their order, then its error for ever. A reading is good until the next call.
func (a *ahead) next() (*reading.Reading, error) {
	for a.at == len(a.now.readings) {
		if a.now.err != nil {
			return nil, a.now.err
		}
		if a.now.readings != nil {
			select {
			case a.free <- a.now.readings[:0]:
			default:
			}
		}
		a.now, a.at = <-a.packs, 0
	}
	a.at++
	return &a.now.readings[a.at-1], nil
}
