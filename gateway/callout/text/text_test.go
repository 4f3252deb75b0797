package text

import (
	"context"
	"errors"
	"io"
	"math"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"millwarden/gateway/callout"
	"millwarden/gateway/callout/text/texttest"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/phrase"
)

const ana = "+51 900 000 001"

func message(id string) callout.Message {
	return callout.Message{ID: id, To: callout.Person{Name: "ana", Title: "Ana", Phone: ana}, Alarm: "dryer-hot@dryer-1", Occurrence: 412,
		Text: "DRYER 1 air temperature 51.0 °C, limit 45.0 °C, since 02:14. Cut the heat, check fan and burner.", Answer: "Reply 1 0412 = I am on it."}
}

const written = "DRYER 1 air temperature 51.0 C, limit 45.0 C, since 02:14. Cut the heat, check fan and burner. Reply 1 0412 = I am on it."

// site is a channel with its double on a line of fake time.
type site struct {
	*Text
	modem *texttest.Modem

	mu      sync.Mutex // guards all below
	answers []Answer
	reports []Report
	refuse  error // of Answer
	away    bool  // nothing is plugged in
	opened  int
}

// run calls do with a channel that runs, in a bubble of fake time, and ends it.
func run(t *testing.T, pin string, prepare func(*texttest.State), do func(t *testing.T, s *site)) {
	t.Helper()
	clocktest.Bubble(t, func(t *testing.T) {
		s := &site{modem: texttest.New()}
		if prepare != nil {
			s.modem.Set(prepare)
		}
		var serving sync.WaitGroup
		var err error
		s.Text, err = New(Options{PIN: pin, Open: func() (io.ReadWriteCloser, error) {
			s.mu.Lock()
			defer s.mu.Unlock()
			s.opened++
			if s.away {
				return nil, errors.New("no such device")
			}
			ours, its := net.Pipe()
			serving.Go(func() { s.modem.Serve(its) })
			return ours, nil
		}, Answer: func(_ context.Context, a Answer) error {
			s.mu.Lock()
			defer s.mu.Unlock()
			s.answers = append(s.answers, a)
			return s.refuse
		}, Report: func(r Report) {
			s.mu.Lock()
			defer s.mu.Unlock()
			s.reports = append(s.reports, r)
		}})
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		var running sync.WaitGroup
		running.Go(func() { _ = s.Run(ctx) })
		do(t, s)
		stop()
		running.Wait()
		s.modem.Vanish()
		serving.Wait()
	})
}

// send makes one try with the patience of the worker.
func (s *site) send(t *testing.T, id string) error {
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	return s.Send(ctx, message(id))
}

// heard is what came back so far.
func (s *site) heard() ([]Answer, []Report) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.answers), slices.Clone(s.reports)
}

func (s *site) count() int {
	answers, _ := s.heard()
	return len(answers)
}

func (s *site) first() int64 {
	answers, _ := s.heard()
	return answers[0].Occurrence
}

func (s *site) set(change func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	change()
}

// overflows sends more than the memory holds: a full one is no refusal for good, and is emptied; who answered is heard.
func (s *site) overflows(t *testing.T) {
	t.Helper()
	for _, text := range []string{"advert", "1 0001", "1 0002", "1 0003"} {
		s.modem.Receive("+51900000001", text)
	}
	if f := failure(t, s.send(t, "m1")); f.Final {
		t.Errorf("full memory: %+v, want another try", f)
	}
	time.Sleep(2 * lookEvery)
	if stored, waiting := s.modem.Stored(); stored != 0 || waiting != 0 || s.count() != 3 {
		t.Errorf("%d stored, %d waiting, %d answers", stored, waiting, s.count())
	}
}

func failure(t *testing.T, err error) *callout.Failure {
	t.Helper()
	var f *callout.Failure
	if !errors.As(err, &f) {
		t.Fatalf("Send() = %v, want a failure", err)
	}
	return f
}

// One message goes out as one, is reported, and is answered; what the report says is no answer.
func TestText_thereAndBack(t *testing.T) {
	for mode, prepare := range map[string]func(*texttest.State){"PDU mode": nil, "text mode": func(s *texttest.State) { s.OnlyText = true }} {
		t.Run(mode, func(t *testing.T) { run(t, "", prepare, thereAndBack) })
	}
}

func thereAndBack(t *testing.T, s *site) {
	if err := s.send(t, "m1"); err != nil {
		t.Fatal(err)
	}
	sent := s.modem.Sent()
	if len(sent) != 1 || sent[0].To != "+51900000001" || sent[0].Text != written || sent[0].Wide || !sent[0].Report || sent[0].Validity != 11 {
		t.Fatalf("sent %+v", sent)
	}
	s.modem.Report(sent[0].Reference, sent[0].To, 0)
	synctest.Wait()
	if answers, reports := s.heard(); len(reports) != 1 || !reports[0].Delivered || reports[0].Message.ID != "m1" || len(answers) != 0 {
		t.Errorf("reports %+v, answers %v", reports, answers)
	}
	s.modem.Receive("+51900000001", "1 0412")
	synctest.Wait()
	want := Answer{From: "+51900000001", Occurrence: 412, At: time.Date(2026, 11, 15, 4, 20, 0, 0, time.UTC)}
	if answers, _ := s.heard(); len(answers) != 1 || answers[0] != want {
		t.Errorf("answers %+v, want %+v", answers, want)
	}
	if stored, _ := s.modem.Stored(); stored != 0 {
		t.Errorf("%d messages are left in the memory", stored)
	}
	if h := s.Health(); !h.Works || math.Abs(h.Signal-20./31) > 1e-9 {
		t.Errorf("health %+v", h)
	}
}

// What is no answer is deleted and leads to nothing; a lost notice costs at most one look; an answer that was not taken is brought again.
func TestText_comingIn(t *testing.T) {
	run(t, "", func(s *texttest.State) { s.NoNotice = true }, func(t *testing.T, s *site) {
		time.Sleep(time.Second) // the first look is over
		s.set(func() { s.refuse = errors.New("busy") })
		s.modem.Receive("Operator", "Your balance is low. 1 0007")
		s.modem.Receive("+51900000001", "yes")
		s.modem.ReceivePDU("00FF")
		s.modem.Receive("+51900000001", "1 0412 ✓")
		time.Sleep(lookEvery + time.Second)
		if stored, _ := s.modem.Stored(); stored != 1 || s.count() != 1 || s.first() != 412 {
			t.Errorf("%d stored, %d answers", stored, s.count())
		}
		s.set(func() { s.refuse = nil })
		time.Sleep(lookEvery)
		if stored, _ := s.modem.Stored(); stored != 0 || s.count() != 2 {
			t.Errorf("then %d stored, %d answers", stored, s.count())
		}
		s.set(func() { s.refuse = errors.New("for ever") })
		s.modem.Receive("+51900000001", "1 0413")
		time.Sleep(20 * lookEvery)
		if stored, _ := s.modem.Stored(); stored != 0 || s.count() != 2+answerTries {
			t.Errorf("in the end %d stored, %d answers, want %d", stored, s.count(), 2+answerTries)
		}
	})
}

// A memory that is full when the program starts holds answers back; it is emptied, and they come.
func TestText_fullMemory(t *testing.T) {
	run(t, "", func(s *texttest.State) { s.Memory, s.Refuse = 2, []int{322} }, func(t *testing.T, s *site) {
		s.overflows(t)
		if err := s.send(t, "m1"); err != nil {
			t.Error(err)
		}
	})
}

func TestText_pin(t *testing.T) {
	for _, c := range []struct {
		name, pin string
		prepare   func(*texttest.State)
		works     bool
		entered   int
		tries     int
		says      string
	}{
		{"right", "1234", func(s *texttest.State) {}, true, 1, 3, ""},
		{"right, the modem tells no tries", "1234", func(s *texttest.State) { s.NoCPINR = true }, true, 1, 3, ""},
		{"card busy for a while", "1234", func(s *texttest.State) { s.Busy = 5 }, true, 1, 3, ""},
		{"wrong: once", "9999", func(s *texttest.State) { s.NoCPINR = true }, false, 1, 2, "refused the PIN"},
		{"a try is gone already: not at all", "1234", func(s *texttest.State) { s.Tries = 2 }, false, 0, 2, "2 tries left"},
		{"none given", "", func(s *texttest.State) {}, false, 0, 3, "name a credential"},
		{"locked", "1234", func(s *texttest.State) { s.Tries = 0 }, false, 0, 0, "PUK"},
	} {
		t.Run(c.name, func(t *testing.T) {
			run(t, c.pin, func(s *texttest.State) { s.PIN = "1234"; c.prepare(s) }, func(t *testing.T, s *site) {
				time.Sleep(time.Minute)
				err := s.send(t, "m1")
				if c.works != (err == nil) || !c.works && (!failure(t, err).Final || !strings.Contains(err.Error(), c.says)) {
					t.Errorf("Send() = %v", err)
				}
				time.Sleep(10 * time.Minute) // the port is opened again and again
				if n := s.modem.Asked(`AT+CPIN="`); n != c.entered {
					t.Errorf("the PIN was entered %d times, want %d", n, c.entered)
				}
				s.modem.Set(func(m *texttest.State) {
					if m.Tries != c.tries {
						t.Errorf("%d tries are left, want %d", m.Tries, c.tries)
					}
				})
				if h := s.Health(); h.Works != c.works || strings.Contains(h.Because, "1234") {
					t.Errorf("health %+v", h)
				}
			})
		})
	}
}

// Registration: 1 at home and 5 roaming can send [TS 27.007 section 7.2].
func TestText_registration(t *testing.T) {
	for _, c := range []struct {
		status      int
		lte         bool
		sent, final bool
	}{{1, false, true, false}, {5, false, true, false}, {1, true, true, false}, {5, true, true, false},
		{0, false, false, false}, {2, false, false, false}, {4, false, false, false}, {2, true, false, false}, {3, false, false, true}, {3, true, false, true}} {
		run(t, "", func(s *texttest.State) { s.Registration, s.LTE = c.status, c.lte }, func(t *testing.T, s *site) {
			err := s.send(t, "m1")
			if c.sent != (err == nil) || s.Health().Works != c.sent {
				t.Errorf("status %d: Send() = %v, health %+v", c.status, err, s.Health())
			}
			if !c.sent && failure(t, err).Final != c.final {
				t.Errorf("status %d: %v, want final %v", c.status, err, c.final)
			}
			s.modem.Set(func(s *texttest.State) { s.Registration = 1 }) // it works again by itself
			time.Sleep(lookEvery + time.Second)
			if h := s.Health(); !h.Works {
				t.Errorf("status %d, then 1: health %+v", c.status, h)
			}
			if !c.sent {
				if err := s.send(t, "m1"); err != nil {
					t.Errorf("status %d, then 1: %v", c.status, err)
				}
			}
		})
	}
}

// Each class of +CMS ERROR: those that pass are tried again after 10, 30, 60 s, the others go to the next channel at once [facts on TS 27.005 section
// 3.2.5, as gathered for this project].
func TestText_refusals(t *testing.T) {
	passing := map[int]bool{17: true, 22: true, 38: true, 41: true, 42: true, 331: true, 332: true, 500: true, 314: true, 322: true}
	for _, code := range []int{1, 8, 10, 17, 21, 22, 27, 38, 41, 42, 96, 300, 301, 302, 303, 304, 305, 310, 311, 313, 314, 315, 316, 320, 321, 322, 330, 331, 332, 340, 500, 512, 999} {
		run(t, "", func(s *texttest.State) { s.Refuse = []int{code, code, code, code} }, func(t *testing.T, s *site) {
			for _, after := range []time.Duration{10 * time.Second, 30 * time.Second, 60 * time.Second, 60 * time.Second} {
				f := failure(t, s.send(t, "m1"))
				if !passing[code] {
					after = 0
				}
				if f.Final == passing[code] || f.After != after || f.Gone {
					t.Errorf("code %d: %+v, want after %v", code, f, after)
				}
				if works := s.Health().Works; works != passing[code] {
					t.Errorf("code %d: works %v", code, works)
				}
			}
			if err := s.send(t, "m2"); err != nil || !s.Health().Works { // fails, then works again
				t.Errorf("code %d, then: %v, %+v", code, err, s.Health())
			}
		})
	}
}

// A network that takes a minute: the worker is not held longer than its patience, its next try joins the first, and the person is called once.
func TestText_slowNetwork(t *testing.T) {
	run(t, "", func(s *texttest.State) { s.Slow = 50 * time.Second }, func(t *testing.T, s *site) {
		begun := time.Now()
		if f := failure(t, s.send(t, "m1")); f.Final || time.Since(begun) != 30*time.Second {
			t.Errorf("%+v after %v", f, time.Since(begun))
		}
		if err := s.send(t, "m1"); err != nil {
			t.Error(err)
		}
		if err := s.send(t, "m1"); err != nil { // and even now
			t.Error(err)
		}
		if n := len(s.modem.Sent()); n != 1 {
			t.Errorf("%d messages went out", n)
		}
	})
}

// A modem that is pulled out: another try at first, another channel once it is away for long; back in, it works again.
func TestText_vanishes(t *testing.T) {
	run(t, "1234", func(s *texttest.State) { s.PIN = "1234" }, func(t *testing.T, s *site) {
		if err := s.send(t, "m1"); err != nil {
			t.Fatal(err)
		}
		s.set(func() { s.away = true })
		s.modem.Vanish()
		time.Sleep(2 * time.Second)
		if f := failure(t, s.send(t, "m2")); f.Final {
			t.Errorf("just gone: %+v", f)
		}
		time.Sleep(goneAfter)
		if f := failure(t, s.send(t, "m2")); !f.Final || s.Health().Works {
			t.Errorf("long gone: %+v", f)
		}
		s.set(func() { s.away = false })
		time.Sleep(longestPause + 2*time.Second)
		if err := s.send(t, "m2"); err != nil || !s.Health().Works {
			t.Errorf("back: %v, %+v", err, s.Health())
		}
	})
}

// A modem that says nothing: no call lasts longer than its context, and the port is opened again until it speaks.
func TestText_silent(t *testing.T) {
	run(t, "", func(s *texttest.State) { s.Silent = true }, func(t *testing.T, s *site) {
		for range 5 {
			begun := time.Now()
			if err := s.send(t, "m1"); err == nil || time.Since(begun) > 30*time.Second {
				t.Errorf("%v after %v", err, time.Since(begun))
			}
			time.Sleep(10 * time.Second)
		}
		if f := failure(t, s.send(t, "m1")); !f.Final {
			t.Errorf("silent for long: %+v", f)
		}
		s.modem.Set(func(s *texttest.State) { s.Silent = false })
		time.Sleep(longestPause + 10*time.Second)
		if err := s.send(t, "m1"); err != nil {
			t.Error(err)
		}
		s.modem.Set(func(s *texttest.State) { s.Silent = true }) // and once more in the middle of its work
		if f := failure(t, s.send(t, "m2")); f.Final {
			t.Errorf("silent again: %+v", f)
		}
	})
}

// A modem that started anew by itself is in text mode and echoes.
func TestText_modemForgets(t *testing.T) {
	run(t, "", func(s *texttest.State) { s.OldNotices, s.Words = true, true }, func(t *testing.T, s *site) {
		if err := s.send(t, "m1"); err != nil {
			t.Fatal(err)
		}
		s.modem.Set(func(s *texttest.State) { s.Text, s.Echo = true, true })
		if err := s.send(t, "m2"); err != nil || len(s.modem.Sent()) != 2 || s.modem.Sent()[1].Text != written {
			t.Errorf("%v, %+v", err, s.modem.Sent())
		}
		s.modem.Set(func(s *texttest.State) { s.Refuse = []int{500} })
		if f := failure(t, s.send(t, "m3")); f.Final {
			t.Errorf("error in words: %+v", f)
		}
	})
}

func TestNew_refuses(t *testing.T) {
	open := func() (io.ReadWriteCloser, error) { return nil, errors.New("none") }
	for _, pin := range []string{"123", "123456789", "12a4", "1234\r", `1";+CMGD`} {
		if _, err := New(Options{Open: open, PIN: pin}); err == nil || strings.Contains(err.Error(), pin) {
			t.Errorf("PIN %q: %v", pin, err)
		}
	}
	if _, err := New(Options{}); err == nil {
		t.Error("no modem: taken")
	}
}

// A number that cannot be dialled, or a command smuggled into one, reaches no modem.
func TestSend_number(t *testing.T) {
	s, err := New(Options{Open: func() (io.ReadWriteCloser, error) { return nil, errors.New("none") }})
	if err != nil {
		t.Fatal(err)
	}
	for _, phone := range []string{"", "+", "ana", "+123456789012345678901"} {
		m := message("m1")
		m.To.Phone = phone
		if f := failure(t, s.Send(t.Context(), m)); !f.Final {
			t.Errorf("%q: %+v", phone, f)
		}
	}
}

func TestDeclares(t *testing.T) {
	declared, err := phrase.Parse(Declares)
	if err != nil || len(declared) != 1 || declared[0].Name != "text" {
		t.Fatalf("%+v, %v", declared, err)
	}
}
