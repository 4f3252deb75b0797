package publish

import (
	"context"
	"errors"
	"fmt"
	"time"

	"millwarden/gateway/history"
	"millwarden/internal/link"
	"millwarden/internal/reading"
	"millwarden/internal/wire"
)

// flight is a pack on its way: its memory is used again when the broker has it.
type flight struct {
	token link.Token
	since time.Time
	pack  []byte
}

// session is one connection: what is on the way, and what the loop waits for.
type session struct {
	*Publisher
	c        *link.Conn
	flights  [window]flight
	first, n int       // of flights, as a ring
	waiting  time.Time // since when less than a pack waits; zero: nothing does
	readings []reading.Reading
}

// session sends until the connection is lost.
func (p *Publisher) session(ctx context.Context, c *link.Conn) error {
	s := &session{Publisher: p, c: c}
	p.flow.connected(time.Now())
	p.latest.reconnected()
	p.showAllAgain()
	timer := time.NewTimer(0)
	defer timer.Stop()
	for ctx.Err() == nil {
		again, err := s.step(time.Now())
		if err != nil {
			return err
		}
		timer.Reset(max(time.Until(again), 0))
		if err := s.wait(ctx, timer.C); err != nil {
			return err
		}
	}
	return nil
}

// wait returns when something may have changed.
func (s *session) wait(ctx context.Context, timer <-chan time.Time) error {
	var oldest <-chan struct{}
	if s.n > 0 {
		oldest = s.flights[s.first].token.Done()
	}
	select {
	case <-ctx.Done():
	case <-timer:
	case <-oldest:
	case <-s.o.Wake:
	case <-s.alarms:
	case m := <-s.marks:
		return s.heard(&m)
	}
	return nil
}

func (s *session) heard(m *wire.Mark) error {
	now := time.Now()
	last := s.source.Last()
	moved := s.flow.mark(now, m, last)
	if !s.flow.heard.Equal(now) {
		return nil // of another stream or store
	}
	s.mu.Lock()
	s.status.Heard, s.status.Refused, s.status.StoreTrouble = now, m.Refused, m.Trouble
	s.mu.Unlock()
	if !moved {
		return nil
	}
	err := s.source.SetWatermark(history.Mark{Commit: s.flow.commit, Stored: s.flow.next, BootID: s.flow.boot})
	if err != nil {
		s.o.Log.Error("watermark not kept", "cause", err) // the readings are sent again after a restart, no more
	}
	return nil
}

// step does what can be done now and tells when to look again.
func (s *session) step(now time.Time) (again time.Time, err error) {
	if err := s.landed(now); err != nil {
		return now, err
	}
	s.showAlarms(s.c)
	again, held := s.sendPacks(now)
	if next, err := s.latest.publish(now, s.Publisher, s.c); err != nil {
		s.o.Log.Warn("newest readings not published", "cause", err)
	} else if next.Before(again) {
		again = next
	}
	s.mu.Lock()
	s.status.Held, s.status.Sent, s.status.Stored, s.status.Watermark = held, s.flow.sent, s.flow.next, s.flow.commit
	s.status.LeftOut = s.reader.damaged + s.reader.left
	s.mu.Unlock()
	return again, nil
}

// landed frees what the broker has. A token that failed, or never comes, ends the connection: all of it is sent again.
func (s *session) landed(now time.Time) error {
	for s.n > 0 {
		f := &s.flights[s.first]
		select {
		case <-f.token.Done():
			if err := f.token.Error(); err != nil {
				return fmt.Errorf("broker: sending a pack: %w", err)
			}
			f.token = nil
			s.first, s.n = (s.first+1)%window, s.n-1
		default:
			if now.Sub(f.since) > pubackLimit {
				return fmt.Errorf("broker: no PUBACK within %v", pubackLimit)
			}
			return nil
		}
	}
	return nil
}

// sendPacks sends what flow and window allow. held: a reading waits for its time.
func (s *session) sendPacks(now time.Time) (again time.Time, held bool) {
	for s.n < window {
		room, again := s.flow.look(now)
		if room == 0 {
			return again, false
		}
		last := s.source.Last()
		if last <= s.flow.sent {
			s.waiting = time.Time{}
			return now.Add(gather), false
		}
		if last-s.flow.sent < wire.Enough {
			if s.waiting.IsZero() {
				s.waiting = now
			}
			if due := s.waiting.Add(gather); now.Before(due) {
				return due, false
			}
		}
		entries, err := s.reader.read(s.flow.sent+1, int(min(room, wire.Most)))
		if err != nil {
			s.o.Log.Error("history not read", "cause", err)
			return now.Add(retry), false
		}
		if len(entries) == 0 {
			return now.Add(retry), false
		}
		if entries = settled(entries); len(entries) == 0 {
			s.reader.forget()
			return now.Add(retry), true
		}
		if err := s.send(now, entries); err != nil {
			s.o.Log.Error("pack not made", "cause", err)
			return now.Add(retry), false
		}
		s.waiting = time.Time{}
	}
	return now.Add(gather), false
}

// settled is the beginning of entries whose times are known.
func settled(entries []history.Entry) []history.Entry {
	for i := range entries {
		if !entries[i].Stamp.Set {
			return entries[:i]
		}
	}
	return entries
}

func (s *session) send(now time.Time, entries []history.Entry) error {
	f := &s.flights[(s.first+s.n)%window]
	s.readings = s.readings[:0]
	for i := range entries {
		if s.o.Own(entries[i].Point) {
			s.readings = append(s.readings, entries[i].Reading)
		}
	}
	to := entries[len(entries)-1].Position
	h := wire.Header{Stream: s.flow.stream, From: s.flow.sent + 1, To: to, Watermark: s.flow.commit, Stored: s.flow.next, Boot: s.flow.boot}
	pack, left, err := s.encoder.Append(f.pack[:0], h, s.readings)
	if err != nil {
		return err
	}
	s.reader.leftOut(left, to)
	f.pack, f.since = pack, now
	f.token = s.c.Send(link.Message{Topic: s.topics.Pack(s.o.Board), Payload: pack, QoS: 1})
	s.n++
	s.flow.took(now, to, len(entries))
	return nil
}

// reader reads the history in stretches larger than a pack.
type reader struct {
	source  Source
	buffer  []history.Entry
	entries []history.Entry // what is left of it
	skipped uint64          // damage up to here was counted
	damaged uint64          // readings found damaged
	counted uint64          // up to here left was counted
	left    uint64          // readings that could not be told
}

// readAhead is how many entries are read at once when catching up; chosen: four packs.
const readAhead = 1024

// read gives at most limit entries from position on. They are valid until the next call.
func (r *reader) read(position uint64, limit int) ([]history.Entry, error) {
	for len(r.entries) > 0 && r.entries[0].Position < position {
		n := int(min(position-r.entries[0].Position, uint64(len(r.entries))))
		r.entries = r.entries[n:]
	}
	if len(r.entries) == 0 || r.entries[0].Position != position {
		if err := r.fill(position); err != nil {
			return nil, err
		}
	}
	return r.entries[:min(limit, len(r.entries))], nil
}

// forget makes the next read ask again.
func (r *reader) forget() { r.entries = nil }

// fill reads from position on, over what is damaged.
func (r *reader) fill(position uint64) error {
	for {
		var err error
		r.buffer, err = r.source.From(position, readAhead, r.buffer[:0])
		r.entries = r.buffer
		var damage *history.Damage
		if !errors.As(err, &damage) {
			return err
		}
		if damage.Last < position {
			return err
		}
		if damage.Last > r.skipped {
			r.damaged += damage.Last - max(r.skipped, damage.First-1)
			r.skipped = damage.Last
		}
		position = damage.Last + 1
	}
}

func (r *reader) leftOut(n int, to uint64) {
	if to > r.counted {
		r.left += uint64(n)
		r.counted = to
	}
}
