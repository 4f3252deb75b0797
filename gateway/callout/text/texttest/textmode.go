package texttest

import (
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf16"
)

// typed is what text mode was told [TS 27.005 section 3.1]: character set, settings of messages, and the number of the one that is typed.
type typed struct {
	wide                    bool // UCS-2 as hexadecimal digits
	first, validity, coding int
	to                      string
}

// settings takes those of +CSMP: first octet, validity, protocol, coding.
func (y *typed) settings(argument string) bool {
	var numbers []int
	for _, field := range strings.Split(argument, ",") {
		n, err := strconv.Atoi(field)
		if err != nil || n < 0 || n > 255 {
			return false
		}
		numbers = append(numbers, n)
	}
	if len(numbers) != 4 || numbers[0]%4 != 1 || numbers[3] != 0 && numbers[3] != 8 {
		return false
	}
	y.first, y.validity, y.coding = numbers[0], numbers[1], numbers[3]
	return true
}

// number takes that of +CMGS: in quotes, with its type of address.
func (y *typed) number(argument string) bool {
	quoted, kind, _ := strings.Cut(argument, ",")
	digits, err := y.read(strings.Trim(quoted, `"`))
	y.to = digits
	return err == nil && len(quoted) > 2 && strings.HasPrefix(quoted, `"`) && strings.Trim(digits, "+0123456789") == "" && (kind == "145") == strings.HasPrefix(digits, "+")
}

func (y *typed) read(text string) (string, error) {
	if !y.wide {
		return "", errors.New("the double knows no other character set")
	}
	octets, err := hex.DecodeString(text)
	if err != nil || len(octets)%2 != 0 {
		return "", errors.New("no UCS-2")
	}
	return wide(octets), nil
}

// message is what was typed.
func (y *typed) message(body string) (Sent, error) {
	text, err := y.read(body)
	s := Sent{To: y.to, Text: text, Wide: y.coding == 8, Report: y.first/32%2 == 1, Validity: byte(y.validity)}
	if err != nil {
		return s, err
	}
	if s.Wide {
		if s.Septets = 2 * len(utf16.Encode([]rune(text))); s.Septets > 140 {
			err = errors.New("too long")
		}
		return s, err
	}
	for _, letter := range text {
		_, basic := row(string(letter))
		switch {
		case basic:
			s.Septets++
		case strings.ContainsRune(`^{}\[~]|€`, letter):
			s.Septets += 2
		default:
			return s, fmt.Errorf("%q has no place in seven bits", letter)
		}
	}
	if s.Septets > 160 {
		err = errors.New("too long")
	}
	return s, err
}

func digitsOf(text string) string {
	b := ""
	for _, unit := range utf16.Encode([]rune(text)) {
		b += fmt.Sprintf("%04X", unit)
	}
	return b
}

// shownText is a message in a list, at the moment of Deliver.
func shownText(from, text string) string {
	return fmt.Sprintf("\"%s\",,\"26/11/14,23:20:00-20\"\r\n%s", digitsOf(from), digitsOf(text))
}

// shownReport is a status report in one line.
func shownReport(reference byte, to string, status byte) string {
	return fmt.Sprintf("6,%d,\"%s\",145,\"26/11/14,23:20:00-20\",\"26/11/14,23:20:05-20\",%d", reference, digitsOf(to), status)
}
