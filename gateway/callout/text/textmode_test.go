package text

import (
	"errors"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"millwarden/gateway/callout/text/texttest"
)

// Aim: lines of text mode are read in the forms of TS 27.005, with and without what modems leave out, and what is none of them gives nothing.
func TestReadWords(t *testing.T) {
	at := time.Date(2026, 11, 15, 4, 20, 0, 0, time.UTC)
	for text, want := range map[string]received{
		"+CMGL: 1,\"REC UNREAD\",\"002B00350031\",,\"26/11/14,23:20:00-20\"\n003100200030003400310032": {from: "+51", at: at, text: "1 0412"},
		"+CMGL: 1,\"REC READ\",\"+51900000001\",\"\",\"26/11/15,04:20:00+00\",145,6\n1 0412":           {from: "+51900000001", at: at, text: "1 0412"},
		"+CMGL: 1,\"REC READ\",\"900000000001\",,\n1 0412":                                             {from: "900000000001", text: "1 0412"},
		"+CMGL: 1,\"REC READ\",\"+51\",,\"nonsense\"\n\x00":                                            {from: "+51", text: "\x00"},
		"+CDS: 6,7,\"002B00350031\",145,\"26/11/14,23:20:00-20\",\"26/11/14,23:20:05-20\",0":           {report: true, mr: 7, from: "+51", at: at},
		"+CMGL: 3,\"REC UNREAD\",6,255,,,\"\",\"\",70":                                                 {report: true, mr: 255, status: 70},
	} {
		if got, err := read(text); err != nil || got != want {
			t.Errorf("%q: %+v, %v, want %+v", text, got, err, want)
		}
	}
	for _, text := range []string{"+CDS: 6", "+CDS: 6,999,\"\",145,\"\",\"\",0", "+CDS: 6,1,\"\",145,\"\",\"\",-1", "+CMGL: 1", "+CMGL: 1,\"REC READ\"\n1 0412", "+C"} {
		if got, err := read(text); err == nil {
			t.Errorf("%q is read as %+v", text, got)
		}
	}
}

// Aim: a modem without PDU mode sends what seven bits do not hold as UCS-2, signs of two septets and all; it is emptied when its memory is full, forgets nothing by starting anew,
// and its refusals are told as ever. One that has PDU mode is never asked for text mode.
func TestText_textMode(t *testing.T) {
	run(t, "", func(s *texttest.State) { s.OnlyText, s.Memory, s.Refuse = true, 2, []int{322} }, func(t *testing.T, s *site) {
		s.overflows(t)
		for id, c := range map[string]struct {
			text, sent string
			wide       bool
		}{"m2": {"Señor [€]", "Señor [€] Reply 1 0412 = I am on it.", false}, "m3": {"乾燥", "乾燥 Reply 1 0412 = I am on it.", true}} {
			before := len(s.modem.Sent())
			m := message(id)
			m.Text = c.text
			if err := s.Send(t.Context(), m); err != nil {
				t.Fatal(err)
			}
			if sent := s.modem.Sent()[before]; sent.Text != c.sent || sent.Wide != c.wide || sent.To != "+51900000001" {
				t.Errorf("sent %+v, want %q", sent, c.sent)
			}
		}
		s.modem.Set(func(state *texttest.State) { state.Text = false }) // it started anew
		synctest.Wait()
		if err := s.send(t, "m4"); err != nil {
			t.Error(err)
		}
		s.modem.Set(func(state *texttest.State) { state.Refuse = []int{21} })
		var refused *Refusal
		if err := s.send(t, "m5"); !errors.As(err, &refused) || refused.Code != 21 {
			t.Errorf("refused: %v", err)
		}
	})
	run(t, "", nil, func(t *testing.T, s *site) {
		if err := s.send(t, "m1"); err != nil {
			t.Fatal(err)
		}
		for _, command := range s.modem.Commands() {
			if strings.HasPrefix(command, "AT+CMGF=1") || strings.HasPrefix(command, "AT+CSCS") {
				t.Errorf("asked %s", command)
			}
		}
	})
}
