package text

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf16"
	"unicode/utf8"
)

// Text mode is for modems that refuse PDU mode [TS 27.005 section 3]. All strings are written in UCS-2 as hexadecimal digits [TS 27.007 section 5.5]: the modem makes seven bits of
// them where the coding scheme says so [TS 27.005 section 3.3.1], and no sign of a message can end it or be taken for another.

// refusesPDU tells whether a modem does not know PDU mode, beside all that it may refuse for other reasons.
func refusesPDU(err error) bool {
	return is(err, Plain, 0) || is(err, Message, 302) || is(err, Message, 303) || is(err, Mobile, 3) || is(err, Mobile, 4)
}

// mode chooses how messages are written; a modem that takes PDUs gets PDUs.
func (m *modem) mode(ctx context.Context) error {
	if !m.words {
		err := busily(ctx, func() error { return m.tell(ctx, "AT+CMGF=0") })
		if err == nil || !refusesPDU(err) {
			return err
		}
		if m.tell(ctx, "AT+CMGF=1") != nil {
			return err
		}
		m.words = true
	} else if err := m.tell(ctx, "AT+CMGF=1"); err != nil {
		return err
	}
	return m.tell(ctx, `AT+CSCS="UCS2"`)
}

// sendWords hands one message over in text mode, with the settings that it is to have [TS 27.005 sections 3.1 and 3.5.1]: submit with a report and a relative validity.
func (m *modem) sendWords(ctx context.Context, number, text string) (reference byte, err error) {
	coding := codingPlain
	if _, plain := septetsOf(text); !plain {
		coding = codingWide
	}
	if err := m.tell(ctx, fmt.Sprintf("AT+CSMP=%d,%d,0,%d", typeSubmit|relativeValidity|wantsReport, validity, coding)); err != nil {
		return 0, err
	}
	digits, kind := dialled(number)
	if kind == international {
		digits = "+" + digits
	}
	return m.send(ctx, fmt.Sprintf(`AT+CMGS="%s",%d`, inUCS2(digits), kind), inUCS2(text))
}

func inUCS2(text string) string {
	var b strings.Builder
	for _, unit := range utf16.Encode([]rune(text)) {
		fmt.Fprintf(&b, "%04X", unit)
	}
	return b.String()
}

// fromUCS2 reads such digits; a modem that wrote the text itself is taken at its word.
func fromUCS2(text string) string {
	octets, err := hex.DecodeString(text)
	if err != nil || len(octets)%2 != 0 || len(octets) == 0 {
		return strings.ToValidUTF8(text, string(utf8.RuneError))
	}
	units := make([]uint16, len(octets)/2)
	for i := range units {
		units[i] = uint16(octets[2*i])<<8 | uint16(octets[2*i+1])
	}
	return string(utf16.Decode(units))
}

// numberOf is a number as a modem gives it in text mode: some write its digits themselves, whatever the character set.
func numberOf(field string) string {
	if number := fromUCS2(field); number != "" && strings.Trim(number, "+0123456789") == "" {
		return number
	}
	return field
}

// reportFields is how many fields the line of a report has at least in a list; that of a message has seven at most.
const reportFields = 8

// isFollowed tells whether a message stands in the line behind that of a list; in text mode a report has none.
func (m *modem) isFollowed(line string) bool { return !m.words || len(fields(line)) < reportFields }

// readWords reads a message or a report of text mode [TS 27.005 sections 3.4.2 and 4.1]:
//
//	+CMGL: INDEX,"STATUS","FROM",["NAME"],["TIME"][,TYPE,LENGTH] and the text in the next line
//	+CMGL: INDEX,"STATUS",FIRST,REFERENCE,["TO"],[TYPE],"TIME","TIME",ST
//	+CDS: FIRST,REFERENCE,["TO"],[TYPE],"TIME","TIME",ST
func readWords(text string) (received, error) {
	head, body, followed := strings.Cut(text, "\n")
	f := fields(head)
	if strings.HasPrefix(head, "+CMGL:") {
		f = f[min(2, len(f)):]
	}
	switch {
	case followed && len(f) >= 3:
		return received{from: numberOf(f[0]), at: timeOf(f[2]), text: fromUCS2(body)}, nil
	case !followed && len(f) >= reportFields-1 && number(f, 1) >= 0 && number(f, 6) >= 0 && number(f, 1) < 256 && number(f, 6) < 256:
		return received{report: true, mr: byte(number(f, 1)), from: numberOf(f[2]), at: timeOf(f[4]), status: byte(number(f, 6))}, nil
	}
	return received{}, errors.New("it is neither a message nor a report")
}

// timeOf reads "26/11/14,23:20:00-20", the zone in quarters of an hour; one that is no time is left zero: it decides nothing.
func timeOf(text string) time.Time {
	const form = "06/01/02,15:04:05"
	if len(text) < len(form) {
		return time.Time{}
	}
	at, err := time.Parse(form, text[:len(form)])
	quarters := 0
	if _, wrong := fmt.Sscanf(text[len(form):], "%d", &quarters); err != nil || wrong != nil || max(quarters, -quarters) > 79 {
		return time.Time{}
	}
	return at.Add(-time.Duration(quarters) * 15 * time.Minute)
}
