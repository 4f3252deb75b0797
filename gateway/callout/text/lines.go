package text

import (
	"strconv"
	"strings"
)

// splitter makes lines of what a modem says. The prompt for a message is a line of its own though nothing ends it [TS 27.005 section 3.5.1: CR LF >
// space].
type splitter struct {
	line    []byte
	skipped bool // the rest of a line that was too long
}

const prompt = ">"

// lineMost is in bytes. Chosen: twice the longest line that a message makes (a whole PDU in hexadecimal).
const lineMost = 1024

// feed takes bytes and hands on each line that is whole, without its end; empty lines are left out.
func (s *splitter) feed(data []byte, line func(string)) {
	for _, b := range data {
		switch {
		case b == '\r' || b == '\n':
			if len(s.line) > 0 && !s.skipped {
				line(string(s.line))
			}
			s.line, s.skipped = s.line[:0], false
		case b == '>' && len(s.line) == 0:
			line(prompt)
		case b == ' ' && len(s.line) == 0, b == 0: // behind the prompt; noise of a line that opens
		case len(s.line) == lineMost:
			s.skipped = true
		default:
			s.line = append(s.line, b)
		}
	}
}

// result tells whether a line ends the answer to a command, and how: nil is OK [TS 27.007 section 4, TS 27.005 section 3.2.5].
func result(line string) (ends bool, err error) {
	switch line {
	case "OK":
		return true, nil
	case "ERROR", "NO CARRIER", "BUSY", "NO ANSWER", "COMMAND NOT SUPPORT":
		return true, &Refusal{Of: Plain}
	}
	for prefix, of := range map[string]Equipment{"+CMS ERROR:": Message, "+CME ERROR:": Mobile} {
		if rest, ok := strings.CutPrefix(line, prefix); ok {
			code, err := strconv.ParseUint(strings.TrimSpace(rest), 10, 16)
			if err != nil { // words instead of a number, though numbers were asked for
				return true, &Refusal{Of: of, Code: codeOf(of, strings.TrimSpace(rest))}
			}
			return true, &Refusal{Of: of, Code: int(code)}
		}
	}
	return false, nil
}

// fields are what stands behind "+NAME:", parted by commas; quotes are taken off.
func fields(line string) []string {
	_, rest, _ := strings.Cut(line, ":")
	var all []string
	var b strings.Builder
	quoted := false
	for _, sign := range strings.TrimSpace(rest) {
		switch {
		case sign == '"':
			quoted = !quoted
		case sign == ',' && !quoted:
			all = append(all, strings.TrimSpace(b.String()))
			b.Reset()
		default:
			b.WriteRune(sign)
		}
	}
	return append(all, strings.TrimSpace(b.String()))
}

// number is field i as a number; -1 if it is none.
func number(fields []string, i int) int {
	if i >= len(fields) {
		return -1
	}
	n, err := strconv.ParseUint(fields[i], 10, 16)
	if err != nil {
		return -1
	}
	return int(n)
}
