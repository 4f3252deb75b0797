package text

import (
	"context"
	"errors"
	"fmt"
	"time"

	"millwarden/gateway/callout"
)

// Equipment tells which part of a modem refused.
type Equipment uint8

// Who refuses.
const (
	Plain   Equipment = iota // ERROR, without a reason
	Message                  // +CMS ERROR [TS 27.005 section 3.2.5]
	Mobile                   // +CME ERROR [TS 27.007 section 9.2]
)

// Refusal is a final result of a modem other than OK.
type Refusal struct {
	Of   Equipment
	Code int // 0: none was told
}

func (r *Refusal) Error() string {
	name := map[Equipment]string{Plain: "ERROR", Message: "CMS", Mobile: "CME"}[r.Of]
	if r.Of == Plain {
		return "the modem refused without a reason"
	}
	if says := saysOf(r.Of, r.Code); says != "" {
		return fmt.Sprintf("%s (%s %d)", says, name, r.Code)
	}
	return fmt.Sprintf("the modem refused (%s %d)", name, r.Code)
}

// reason is one code: what it says to people, and how modems spell it that tell words though numbers were asked for.
type reason struct {
	says  string
	words string
}

// messageReasons [TS 27.005 section 3.2.5; below 128 TS 24.011 annex E-2].
var messageReasons = map[int]reason{
	1: {"there is no such number", ""}, 8: {"the operator bars messages", ""}, 10: {"calls are barred", ""}, 17: {"the network failed", ""},
	21: {"the network rejected the message: is the card paid for?", ""}, 22: {"the network is congested", ""}, 27: {"the phone is out of service", ""},
	38: {"the network is out of order", ""}, 41: {"the network failed for a while", ""}, 42: {"the network is congested", ""},
	96: {"the network misses something in the message", ""}, 300: {"the modem failed", "ME failure"}, 301: {"the modem's message service is reserved", "SMS service of ME reserved"},
	302: {"the modem does not allow it", "operation not allowed"}, 303: {"the modem does not know it", "operation not supported"},
	304: {"the modem takes the message for malformed", "invalid PDU mode parameter"}, 305: {"the modem takes the message for malformed", "invalid text mode parameter"},
	310: {"there is no SIM card in the modem", "SIM not inserted"}, 311: {"the SIM card asks for its PIN", "SIM PIN required"},
	313: {"the SIM card failed", "SIM failure"}, 314: {"the SIM card is busy", "SIM busy"}, 315: {"the SIM card is a wrong one", "SIM wrong"},
	316: {"the SIM card is locked and asks for its PUK", "SIM PUK required"}, 320: {"the message memory failed", "memory failure"},
	321: {"the message memory has no such place", "invalid memory index"}, 322: {"the message memory is full", "memory full"},
	330: {"the service centre's number is not known: write it to the SIM card", "SMSC address unknown"}, 331: {"there is no network", "no network service"},
	332: {"the network did not answer in time", "network timeout"}, 340: {"no acknowledgement was expected", "no +CNMA acknowledgement expected"},
	500: {"something unknown went wrong", "unknown error"},
}

// mobileReasons [TS 27.007 section 9.2; from memory].
var mobileReasons = map[int]reason{
	3: {"the modem does not allow it", "operation not allowed"}, 4: {"the modem does not know it", "operation not supported"},
	10: {"there is no SIM card in the modem", "SIM not inserted"}, 11: {"the SIM card asks for its PIN", "SIM PIN required"},
	12: {"the SIM card is locked and asks for its PUK", "SIM PUK required"}, 13: {"the SIM card failed", "SIM failure"}, 14: {"the SIM card is busy", "SIM busy"},
	15: {"the SIM card is a wrong one", "SIM wrong"}, 16: {"the PIN is wrong", "incorrect password"}, 20: {"the memory is full", "memory full"},
	30: {"there is no network", "no network service"}, 31: {"the network did not answer in time", "network timeout"}, 100: {"something unknown went wrong", "unknown"},
}

func reasonsOf(of Equipment) map[int]reason {
	if of == Mobile {
		return mobileReasons
	}
	return messageReasons
}

func saysOf(of Equipment, code int) string { return reasonsOf(of)[code].says }

func codeOf(of Equipment, words string) int {
	for code, r := range reasonsOf(of) {
		if r.words != "" && r.words == words {
			return code
		}
	}
	return 0
}

// passes tells whether the same message may well get through a little later: all that the network or the card is busy with. The rest asks for a person,
// so the next channel is due at once [reference of this project to TS 27.005: retry 17, 22, 38, 41, 42, 331, 332, 500].
func (r *Refusal) passes() bool {
	switch r.Of {
	case Message:
		switch r.Code {
		case 17, 22, 38, 41, 42, 331, 332, 500, 314, 322: // 322: the memory is emptied before the next try
			return true
		}
	case Mobile:
		switch r.Code {
		case 14, 20, 30, 31, 100: // as 314, 322, 331, 332, 500
			return true
		}
	}
	return false
}

// is tells whether err is a refusal with one of the codes.
func is(err error, of Equipment, codes ...int) bool {
	var r *Refusal
	if !errors.As(err, &r) || r.Of != of {
		return false
	}
	for _, code := range codes {
		if r.Code == code {
			return true
		}
	}
	return false
}

// pauses before the next tries of a message that the network did not take [as passes: 10, 30, 60 s].
var pauses = [...]time.Duration{10 * time.Second, 30 * time.Second, 60 * time.Second}

// card tells whether the SIM card is what is wrong: it is missing, locked, broken or a wrong one.
func (r *Refusal) card() bool {
	switch r.Of {
	case Message:
		return r.Code == 310 || r.Code == 311 || r.Code == 313 || r.Code == 315 || r.Code == 316
	case Mobile:
		return r.Code >= 10 && r.Code <= 13 || r.Code == 15 || r.Code == 16
	}
	return false
}

// cardFault tells whether an error says that the SIM card is what is wrong.
func cardFault(err error) bool {
	var refused *Refusal
	var kept *state
	return errors.As(err, &kept) && kept.card || errors.As(err, &refused) && refused.card()
}

// state is what keeps the modem from sending at all. lasting: only a person can change it; card: it is the SIM card.
type state struct {
	says    string
	lasting bool
	card    bool
}

func (s *state) Error() string { return s.says }

// judge says what to do after a try that failed.
func judge(err error, tries int) error {
	f := &callout.Failure{Err: fmt.Errorf("text: %w", err), After: pauses[min(max(tries, 1), len(pauses))-1]}
	var refused *Refusal
	var kept *state
	switch {
	case errors.As(err, &kept):
		f.Final = kept.lasting
	case errors.As(err, &refused):
		f.Final = !refused.passes()
	case errors.Is(err, errUndeliverable):
		f.Final = true
	case errors.Is(err, context.Canceled):
		return f.Err // the program ends: it says nothing about the modem
	}
	if f.Final {
		f.After = 0
	}
	return f
}
