package texttest

import (
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"unicode/utf16"
)

// table is the basic table by rows of sixteen [TS 23.038 section 6.2.1]; \x1b stands for the escape.
var table = [8]string{
	"@£$¥èéùìòÇ\nØø\rÅå", "Δ_ΦΓΛΩΠΨΣΘΞ\x1bÆæßÉ", " !\"#¤%&'()*+,-./", "0123456789:;<=>?",
	"¡ABCDEFGHIJKLMNO", "PQRSTUVWXYZÄÖÑÜ§", "¿abcdefghijklmno", "pqrstuvwxyzäöñüà",
}

func sign(code int) rune { return []rune(table[code/16])[code%16] }

func extra(code int) rune {
	switch code {
	case 20:
		return '^'
	case 40:
		return '{'
	case 41:
		return '}'
	case 47:
		return '\\'
	case 60:
		return '['
	case 61:
		return '~'
	case 62:
		return ']'
	case 64:
		return '|'
	case 101:
		return '€'
	}
	return ' '
}

// bits is an octet string as one row of bits, the lowest of the first octet first.
func bits(octets []byte) []int {
	row := make([]int, 0, 8*len(octets))
	for _, octet := range octets {
		for place := range 8 {
			row = append(row, int(octet)>>place%2)
		}
	}
	return row
}

func sevenBits(octets []byte, count int) (string, error) {
	row := bits(octets)
	if len(row) < 7*count {
		return "", errors.New("fewer octets than septets")
	}
	var b strings.Builder
	escaped := false
	for i := range count {
		code := 0
		for place := 6; place >= 0; place-- {
			code = 2*code + row[7*i+place]
		}
		switch {
		case escaped:
			b.WriteRune(extra(code))
			escaped = false
		case code == 27:
			escaped = true
		default:
			b.WriteRune(sign(code))
		}
	}
	return b.String(), nil
}

// swapped turns the digits of each pair round, as addresses and times are written.
func swapped(digits string) string {
	if len(digits)%2 == 1 {
		digits += "F"
	}
	pairs := []byte(digits)
	for i := 0; i+1 < len(pairs); i += 2 {
		pairs[i], pairs[i+1] = pairs[i+1], pairs[i]
	}
	return string(pairs)
}

// ReadSubmit reads a SMS-SUBMIT with the service centre in front [TS 23.040 section 9.2.2.2].
func ReadSubmit(pdu string) (Sent, error) {
	s := Sent{PDU: pdu}
	octets, err := hex.DecodeString(pdu)
	if err != nil || len(octets) < 12 {
		return s, errors.New("no message")
	}
	octets = octets[1+octets[0]:]
	first := octets[0]
	if first%4 != 1 {
		return s, errors.New("no SMS-SUBMIT")
	}
	s.Report = first/32%2 == 1
	count := int(octets[2])
	address := (count + 1) / 2
	if len(octets) < 4+address+4 {
		return s, errors.New("too short")
	}
	if count%2 == 1 && octets[3+address] < 0xf0 {
		return s, errors.New("the number is not filled up with F")
	}
	s.To = swapped(strings.ToUpper(hex.EncodeToString(octets[4 : 4+address])))[:count]
	if octets[3] == 145 {
		s.To = "+" + s.To
	}
	rest := octets[4+address:]
	coding := rest[1]
	rest = rest[2:]
	if first/8%4 == 2 { // relative validity
		s.Validity, rest = rest[0], rest[1:]
	}
	length, data := int(rest[0]), rest[1:]
	s.Septets = length
	switch coding {
	case 0:
		if len(data) != (7*length+7)/8 || length > 160 {
			return s, fmt.Errorf("%d octets for %d septets", len(data), length)
		}
		s.Text, err = sevenBits(data, length)
	case 8:
		if len(data) != length || length > 140 {
			return s, fmt.Errorf("%d octets, said %d", len(data), length)
		}
		s.Wide, s.Text = true, wide(data)
	default:
		err = fmt.Errorf("coding %d", coding)
	}
	return s, err
}

func wide(data []byte) string {
	units := make([]uint16, len(data)/2)
	for i := range units {
		units[i] = 256*uint16(data[2*i]) + uint16(data[2*i+1])
	}
	return string(utf16.Decode(units))
}

// Deliver writes a SMS-DELIVER [section 9.2.2.1] in seven bits, in UCS-2 if a letter needs it; from a number or, without digits, from a name.
func Deliver(from, text string) string {
	pdu := "0791" + swapped("51999999999") + "04" + Address(from) + "00"
	const moment = "6211413202000A" // 2026-11-14 23:20:00, 20 quarters of an hour behind UTC
	row, ok := row(text)
	if !ok {
		body := ""
		for _, unit := range utf16.Encode([]rune(text)) {
			body += fmt.Sprintf("%04X", unit)
		}
		return pdu + "08" + moment + fmt.Sprintf("%02X", len(body)/2) + body
	}
	return pdu + "00" + moment + fmt.Sprintf("%02X", len(row)/7) + octetsOf(row)
}

// Address writes an address field.
func Address(number string) string {
	digits := strings.TrimPrefix(number, "+")
	switch {
	case strings.Trim(digits, "0123456789") != "":
		row, _ := row(number)
		return fmt.Sprintf("%02XD0%s", (len(row)+3)/4, octetsOf(row))
	case digits != number:
		return fmt.Sprintf("%02X91%s", len(digits), swapped(digits))
	}
	return fmt.Sprintf("%02X81%s", len(digits), swapped(digits))
}

// row is a text of the basic table as a row of bits.
func row(text string) ([]int, bool) {
	var all []int
	for _, letter := range text {
		code := -1
		for i := range 128 {
			if sign(i) == letter {
				code = i
			}
		}
		if code < 0 {
			return nil, false
		}
		for place := range 7 {
			all = append(all, code>>place%2)
		}
	}
	return all, true
}

func octetsOf(row []int) string {
	text := ""
	for len(row) > 0 {
		octet := 0
		for place := range min(8, len(row)) {
			octet += row[place] << place
		}
		text += fmt.Sprintf("%02X", octet)
		row = row[min(8, len(row)):]
	}
	return text
}

// report writes a SMS-STATUS-REPORT [section 9.2.2.3].
func report(reference byte, to string, status byte) string {
	const moment = "6211413202000A"
	return "00" + fmt.Sprintf("06%02X", reference) + Address(to) + moment + moment + fmt.Sprintf("%02X", status)
}
