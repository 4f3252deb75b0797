package text

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"millwarden/gateway/callout"
)

const (
	// lookEvery is how often the modem is looked at without a reason. Chosen: a card that lost the network, and an answer whose notice was lost, are
	// found within it.
	lookEvery = 30 * time.Second
	// Pauses before the port is opened again. Chosen: a modem that was plugged in again is found within half a minute.
	firstPause, longestPause = time.Second, 30 * time.Second
	// goneAfter is how long a modem may be away before messages go another way at once. Chosen: one that starts anew is back within it.
	goneAfter = 30 * time.Second
	// pauseAfter makes pauses start from the first again: the modem had been there so long.
	pauseAfter = time.Minute
)

// Run keeps the modem, sends and reads until ctx ends.
func (t *Text) Run(ctx context.Context) error {
	pause := firstPause
	for ctx.Err() == nil {
		begun := time.Now()
		err := t.once(ctx)
		if ctx.Err() != nil {
			break
		}
		if time.Since(begun) > pauseAfter {
			pause = firstPause
		}
		t.away(err)
		t.rest(ctx, pause, err)
		pause = min(2*pause, longestPause)
	}
	return nil
}

// once opens the modem and serves it until it fails.
func (t *Text) once(ctx context.Context) error {
	port, err := t.o.Open()
	if err != nil {
		return fmt.Errorf("%w: %w", errGone, err)
	}
	m := newModem(port)
	defer m.close()
	if err := t.begin(ctx, m); err != nil {
		return err
	}
	t.lost = time.Time{}
	return t.serve(ctx, m)
}

func (t *Text) away(err error) {
	if t.lost.IsZero() {
		t.lost = time.Now()
	}
	h := callout.Health{Because: err.Error(), Signal: math.NaN()}
	if cardFault(err) {
		h.Modem = &callout.Modem{}
	}
	t.healthy(h)
}

// rest waits, and answers messages meanwhile: there is nothing to send them with.
func (t *Text) rest(ctx context.Context, pause time.Duration, cause error) {
	timer := time.NewTimer(pause)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
			return
		case f := <-t.flights:
			f.land(judge(t.absence(cause), f.tries))
		}
	}
}

// absence is why nothing can be sent while the modem is away.
func (t *Text) absence(cause error) error {
	var refused *Refusal
	var kept *state
	if errors.As(cause, &refused) || errors.As(cause, &kept) {
		return cause
	}
	return &state{says: cause.Error(), lasting: time.Since(t.lost) >= goneAfter}
}

// begin makes a modem that was just opened ready for messages.
func (t *Text) begin(ctx context.Context, m *modem) error {
	if err := m.wake(ctx); err != nil {
		return err
	}
	if err := m.tell(ctx, "ATE0"); err != nil && !is(err, Plain, 0) {
		return err
	}
	if err := m.tell(ctx, "AT+CMEE=1"); err != nil && !is(err, Plain, 0) {
		return err
	}
	if err := t.unlock(ctx, m); err != nil {
		return err
	}
	if err := t.configure(ctx, m); err != nil {
		return err
	}
	return t.look(ctx, m)
}

// cardTries is how often a SIM card that starts is asked again, cardPause after each other. Chosen: slow cards take some ten seconds.
const (
	cardTries = 20
	cardPause = time.Second
)

// busily asks again while the card is busy, as it is for a while after its PIN.
func busily(ctx context.Context, ask func() error) error {
	for try := 1; ; try++ {
		err := ask()
		if !is(err, Message, 314) && !is(err, Mobile, 14) || try == cardTries {
			return err
		}
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-time.After(cardPause):
		}
	}
}

// unlock looks whether the card wants its PIN, and enters it [TS 27.007 section 8.3].
func (t *Text) unlock(ctx context.Context, m *modem) error {
	var wants string
	err := busily(ctx, func() error {
		answer, err := m.query(ctx, "AT+CPIN?", "+CPIN:")
		if err == nil {
			wants = answer[0]
		}
		return err
	})
	switch {
	case err != nil:
		return err
	case wants == "READY":
		return nil
	case wants == "SIM PUK":
		return &state{says: "the SIM card is locked: enter its PUK and a new PIN in a phone", lasting: true, card: true}
	case wants != "SIM PIN":
		return &state{says: "the SIM card asks for " + wants + ", which this program does not know", lasting: true, card: true}
	case t.o.PIN == "":
		return &state{says: "the SIM card asks for its PIN: name a credential with it", lasting: true, card: true}
	case t.pinRefused != nil:
		return t.pinRefused
	}
	return t.enter(ctx, m)
}

// enter gives the card its PIN, once.
func (t *Text) enter(ctx context.Context, m *modem) error {
	// [TS 27.007 section 8.65]; a modem that does not know the command tells nothing, and its card gets the one try.
	left, err := m.query(ctx, `AT+CPINR="SIM PIN"`, "+CPINR:")
	var refused *Refusal
	if err != nil && !errors.As(err, &refused) && ctx.Err() != nil {
		return err
	}
	if n := number(left, 1); err == nil && n >= 0 && n < 3 {
		return &state{says: fmt.Sprintf("the SIM card has %d tries left for its PIN: enter it in a phone, so that a wrong one does not lock the card", n), lasting: true, card: true}
	}
	_, err = m.ask(ctx, pinPatience, `AT+CPIN="`+t.o.PIN+`"`, "", nil)
	if err == nil {
		return nil
	}
	if errors.As(err, &refused) {
		t.pinRefused = &state{says: "the SIM card refused the PIN, and it is not tried again: correct the credential and start anew", lasting: true, card: true}
		return t.pinRefused
	}
	// Whether the card took it is not known. It is not tried again.
	t.pinRefused = &state{says: "the SIM card did not answer to its PIN, and it is not tried again: start anew", lasting: true, card: true}
	return err
}

// configure says how messages are handed over. It is repeated at every look: a modem that started anew by itself has forgotten.
func (t *Text) configure(ctx context.Context, m *modem) error {
	if err := m.mode(ctx); err != nil {
		return err
	}
	// Answers are stored and noticed, reports come by themselves; modems differ in what they take, and the memory is looked at in any case [TS 27.005
	// section 3.4.1].
	var refused *Refusal
	for _, notices := range []string{"2,1,0,1,0", "2,1,0,2,0", "2,1,0,0,0", "1,1,0,1,0"} {
		if err := m.tell(ctx, "AT+CNMI="+notices); err == nil || !errors.As(err, &refused) {
			return err
		}
	}
	return nil
}

// serve sends and reads until the modem fails.
func (t *Text) serve(ctx context.Context, m *modem) error {
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for {
		if err := t.collect(ctx, m); err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case line, open := <-m.lines:
			if !open {
				return m.ended(ctx, nil)
			}
			m.notice(line) // what is none is an answer to nothing
		case f := <-t.flights:
			if err := t.fly(ctx, m, f); err != nil {
				return err
			}
		case <-tick.C:
			if err := t.unlock(ctx, m); err != nil {
				return err
			}
			if err := t.configure(ctx, m); err != nil {
				return err
			}
			if err := t.look(ctx, m); err != nil {
				return err
			}
		}
	}
}

// fly makes one try of a message. It gives an error only if the modem itself failed.
func (t *Text) fly(ctx context.Context, m *modem, f *flight) error {
	reference, err := t.hand(ctx, m, f)
	f.reference = reference
	judged := error(nil)
	if err != nil {
		judged = judge(err, f.tries)
	}
	var refused *Refusal
	var kept *state
	lacks := errors.As(err, &kept) // that is the modem's health already
	if !lacks {
		t.sent(judged)
	}
	f.land(judged)
	if is(err, Message, 322) || is(err, Mobile, 20) {
		m.mail = true // full: collect empties it
	}
	if err == nil || lacks || errors.As(err, &refused) {
		return nil
	}
	return err
}

func (t *Text) hand(ctx context.Context, m *modem, f *flight) (byte, error) {
	if err := t.network(ctx, m); err != nil {
		return 0, err
	}
	// A modem that started anew by itself takes the length for a number, and sends hexadecimal text to somebody.
	if err := m.mode(ctx); err != nil {
		return 0, err
	}
	if m.words {
		return m.sendWords(ctx, f.message.To.Phone, fit(f.message.Text, f.message.Answer, f.message.Spare...))
	}
	return m.send(ctx, fmt.Sprintf("AT+CMGS=%d", f.octets), f.pdu)
}

// network tells whether the modem is registered [TS 27.007 sections 7.2 and 10.1.22]: 1 at home, 5 roaming.
func (t *Text) network(ctx context.Context, m *modem) error {
	status := -1
	for _, ask := range []string{"+CREG", "+CEREG"} {
		answer, err := m.query(ctx, "AT"+ask+"?", ask+":")
		var refused *Refusal
		if errors.As(err, &refused) {
			continue // an older or a newer modem knows only the other
		}
		if err != nil {
			return err
		}
		n := number(answer, 1)
		if n == 1 || n == 5 {
			return nil
		}
		if status < 1 || n == 3 {
			status = n
		}
	}
	switch status {
	case 0:
		return &state{says: "the modem is not registered and does not search for a network"}
	case 2:
		return &state{says: "the modem searches for a network"}
	case 3:
		return &state{says: "the network refuses the SIM card: is it paid for?", lasting: true, card: true}
	}
	return &state{says: "the modem does not know whether there is a network"}
}

// look finds out how the modem does.
func (t *Text) look(ctx context.Context, m *modem) error {
	m.mail = true
	signal, err := t.signal(ctx, m)
	if err != nil {
		return err
	}
	h := callout.Health{Works: true, Signal: signal, Modem: &callout.Modem{Registered: true, Card: true}}
	err = t.network(ctx, m)
	var kept *state
	if errors.As(err, &kept) {
		h.Works, h.Because, err = false, kept.says, nil
		h.Modem = &callout.Modem{Card: !kept.card}
	}
	if err == nil {
		t.healthy(h)
	}
	return err
}

// signal is the strength from 0 (-113 dBm or less) to 1 (-51 dBm or more); NaN while it is not known [TS 27.007 section 8.5].
func (t *Text) signal(ctx context.Context, m *modem) (float64, error) {
	answer, err := m.query(ctx, "AT+CSQ", "+CSQ:")
	var refused *Refusal
	if errors.As(err, &refused) {
		return math.NaN(), nil
	}
	if err != nil {
		return math.NaN(), err
	}
	const strongest = 31
	if n := number(answer, 0); n >= 0 && n <= strongest {
		return float64(n) / strongest, nil
	}
	return math.NaN(), nil
}
