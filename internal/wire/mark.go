package wire

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"
)

// Mark is what the forwarder says of one board, again and again. It carries the whole state, so one may be lost.
type Mark struct {
	Stream  string `json:"stream"` // of the packs it speaks of; a board ignores marks of another
	Store   string `json:"store"`  // name of the store; a board ignores marks of one it does not wait for
	Commit  uint64 `json:"commit"` // up to here the store holds everything, also after a crash
	Next    uint64 `json:"next"`   // up to here the store has answered, under Boot
	Boot    string `json:"boot"`   // which start of the store's process answered; "" where that does not matter
	Refused uint64 `json:"refused,omitempty"`
	Trouble string `json:"trouble,omitempty"` // why the store does not answer; "" if it does
}

// maxMark bounds a mark; chosen: trouble is one sentence.
const maxMark = 4096

// Append appends the JSON form of the mark. Trouble that would make it too long is cut: a mark that is refused for its trouble would stop the board's watermark.
func (m Mark) Append(dst []byte) []byte {
	for {
		text, err := json.Marshal(m)
		if err != nil { // strings and numbers alone cannot fail
			panic(err)
		}
		if len(text) <= maxMark || m.Trouble == "" {
			return append(dst, text...)
		}
		m.Trouble = strings.ToValidUTF8(m.Trouble[:len(m.Trouble)/2], "")
	}
}

// ParseMark reads a mark and refuses one that contradicts itself.
func ParseMark(payload []byte) (Mark, error) {
	var m Mark
	if len(payload) > maxMark {
		return m, fmt.Errorf("mark: %d bytes, at most %d", len(payload), maxMark)
	}
	if !utf8.Valid(payload) { // the decoder would put another sign in its place [RFC 8259 8.1]
		return m, errors.New("mark: it is not UTF-8")
	}
	if err := json.Unmarshal(payload, &m); err != nil {
		return Mark{}, fmt.Errorf("mark: reading: %w", err)
	}
	if m.Stream == "" || m.Commit > m.Next {
		return Mark{}, fmt.Errorf("mark: stream %q, commit %d, next %d do not fit together", m.Stream, m.Commit, m.Next)
	}
	return m, nil
}
