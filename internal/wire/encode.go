package wire

import (
	"fmt"
	"strings"
	"time"

	"millwarden/internal/reading"
)

const (
	// Enough readings to send a pack at once: 64 in a message carry 38 to 53 times the readings per second of one each (measured, QoS 1).
	Enough = 64
	// Most readings of a pack, where more wait: packs of 256 take a backlog to the store for two thirds of the processor time of packs of 64,
	// packs of 512 for a tenth less again (measured); larger ones gain nothing, and a slow line would hold an alarm up behind them.
	Most = 512
)

// namesKept bounds the memory for names; chosen: eight boards with as many points as the rules allow.
const namesKept = 1 << 16

// Header is what a pack says of itself.
type Header struct {
	Stream    string // this start of the publisher
	From, To  uint64 // the positions that the pack stands for, both included
	Watermark uint64 // up to here the board knows its readings safe
	Stored    uint64 // up to here the store had answered when last heard, under Boot
	Boot      string
}

// The records of a header, in their order; their names stand behind SITE/BOARD.
const (
	streamName    = ":pack/stream"
	fromName      = ":pack/from"
	toName        = ":pack/to"
	watermarkName = ":pack/watermark"
	storedName    = ":pack/stored"
	bootName      = ":pack/boot"

	headerRecords = 6
)

// Encoder writes the packs of one board.
type Encoder struct {
	site, board string
	area        func(station string) string
	header      [headerRecords]reading.Record
	full        []reading.Reading // with full names
	names       map[string]string // full name by point
}

// NewEncoder writes for a board; area gives the area of a station, "" for what is no station; nil: nothing is.
func NewEncoder(site, board string, area func(station string) string) *Encoder {
	e := &Encoder{site: site, board: board, area: area, names: map[string]string{}}
	for i, end := range []string{streamName, fromName, toName, watermarkName, storedName, bootName} {
		e.header[i] = reading.Record{Name: site + "/" + board + end, Content: reading.Number}
	}
	e.header[0].Content, e.header[headerRecords-1].Content = reading.Text, reading.Text
	return e
}

// Area is the level under which a point is filed.
func (e *Encoder) Area(point string) string {
	if e.area != nil {
		station, _, _ := strings.Cut(point, "/")
		if area := e.area(station); area != "" {
			return area
		}
	}
	return e.board
}

func (e *Encoder) fullName(point string) string {
	full, ok := e.names[point]
	if !ok {
		if len(e.names) >= namesKept {
			clear(e.names)
		}
		full = e.site + "/" + e.Area(point) + "/" + point
		e.names[point] = full
	}
	return full
}

// Append appends a pack. A reading that cannot be told (a name that is none, a clock that was not set, a time out of bounds) is left out
// and counted.
func (e *Encoder) Append(dst []byte, h Header, readings []reading.Reading) (pack []byte, left int, err error) {
	e.header[0].Text, e.header[headerRecords-1].Text = h.Stream, h.Boot
	for i, v := range [...]uint64{h.From, h.To, h.Watermark, h.Stored} {
		e.header[1+i].Value = float64(v)
	}
	if pack, err = reading.AppendSenML(dst, e.header[:]...); err != nil {
		return dst, 0, fmt.Errorf("wire: header of %s: %w", e.board, err)
	}
	e.full = e.full[:0]
	for i := range readings {
		e.full = append(e.full, readings[i])
		e.tell(&e.full[i])
	}
	return e.join(pack, e.full)
}

// tell gives the reading its full name, and its time to the millisecond: the store keeps no more.
func (e *Encoder) tell(r *reading.Reading) {
	r.Point = e.fullName(r.Point)
	beyond := r.Stamp.Wall.Nanosecond() % int(time.Millisecond) // quicker than Truncate, which takes any step
	r.Stamp.Wall = r.Stamp.Wall.Add(-time.Duration(beyond))
}

// join makes one array of the header's and the readings'.
func (e *Encoder) join(pack []byte, full []reading.Reading) ([]byte, int, error) {
	left := 0
	for len(full) > 0 {
		end := len(pack) - 1 // where the closing bracket stands
		joined, err := reading.AppendReadings(pack, full)
		if err == nil {
			// ] of the header, [ of the readings: one comma
			joined[end] = ','
			copy(joined[end+1:], joined[end+2:])
			return joined[:len(joined)-1], left, nil
		}
		// Rare: find what cannot be told, and leave it out.
		kept := full[:0]
		for i := range full {
			if _, err := reading.AppendReadings(nil, full[i:i+1]); err == nil {
				kept = append(kept, full[i])
			} else {
				left++
			}
		}
		if len(kept) == len(full) {
			return pack, left, fmt.Errorf("wire: pack of %s: %w", e.board, err)
		}
		full = kept
	}
	return pack, left, nil
}

// AppendLatest appends one reading as it stands at its own topic.
func (e *Encoder) AppendLatest(dst []byte, r *reading.Reading) ([]byte, error) {
	full := [1]reading.Reading{*r}
	e.tell(&full[0])
	return reading.AppendReadings(dst, full[:])
}
