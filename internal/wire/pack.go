package wire

import "millwarden/internal/reading"

// Most readings of a pack. 64 in a message carry 38 to 53 times the readings per second of one each (measured, QoS 1).
const Most = 64

// Header is what a pack says of itself.
type Header struct {
	Stream    string // this start of the publisher; positions of two streams must not be mixed
	From, To  uint64 // the positions that the pack stands for, both included
	Watermark uint64 // up to here the board knows its readings safe
	Stored    uint64 // up to here the store had answered when last heard, under Boot
	Boot      string
}

// Reading is a reading with the place it is filed under.
type Reading struct {
	reading.Reading
	Area string
}

// Pack is a decoded pack. Decode fills it again and again without new memory.
type Pack struct {
	Header
	Site, Board string
	Readings    []Reading
}
