package publish

import (
	"time"

	"millwarden/gateway/history"
	"millwarden/internal/link"
	"millwarden/internal/reading"
)

const (
	// defaultLatest: chosen, people's tools redraw every few seconds at most, and each message costs as much as a pack.
	defaultLatest = 5 * time.Second
	// latestPoints bounds the memory; chosen: twice the points that the rules allow.
	latestPoints = 16384
	// latestBehind is how far back the newest readings are looked for after a start; chosen: some minutes of a large estate.
	latestBehind = 16384
)

// latest keeps the newest reading of each point and publishes it: at once where its quality changed, else at intervals.
type latest struct {
	every   time.Duration
	tail    uint64 // the history was read up to here
	due     time.Time
	points  map[string]*newest
	entries []history.Entry
}

type newest struct {
	reading   reading.Reading
	dirty     bool
	published time.Time
	quality   reading.Quality // as published
	topic     string
	payload   [2][]byte // written in turns: the client may still hold the one before
	turn      int
}

func newLatest(every time.Duration) latest { return latest{every: every, points: map[string]*newest{}} }

// reconnected: the broker may have forgotten all.
func (l *latest) reconnected() {
	for _, n := range l.points {
		n.dirty, n.published = true, time.Time{}
	}
	l.due = time.Time{}
}

// publish publishes what is due, once a second, and tells when to look again.
func (l *latest) publish(now time.Time, p *Publisher, c *link.Conn) (again time.Time, err error) {
	if now.Before(l.due) {
		return l.due, nil
	}
	l.due = now.Add(time.Second)
	if err := l.read(p.source, p.o.Own); err != nil {
		return l.due, err
	}
	for _, n := range l.points {
		if !n.dirty || now.Sub(n.published) < l.every && n.quality == n.reading.Quality {
			continue
		}
		n.dirty, n.published, n.quality = false, now, n.reading.Quality
		if n.topic == "" {
			n.topic = p.topics.Latest(p.encoder.Area(n.reading.Point), n.reading.Point)
		}
		n.turn = 1 - n.turn
		payload, err := p.encoder.AppendLatest(n.payload[n.turn][:0], &n.reading)
		if err != nil {
			continue // counted where it is sent in a pack
		}
		n.payload[n.turn] = payload
		c.Send(link.Message{Topic: n.topic, Payload: payload, Retain: true})
	}
	return l.due, nil
}

// read takes the newest of what the history has got since.
func (l *latest) read(source Source, own func(point string) bool) error {
	last := source.Last()
	if last > l.tail+latestBehind {
		l.tail = last - latestBehind
	}
	for l.tail < last {
		var err error
		if l.entries, err = source.From(l.tail+1, readAhead, l.entries[:0]); err != nil {
			l.tail = last // damaged: what comes next is newer anyhow
			return err
		}
		if len(l.entries) == 0 {
			return nil
		}
		for i := range l.entries {
			if own(l.entries[i].Point) {
				l.take(&l.entries[i].Reading)
			}
		}
		l.tail = l.entries[len(l.entries)-1].Position
	}
	return nil
}

func (l *latest) take(r *reading.Reading) {
	n, known := l.points[r.Point]
	if !known {
		if len(l.points) >= latestPoints {
			return
		}
		n = &newest{}
		l.points[r.Point] = n
	}
	// A reading that comes late, or whose time is not known, is not the newest.
	if !r.Stamp.Set || r.Stamp.Wall.Before(n.reading.Stamp.Wall) {
		return
	}
	n.reading, n.dirty = *r, true
}
