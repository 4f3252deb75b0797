package text

import (
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf16"
)

// Fields of the transfer protocol [3GPP TS 23.040 section 9.2.3].
const (
	typeMask         = 0x03 // TP-MTI
	typeDeliver      = 0x00
	typeSubmit       = 0x01
	typeStatusReport = 0x02
	relativeValidity = 0x10 // TP-VPF
	wantsReport      = 0x20 // TP-SRR
	hasHeader        = 0x40 // TP-UDHI

	international = 0x91 // TON international, numbering plan of telephones
	national      = 0x81 // TON unknown
	alphanumeric  = 0x50 // TON, after the mask
	numberTypes   = 0x70

	codingPlain = 0x00 // TP-DCS: seven bits, no class
	codingWide  = 0x08 // UCS-2

	// validity is how long the network tries: (11+1) x 5 min = 1 h [section 9.2.3.12.1]. Chosen: an alarm text that arrives next noon misleads.
	validity = 11

	digitsMost = 20 // of an address [section 9.1.2.5]
)

// submit writes a SMS-SUBMIT with a request for a status report [section 9.2.2.2]. It gives the hexadecimal text with the empty address of the service
// centre in front, so that the card's own is used, and the number of octets without it, which AT+CMGS asks for.
func submit(number, text string) (pdu string, octets int, err error) {
	digits, kind := dialled(number)
	if len(digits) < 3 || len(digits) > digitsMost {
		return "", 0, errors.New("the person's number cannot be dialled")
	}
	b := []byte{typeSubmit | relativeValidity | wantsReport, 0, byte(len(digits)), kind}
	b = append(b, semiOctets(digits)...)
	if n, ok := septetsOf(text); ok {
		if n > septetsMost {
			return "", 0, fmt.Errorf("%d septets do not go into one message", n)
		}
		b = append(b, 0, codingPlain, validity, byte(n))
		b = append(b, pack(septets(text))...)
	} else {
		wide := utf16.Encode([]rune(text))
		if len(wide) > wideMost {
			return "", 0, fmt.Errorf("%d letters do not go into one message", len(wide))
		}
		b = append(b, 0, codingWide, validity, byte(2*len(wide)))
		for _, unit := range wide {
			b = binary.BigEndian.AppendUint16(b, unit)
		}
	}
	return "00" + strings.ToUpper(hex.EncodeToString(b)), len(b), nil
}

// dialled is the number's digits and its type of address.
func dialled(number string) (digits string, kind byte) {
	var b strings.Builder
	for _, sign := range number {
		if sign >= '0' && sign <= '9' {
			b.WriteRune(sign)
		}
	}
	if strings.HasPrefix(strings.TrimSpace(number), "+") {
		return b.String(), international
	}
	return b.String(), national
}

// semiOctets writes two digits an octet, the first in the low half, filled up with F [section 9.1.2.3].
func semiOctets(digits string) []byte {
	b := make([]byte, (len(digits)+1)/2)
	for i := range b {
		b[i] = 0xf0 | (digits[2*i] - '0')
		if 2*i+1 < len(digits) {
			b[i] = b[i]&0x0f | (digits[2*i+1]-'0')<<4
		}
	}
	return b
}

// received is one message from the network: an answer of a person, or the report on one of ours.
type received struct {
	report bool
	from   string    // who sent it, or to whom ours went; "+" before an international number
	at     time.Time // by the service centre; zero if it gave none
	text   string
	mr     byte // reports: reference of the message
	status byte // reports
}

var errShort = errors.New("it ends too soon")

// cursor takes octets from the front. After a fault all it gives is empty.
type cursor struct {
	rest []byte
	err  error
}

func (c *cursor) take(n int) []byte {
	if c.err != nil || n > len(c.rest) {
		c.err = errShort
		return make([]byte, max(0, n))
	}
	taken := c.rest[:n]
	c.rest = c.rest[n:]
	return taken
}

func (c *cursor) octet() byte { return c.take(1)[0] }

// pduMost is in octets: service centre, the longest head, 140 octets. Chosen: room to spare, and a bound.
const pduMost = 256

// decode reads a SMS-DELIVER or SMS-STATUS-REPORT as AT+CMGL and +CDS give it, with the service centre in front [TS 27.005 section 3.1].
func decode(pdu string) (received, error) {
	var m received
	if len(pdu) > 2*pduMost {
		return m, errors.New("it is too long")
	}
	octets, err := hex.DecodeString(strings.TrimSpace(pdu))
	if err != nil {
		return m, errors.New("it is not hexadecimal")
	}
	c := &cursor{rest: octets}
	c.take(int(c.octet())) // the service centre
	first := c.octet()
	switch first & typeMask {
	case typeDeliver:
		m.from = c.address()
		c.octet() // protocol
		coding := c.octet()
		m.at = c.time()
		m.text = c.userData(coding, first&hasHeader != 0)
	case typeStatusReport:
		m.report = true
		m.mr = c.octet()
		m.from = c.address()
		m.at = c.time()
		c.time() // when the outcome was known
		m.status = c.octet()
	default:
		return m, errors.New("it is neither a message nor a report")
	}
	return m, c.err
}

// address [TS 23.040 section 9.1.2.5]: the length counts digits, or the useful half octets of a name.
func (c *cursor) address() string {
	n, kind := int(c.octet()), c.octet()
	if n > digitsMost {
		c.err = errors.New("it has an endless number")
		return ""
	}
	octets := c.take((n + 1) / 2)
	if kind&numberTypes == alphanumeric {
		return fromSeptets(unpack(octets, 0, n*4/7))
	}
	var b strings.Builder
	if kind&numberTypes == international&numberTypes {
		b.WriteByte('+')
	}
	for i := range n {
		digit := octets[i/2] >> (i % 2 * 4) & 0x0f
		if digit == 0x0f {
			break
		}
		b.WriteByte("0123456789*#abc"[digit])
	}
	return b.String()
}

// time [section 9.2.3.11]: two digits an octet with the low half first; the zone in quarters of an hour, with its sign in bit 3. One that is no time is
// left zero: it decides nothing.
func (c *cursor) time() time.Time {
	b := c.take(7)
	two := func(i int) int { return int(b[i]&0x0f)*10 + int(b[i]>>4) }
	quarters := int(b[6]&0x07)*10 + int(b[6]>>4)
	if b[6]&0x08 != 0 {
		quarters = -quarters
	}
	month, day, hour, minute, second := two(1), two(2), two(3), two(4), two(5)
	if month < 1 || month > 12 || day < 1 || day > 31 || hour > 23 || minute > 59 || second > 59 {
		return time.Time{}
	}
	return time.Date(2000+two(0), time.Month(month), day, hour, minute-15*quarters, second, 0, time.UTC)
}

// userData reads the text behind a header, which is stepped over: part numbers and the like [section 9.2.3.24].
func (c *cursor) userData(coding byte, headed bool) string {
	length := int(c.octet())
	header := 0
	if headed && len(c.rest) > 0 {
		header = int(c.rest[0]) + 1
	}
	switch codingOf(coding) {
	case codingPlain:
		octets := c.take((length*7 + 7) / 8)
		skipped := (header*8 + 6) / 7 // in septets: the text begins at a whole one
		return fromSeptets(unpack(octets, skipped*7, length-skipped))
	case codingWide:
		octets := c.take(length)
		octets = octets[min(header, len(octets)):]
		units := make([]uint16, len(octets)/2)
		for i := range units {
			units[i] = binary.BigEndian.Uint16(octets[2*i:])
		}
		return string(utf16.Decode(units))
	}
	c.take(length) // octets: a ring tone or a setting, no text
	return ""
}

const codingOctets = 0x04

// codingOf is the alphabet of a data coding scheme [TS 23.038 section 4]; what is reserved is read as seven bits, as it says.
func codingOf(coding byte) byte {
	switch {
	case coding&0x80 == 0: // general groups 00xx and 01xx
		if alphabet := coding & 0x0c; coding&0x20 == 0 && (alphabet == codingOctets || alphabet == codingWide) {
			return alphabet
		}
	case coding&0xf0 == 0xe0: // message waiting, UCS-2
		return codingWide
	case coding&0xf4 == 0xf4: // class, octets
		return codingOctets
	}
	return codingPlain
}
