package text

import (
	"strings"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// The default alphabet of seven bits, by code [3GPP TS 23.038 section 6.2.1]. Its sign 1B leads over to the extension.
var alphabet = []rune("@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\x1bÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà")

// extension takes two septets a sign: the escape and its own code [3GPP TS 23.038 section 6.2.1.1].
var extension = map[rune]byte{'\f': 0x0a, '^': 0x14, '{': 0x28, '}': 0x29, '\\': 0x2f, '[': 0x3c, '~': 0x3d, ']': 0x3e, '|': 0x40, '€': 0x65}

const escape = 0x1b

var codes, extended = codesOf()

func codesOf() (map[rune]byte, map[byte]rune) {
	byRune, byCode := make(map[rune]byte, len(alphabet)), make(map[byte]rune, len(extension))
	for code, sign := range alphabet {
		if code != escape {
			byRune[sign] = byte(code)
		}
	}
	for sign, code := range extension {
		byCode[code] = sign
	}
	return byRune, byCode
}

// plainForms of signs that the alphabet lacks and that are no letter with a mark. Chosen: what a person would write on an old phone.
var plainForms = strings.NewReplacer("°C", "C", "°F", "F", "°", "deg", "’", "'", "‘", "'", "‚", "'", "“", `"`, "”", `"`, "„", `"`, "«", `"`, "»", `"`, "–", "-", "—", "-",
	"−", "-", "‑", "-", "…", "...", "µ", "u", "μ", "u", "\u00a0", " ", "\u202f", " ", "·", "-", "•", "-", "×", "x", "²", "2", "³", "3", "½", "1/2", "¼", "1/4",
	"≥", ">=", "≤", "<=", "→", "->", "º", "o", "ª", "a", "ł", "l", "Ł", "L", "đ", "d", "Đ", "D", "ı", "i", "œ", "oe", "Œ", "OE", "ð", "d", "þ", "th")

// plain writes a text with the signs of the alphabet as far as they have such a form: letters with a mark that the alphabet lacks lose the mark. It
// also makes one line of it, with single spaces: what stands in a rules file must not break a message.
func plain(text string) string {
	var b strings.Builder
	for _, sign := range plainForms.Replace(norm.NFC.String(text)) {
		switch {
		case known(sign) && sign != '\r' && sign != '\n' && sign != '\f':
			b.WriteRune(sign)
		case unicode.IsSpace(sign):
			b.WriteByte(' ')
		case unicode.IsControl(sign), sign == utf8.RuneError:
		default:
			b.WriteString(unmarked(sign))
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

func known(sign rune) bool {
	_, basic := codes[sign]
	_, more := extension[sign]
	return basic || more
}

// unmarked is the letter without its marks if that stands in the alphabet, else the sign itself.
func unmarked(sign rune) string {
	base, _ := utf8.DecodeRuneInString(norm.NFD.String(string(sign)))
	if known(base) {
		return string(base)
	}
	return string(sign)
}

// septetsOf is the length of a text in the alphabet; false if one of its signs has no place there.
func septetsOf(text string) (int, bool) {
	n := 0
	for _, sign := range text {
		if _, basic := codes[sign]; basic {
			n++
		} else if _, more := extension[sign]; more {
			n += 2
		} else {
			return 0, false
		}
	}
	return n, true
}

// septets gives the codes of a text whose signs are all known.
func septets(text string) []byte {
	var all []byte
	for _, sign := range text {
		if code, basic := codes[sign]; basic {
			all = append(all, code)
		} else {
			all = append(all, escape, extension[sign])
		}
	}
	return all
}

// fromSeptets reads codes. An unknown sign of the extension is read as in the basic table [TS 23.038 section 6.2.1.1].
func fromSeptets(all []byte) string {
	var b strings.Builder
	for i := 0; i < len(all); i++ {
		code := all[i] & 0x7f
		if code != escape {
			b.WriteRune(alphabet[code])
			continue
		}
		if i++; i == len(all) {
			break
		}
		if sign, ok := extended[all[i]&0x7f]; ok {
			b.WriteRune(sign)
		} else if all[i]&0x7f != escape {
			b.WriteRune(alphabet[all[i]&0x7f])
		}
	}
	return b.String()
}

// pack lays septets one behind the other into octets, the first in the lowest bits [TS 23.038 section 6.1.2.1].
func pack(all []byte) []byte {
	packed := make([]byte, (len(all)*7+7)/8)
	for i, septet := range all {
		at := i * 7
		word := uint16(septet&0x7f) << (at % 8)
		packed[at/8] |= byte(word)
		if high := byte(word >> 8); high != 0 {
			packed[at/8+1] |= high
		}
	}
	return packed
}

// unpack reads n septets that begin skip bits into the octets; fewer if the octets end before.
func unpack(packed []byte, skip, n int) []byte {
	n = max(0, min(n, (len(packed)*8-skip)/7))
	all := make([]byte, n)
	for i := range all {
		at := skip + i*7
		word := uint16(packed[at/8])
		if at/8+1 < len(packed) {
			word |= uint16(packed[at/8+1]) << 8
		}
		all[i] = byte(word>>(at%8)) & 0x7f
	}
	return all
}

// What one message holds: 140 octets [TS 23.040 section 9.2.3.24].
const (
	septetsMost = 160
	wideMost    = 70 // code units of UCS-2
)

// fit writes body and answer as one message. The answer stays whole, for without it nobody can say "I am on it". A body that is too long loses what can be
// spared, part by part; one that is too long even so loses its end, where the later words of what to do stand.
func fit(body, answer string, spare ...string) string {
	answer = plain(answer)
	for i := 0; ; i++ {
		whole := plain(body)
		if answer != "" {
			whole += " " + answer
		}
		if short(whole) {
			return whole
		}
		if i == len(spare) {
			break
		}
		body = without(body, spare[i])
	}
	body = plain(body)
	const cut = ".."
	tail := cut
	if answer != "" {
		tail += " " + answer
	}
	signs := []rune(body)
	for n := len(signs) - 1; n > 0; n-- {
		if signs[n] != ' ' {
			continue // only between words
		}
		if text := strings.TrimRight(string(signs[:n]), " .,:;") + tail; short(text) {
			return text
		}
	}
	for n := min(len(signs), septetsMost); n > 0; n-- { // one endless word
		if text := string(signs[:n]) + tail; short(text) {
			return text
		}
	}
	return answer
}

// without leaves a part out where it stands last: the same words may stand in the name of the place before it.
func without(text, part string) string {
	if at := strings.LastIndex(text, part); at >= 0 {
		return text[:at] + text[at+len(part):]
	}
	return text
}

// short tells whether a text goes into one message.
func short(text string) bool {
	if n, ok := septetsOf(text); ok {
		return n <= septetsMost
	}
	return len(utf16.Encode([]rune(text))) <= wideMost
}
