package text

import "strings"

// localLeast is how many digits at the end of two numbers must agree where one of them lacks its country. Chosen: the length of the subscriber's part in
// most countries; the caller must find one person alone.
const localLeast = 8

// SameNumber tells whether a number of the roster and the number of a sender are the same telephone. Networks give a sender with or without its
// country; two numbers with their country must agree wholly.
func SameNumber(roster, sender string) bool {
	known, knownKind := dialled(roster)
	from, fromKind := dialled(sender)
	if strings.Trim(sender, "+0123456789") != "" || from == "" || known == "" {
		return false // a name, or nothing at all
	}
	if rest, ok := strings.CutPrefix(from, "00"); ok && fromKind == national {
		from, fromKind = rest, international
	}
	if knownKind == international && fromKind == international {
		return known == from
	}
	known, from = strings.TrimLeft(known, "0"), strings.TrimLeft(from, "0")
	long, short := known, from
	if len(long) < len(short) {
		long, short = short, long
	}
	return long == short || len(short) >= localLeast && strings.HasSuffix(long, short)
}
