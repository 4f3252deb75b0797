package check

import (
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"millwarden/internal/onewire"
	"millwarden/rules/syntax"
)

// families are the first two digits of the ids of parts: what a part is, by its maker. Of others any is taken.
// Source: Maxim Integrated, "DS18B20", 19-7487 rev 6, figure 8.
var families = map[string]string{"ds18b20": "28"}

// Lengths of ids, in digits: as the kernel writes one, 28-0316a2794bff; and of the whole number that is burnt into a part, 64 bits.
const (
	familyDigits = 2
	serialDigits = 12
	wholeDigits  = 16
)

// wireID is the id of a 1-Wire part as the kernel writes it. It may be given so, or as all 16 digits, whose last check the others.
func (c *checker) wireID(part string, t syntax.Token) (id string, ok bool) {
	id = strings.ToLower(t.Text())
	if family, serial, found := strings.Cut(id, "-"); !found && len(id) == wholeDigits {
		if id, ok = wholeID(id, families[part]); !ok {
			return "", c.noID(part, t, "The last two of 16 digits check the others, and they do not fit: one or more are mistyped.")
		}
	} else if !found || len(family) != familyDigits || len(serial) != serialDigits {
		return "", c.noID(part, t, fmt.Sprintf("An id has %d digits, a hyphen and %d digits, or %d digits without a hyphen; here stand %d and %d.",
			familyDigits, serialDigits, wholeDigits, len(family), len(serial)))
	}
	if i := strings.IndexFunc(id, func(r rune) bool { return !strings.ContainsRune("0123456789abcdef-", r) }); i >= 0 {
		return "", c.noID(part, t, fmt.Sprintf("Its digits are 0 to 9 and a to f, and %c is none of them.", []rune(id[i:])[0]))
	}
	if want := families[part]; want != "" && !strings.HasPrefix(id, want+"-") {
		return "", c.noID(part, t, "The first two digits tell what a part is: "+want+" is a "+part+", and "+id[:familyDigits]+" is something else.")
	}
	return id, true
}

func (c *checker) noID(part string, t syntax.Token, why string) bool {
	c.say("17", t.Where(), facts{"key": "part " + part, "says when wrong": "needs its 1-Wire id, for example 28-0316a2794bff", "meaning": why})
	return false
}

// wholeID turns the 64 bits of a part into the id that the kernel writes: family, then the serial number with its highest byte first. On the
// wire the family comes first, the serial number lowest byte first, the checksum last [figure 8]; printed as one number it is the other way
// round, which the family tells.
func wholeID(digits, family string) (string, bool) {
	bytes, err := hex.DecodeString(digits)
	if err != nil {
		return digits, true // which digit is none is said by the caller
	}
	if !strings.HasPrefix(digits, family) && strings.HasSuffix(digits, family) {
		slices.Reverse(bytes)
	}
	last := len(bytes) - 1
	if onewire.Checksum(bytes[:last]) != bytes[last] {
		return "", false
	}
	serial := bytes[1:last]
	slices.Reverse(serial)
	return hex.EncodeToString(bytes[:1]) + "-" + hex.EncodeToString(serial), true
}
