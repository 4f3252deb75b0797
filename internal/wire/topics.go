package wire

import "strings"

// Topics are the topics of one site at a broker.
type Topics struct{ Root, Site string }

func (t Topics) join(levels ...string) string {
	return t.Root + "/" + t.Site + "/" + strings.Join(levels, "/")
}

// Pack is where a board sends its packs; board "+" is the filter for all of them.
func (t Topics) Pack(board string) string { return t.join(board, "pack") }

// Mark is where the forwarder answers a board.
func (t Topics) Mark(board string) string { return t.join(board, "mark") }

// State is where a board's "online" and its last will "offline" stand.
func (t Topics) State(board string) string { return t.join(board, "state") }

// Rules is where the SHA-256 of the rules stands by which a board judges.
func (t Topics) Rules(board string) string { return t.join(board, "rules") }

// Latest is where the newest reading of a point stands.
func (t Topics) Latest(area, point string) string { return t.join(area, point) }

// Alarm is where an alarm stands; place may be a full point.
func (t Topics) Alarm(place, name string) string { return t.join("alarm", place, name) }

// Board is the board of a topic of Pack, Mark or State.
func (t Topics) Board(topic string) (string, bool) {
	rest, ok := strings.CutPrefix(topic, t.Root+"/"+t.Site+"/")
	if !ok {
		return "", false
	}
	board, last, ok := strings.Cut(rest, "/")
	return board, ok && board != "" && (last == "pack" || last == "mark" || last == "state")
}
