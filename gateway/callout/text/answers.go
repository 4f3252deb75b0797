package text

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"
)

// collect takes what came in: reports, and what lies in the memory. All of it is deleted, or answers would stop coming once the memory is full.
func (t *Text) collect(ctx context.Context, m *modem) error {
	for len(m.reports) > 0 || m.mail {
		for _, report := range m.reports {
			t.take(ctx, report)
		}
		m.reports = m.reports[:0]
		if !m.mail {
			continue
		}
		m.mail = false
		if err := t.empty(ctx, m); err != nil {
			return err
		}
	}
	return nil
}

// empty reads the memory and deletes what was dealt with [TS 27.005 sections 4.1 and 3.5.4].
func (t *Text) empty(ctx context.Context, m *modem) error {
	var lines []string
	all := map[bool]string{false: "AT+CMGL=4", true: `AT+CMGL="ALL"`}[m.words]
	err := busily(ctx, func() (err error) {
		lines, err = m.ask(ctx, listPatience, all, "+CMGL:", m.isFollowed)
		return err
	})
	var refused *Refusal
	if errors.As(err, &refused) {
		t.o.Log.Warn("the modem does not show its messages", "cause", refused)
		return nil
	}
	if err != nil {
		return err
	}
	for len(lines) > 0 {
		index := number(fields(lines[0]), 0)
		var message string
		message, lines = m.first(lines)
		if index < 0 || message == "" || !t.take(ctx, message) {
			continue
		}
		if err := m.tell(ctx, fmt.Sprintf("AT+CMGD=%d", index)); err != nil && !errors.As(err, &refused) {
			return err
		}
	}
	return nil
}

const (
	// answerPatience is how long the program may take to deal with an answer. Chosen: it waits for a synced write.
	answerPatience = 10 * time.Second
	// answerTries is how often an answer is brought that nobody took. Chosen: some minutes; then it is too old.
	answerTries = 10
)

// first takes the first message of a list: its PDU, or in text mode its line and its text; "" for one that ends too soon.
func (m *modem) first(lines []string) (message string, rest []string) {
	switch {
	case !m.isFollowed(lines[0]):
		return lines[0], lines[1:]
	case len(lines) == 1:
		return "", nil
	case m.words:
		return lines[0] + "\n" + lines[1], lines[2:]
	}
	return lines[1], lines[2:]
}

// read reads what came in, in either mode.
func read(message string) (received, error) {
	if strings.HasPrefix(message, "+C") {
		return readWords(message)
	}
	return decode(message)
}

// take deals with one message that came in; false if it must be brought again.
func (t *Text) take(ctx context.Context, message string) bool {
	in, err := read(message)
	if err != nil {
		t.o.Log.Warn("a message that came in cannot be read", "cause", err)
		return true
	}
	if in.report {
		t.report(in)
		return true
	}
	occurrence, ok := parseAnswer(in.text)
	if !ok {
		t.o.Log.Info("a text message that is no answer was left aside", "letters", len(in.text))
		return true
	}
	if t.o.Answer == nil {
		return true
	}
	asking, cancel := context.WithTimeout(ctx, answerPatience)
	defer cancel()
	if err := t.o.Answer(asking, Answer{From: in.from, Occurrence: occurrence, At: in.at}); err != nil {
		t.o.Log.Error("an answer was not taken", "occurrence", occurrence, "cause", err)
		t.untaken[message]++
		if t.untaken[message] < answerTries {
			return false
		}
	}
	delete(t.untaken, message)
	return true
}

// report tells what became of a message [TS 23.040 section 9.2.3.15].
func (t *Text) report(in received) {
	m, known := t.recent.referred(in.mr, in.from)
	if !known || t.o.Report == nil {
		return
	}
	r := Report{Message: m}
	switch {
	case in.status < 0x20:
		r.Delivered, r.Final, r.Says = in.status != 1, true, "the message reached the phone"
		if in.status == 1 {
			r.Says = "the message was handed on; whether it reached the phone is not known"
		}
	case in.status < 0x40:
		r.Says = "the phone is not reached yet, the network goes on trying"
	default:
		r.Final, r.Says = true, "the network gave up: the phone was not reached"
	}
	t.o.Report(r)
}

// parseAnswer reads "1 0412": the figure that means "I am on it" and the number of the occurrence. What people add is left aside.
func parseAnswer(text string) (occurrence int64, ok bool) {
	words := strings.FieldsFunc(text, func(sign rune) bool { return sign < '0' || sign > '9' })
	if len(words) == 0 || !strings.HasPrefix(strings.TrimLeft(text, " \t\r\n\"'"), "1") {
		return 0, false
	}
	digits := ""
	switch {
	case words[0] == "1" && len(words) > 1:
		digits = words[1]
	case len(words[0]) >= 5 && words[0][0] == '1': // the space was left out
		digits = words[0][1:]
	}
	if len(digits) == 0 || len(digits) > 12 {
		return 0, false
	}
	for _, digit := range digits {
		occurrence = occurrence*10 + int64(digit-'0')
	}
	return occurrence, occurrence > 0
}
