package callout

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"millwarden/internal/clock/clocktest"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/engine"
)

// bubble is the clock of a synctest bubble.
type bubble struct{ begun time.Time }

func (b bubble) Now() reading.Stamp {
	return reading.Stamp{Wall: time.Now().UTC(), Mono: time.Since(b.begun), Boot: 1, Set: true}
}
func (bubble) Real(d time.Duration) time.Duration { return d }

// story is what happened, in order: lines of the journal and messages of the phones.
type story struct {
	mu    sync.Mutex // guards lines
	begun time.Time
	lines []string
}

func (s *story) add(format string, args ...any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.lines = append(s.lines, fmt.Sprintf("%v ", time.Since(s.begun))+fmt.Sprintf(format, args...))
}

func (s *story) all() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return strings.Join(s.lines, "\n")
}

// phone is a channel that takes messages as the test wants.
type phone struct {
	story *story
	name  string
	takes func(ctx context.Context, try int) error // nil: at once
	mu    sync.Mutex                               // guards got and tries
	got   []Message
	tries int
}

func (p *phone) Send(ctx context.Context, m Message) error {
	p.mu.Lock()
	p.tries++
	try := p.tries
	p.got = append(p.got, m)
	p.mu.Unlock()
	if p.takes != nil {
		if err := p.takes(ctx, try); err != nil {
			return err
		}
	}
	p.story.add("%s rings by %s", m.To.Name, p.name)
	return nil
}

func (p *phone) messages() []Message {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]Message(nil), p.got...)
}

// paper is a journal; write decides what becomes of a line.
type paper struct {
	story *story
	write func(Line) error // nil: taken at once
	tries []Line

	mu   sync.Mutex // guards kept
	kept []Line
}

func (p *paper) Write(lines ...Line) error {
	for _, l := range lines {
		if err := p.one(l); err != nil {
			return err
		}
	}
	return nil
}

func (p *paper) one(l Line) error {
	if p.write != nil {
		if err := p.write(l); err != nil {
			return err
		}
	}
	p.story.add("journal: %s %s by %s", l.Event, l.Person, l.Channel)
	p.mu.Lock()
	defer p.mu.Unlock()
	p.kept = append(p.kept, l)
	return nil
}

// count tells how often the journal holds an event about each occurrence for a person.
func (p *paper) count(event, person string) map[int64]int {
	p.mu.Lock()
	defer p.mu.Unlock()
	n := map[int64]int{}
	for _, l := range p.kept {
		if l.Event == event && l.Person == person {
			n[l.Occurrence]++
		}
	}
	return n
}

func (p *paper) Tries(string, int64) ([]Line, error) { return p.tries, nil }

// drawer keeps tokens.
type drawer struct {
	mu     sync.Mutex // guards tokens
	tokens map[[sha256.Size]byte]Token
}

func (d *drawer) KeepToken(t Token) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.tokens[t.Hash] = t
	return nil
}

func (d *drawer) FindToken(hash [sha256.Size]byte) (Token, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	t, ok := d.tokens[hash]
	if !ok {
		return Token{}, errors.New("none")
	}
	return t, nil
}

// rig is a callout with its surroundings.
type rig struct {
	*Callout
	story      *story
	paper      *paper
	drawer     *drawer
	clock      bubble
	text, mail *phone
	stop       func()
}

// newRig starts a callout for ana and ben; ana is called at once, ben after five minutes. It ends with the test, and with it every goroutine.
func newRig(t *testing.T, edit func(*rig, *Options)) *rig {
	t.Helper()
	begun := time.Now()
	s := &story{begun: begun}
	r := &rig{story: s, paper: &paper{story: s}, drawer: &drawer{tokens: map[[sha256.Size]byte]Token{}}, clock: bubble{begun},
		text: &phone{story: s, name: "text"}, mail: &phone{story: s, name: "mail"}}
	o := Options{Clock: r.clock, Journal: r.paper, Tokens: r.drawer, LinkBase: "https://mill.example", Roster: Roster{Zone: time.UTC, Site: "Fern Hollow",
		People: []Person{{Name: "ana", Title: "Ana", Phone: "1", Mail: "a@x.example"}, {Name: "ben", Title: "Ben", Phone: "2", Mail: "b@x.example"}},
		Ways:   []Way{{Name: "text", Channel: r.text}, {Name: "mail", Channel: r.mail}},
		Watches: []Watch{{Name: "night", Digest: -1, Repeat: 10 * time.Minute, Steps: []Step{
			{0, []string{"ana"}, []string{"text"}}, {5 * time.Minute, []string{"ben"}, []string{"mail"}}}}}}}
	if edit != nil {
		edit(r, &o)
	}
	c, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	r.Callout = c
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- c.Run(ctx) }()
	r.stop = func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("Run() = %v", err)
		}
	}
	return r
}

func (r *rig) stands(occurrence int64) {
	r.Look([]engine.Standing{{Alarm: &engine.Alarm{ID: "over-fermented@tank-1", Name: "over-fermented", Title: "over-fermented", Place: "tank-1", PlaceTitle: "Tank 1",
		Priority: engine.High, Class: engine.Quality, Action: "Drain and wash now."}, State: engine.Unacknowledged, Occurrence: occurrence, Since: r.clock.Now(),
		Values: []engine.Shown{{Point: "tank-1/ph", Value: 4.05, Quantity: units.PH, Limit: 4.2, HasLimit: true}}}}, r.clock.Now())
}

func (r *rig) quiet() { r.Look(nil, r.clock.Now()) }

func sleep(d time.Duration) {
	time.Sleep(d) // on the bubble's clock
	synctest.Wait()
}

func (r *rig) want(t *testing.T, want string) {
	t.Helper()
	if got := r.story.all(); got != strings.TrimSpace(want) {
		t.Errorf("got\n%s\nwant\n%s", got, strings.TrimSpace(want))
	}
}

// A night: the line stands in the journal before each message, the second person is called after five minutes, and nobody after the acknowledgement.
func TestRun_escalates(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		r := newRig(t, nil)
		sleep(time.Minute)
		r.stands(1)
		sleep(6 * time.Minute)
		r.quiet()
		sleep(12 * time.Hour)
		r.stop()
		r.want(t, `
1m0s journal: try ana by text
1m0s ana rings by text
1m0s journal: accepted ana by text
6m0s journal: try ben by mail
6m0s ben rings by mail
6m0s journal: accepted ben by mail`)
	})
}

// Growing pauses, then the next channel, then the next person at once.
func TestRun_triesAgain(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		r := newRig(t, func(r *rig, _ *Options) {
			r.text.takes = func(context.Context, int) error { return errors.New("modem is silent") }
			r.mail.takes = func(_ context.Context, try int) error {
				if try == 1 {
					return &Failure{Final: true, Err: errors.New("550")}
				}
				return nil
			}
		})
		r.stands(1)
		sleep(2 * time.Minute)
		if s := r.Channels(r.clock.Now())[0]; s.Works || s.Because != "modem is silent" || s.Waiting != 0 {
			t.Errorf("state of text: %+v", s)
		}
		if s := r.Channels(r.clock.Now())[1]; !s.Works || s.Proven.Mono != 80*time.Second {
			t.Errorf("state of mail: %+v", s)
		}
		r.quiet()
		r.stop()
		r.want(t, `
0s journal: try ana by text
0s journal: failed ana by text
5s journal: try ana by text
5s journal: failed ana by text
20s journal: try ana by text
20s journal: failed ana by text
1m20s journal: try ana by text
1m20s journal: failed ana by text
1m20s journal: given up ana by text
1m20s journal: try ana by mail
1m20s journal: failed ana by mail
1m20s journal: given up ana by mail
1m20s journal: try ben by mail
1m20s ben rings by mail
1m20s journal: accepted ben by mail`)
	})
}

// An acknowledgement takes back what waits for its next try.
func TestRun_answerEndsTries(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		r := newRig(t, func(r *rig, _ *Options) {
			r.text.takes = func(context.Context, int) error { return errors.New("modem is silent") }
		})
		r.stands(1)
		sleep(2 * time.Second)
		r.quiet()
		sleep(time.Hour)
		r.stop()
		r.want(t, "0s journal: try ana by text\n0s journal: failed ana by text")
	})
}

// The pause that the other side asks for is kept, and one beyond patience goes another way at once.
func TestRun_retryAfter(t *testing.T) {
	for pause, want := range map[time.Duration]string{
		40 * time.Second: "0s journal: try ana by text\n0s journal: failed ana by text\n40s journal: try ana by text\n40s ana rings by text\n40s journal: accepted ana by text",
		10 * time.Minute: "0s journal: try ana by text\n0s journal: failed ana by text\n0s journal: given up ana by text\n0s journal: try ana by mail\n0s ana rings by mail\n0s journal: accepted ana by mail",
	} {
		clocktest.Bubble(t, func(t *testing.T) {
			r := newRig(t, func(r *rig, _ *Options) {
				r.text.takes = func(_ context.Context, try int) error {
					if try == 1 {
						return &Failure{After: pause, Err: errors.New("429")}
					}
					return nil
				}
			})
			r.stands(1)
			sleep(time.Minute)
			r.quiet()
			r.stop()
			r.want(t, want)
		})
	}
}

// A channel that hangs delays no other, is cut off after its patience, and its message goes another way.
func TestRun_slowChannel(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		r := newRig(t, func(r *rig, o *Options) {
			o.Roster.Watches[0].Steps[0].By = []string{"text", "mail"}
			r.text.takes = func(ctx context.Context, _ int) error { <-ctx.Done(); return ctx.Err() }
		})
		r.stands(1)
		sleep(0)
		if got := r.story.all(); !strings.Contains(got, "0s ana rings by mail") || strings.Contains(got, "by text failed") {
			t.Errorf("while text hangs:\n%s", got)
		}
		if s := r.Channels(r.clock.Now())[0]; s.Waiting != 1 {
			t.Errorf("state of text: %+v", s)
		}
		sleep(31 * time.Second)
		if s := r.Channels(r.clock.Now())[0]; s.Works || s.Oldest < 30*time.Second {
			t.Errorf("state of text after its patience: %+v", s)
		}
		r.quiet()
		r.stop()
	})
}

// A journal that refuses, and one that hangs, hold back no message; the failures are counted.
func TestRun_journalFails(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		r := newRig(t, func(r *rig, _ *Options) { r.paper.write = func(Line) error { return errors.New("disk full") } })
		r.stands(1)
		sleep(6 * time.Minute)
		r.stop()
		r.want(t, "0s ana rings by text\n5m0s ben rings by mail")
		if r.JournalFailures() != 4 {
			t.Errorf("%d failures, want 4", r.JournalFailures())
		}
	})
	clocktest.Bubble(t, func(t *testing.T) {
		release := make(chan struct{})
		r := newRig(t, func(r *rig, _ *Options) {
			r.paper.write = func(Line) error { <-release; return errors.New("too late") }
		})
		r.stands(1)
		sleep(6 * time.Minute)
		if got := r.story.all(); got != "2s ana rings by text\n5m0s ben rings by mail" {
			t.Errorf("while the journal hangs:\n%s", got)
		}
		r.stop()
		close(release)
	})
}

// A channel that asks for no more messages is not used again; one that this version has not says so from the start. Both are passed over at once.
func TestRun_channelGone(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		r := newRig(t, func(r *rig, o *Options) {
			r.text.takes = func(context.Context, int) error { return &Failure{Gone: true, Err: errors.New("answered 410")} }
			o.Roster.Ways = append(o.Roster.Ways, Way{Name: "siren", Channel: NotHere{"siren"}, Shared: true})
			o.Roster.Watches[0].Steps[0].By = []string{"siren", "text"}
		})
		if s := r.Channels(r.clock.Now())[2]; s.Works || s.Because != "channel siren is not available in this version" {
			t.Errorf("state of siren: %+v", s)
		}
		r.stands(1)
		sleep(time.Second)
		r.quiet()
		r.stands(2)
		sleep(time.Second)
		r.quiet()
		r.stop()
		if tries := len(r.text.messages()); tries != 1 {
			t.Errorf("%d messages to a channel that wants none", tries)
		}
		if s := r.Channels(r.clock.Now())[0]; s.Works || s.Because != "answered 410" {
			t.Errorf("state of text: %+v", s)
		}
		if got := len(r.mail.messages()); got != 2 {
			t.Errorf("%d messages by mail, want one for each occurrence\n%s", got, r.story.all())
		}
	})
}

// The link of a message stands for one person and one occurrence; it is the same in all her messages, no one can guess it, and it ends.
func TestAnswer(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		r := newRig(t, func(_ *rig, o *Options) { o.Roster.Watches[0].Steps[0].By = []string{"text", "mail"} })
		r.stands(1)
		sleep(11 * time.Minute)
		r.quiet()
		r.stands(2)
		sleep(time.Second)
		texts, mails := r.text.messages(), r.mail.messages()
		if len(texts) != 2 || len(mails) < 3 || texts[0].Link != mails[0].Link || texts[0].Link == texts[1].Link {
			t.Fatalf("links %v, %v", texts, mails)
		}
		token, ok := strings.CutPrefix(texts[0].Link, "https://mill.example/a/")
		if raw, err := base64.RawURLEncoding.DecodeString(token); !ok || err != nil || len(raw) < 16 {
			t.Errorf("link %q holds %d bytes, want 128 bits or more [ASVS 7.2.3]", texts[0].Link, len(raw))
		}
		got, expired, ok := r.Answer(token)
		if !ok || expired || got.Alarm != "over-fermented@tank-1" || got.Occurrence != 1 || got.Person != "ana" || got.Title != "TANK 1: over-fermented" {
			t.Errorf("Answer() = %+v, %v, %v", got, expired, ok)
		}
		if _, _, ok := r.Answer(token + "x"); ok {
			t.Error("another token was known")
		}
		for hash, kept := range r.drawer.tokens {
			if hash != kept.Hash || strings.Contains(fmt.Sprintf("%+v", kept), token) {
				t.Errorf("the token itself was kept: %+v", kept)
			}
		}
		if strings.Contains(r.story.all(), token) {
			t.Error("the token stands in the journal")
		}
		r.quiet()
		sleep(25 * time.Hour)
		if _, expired, ok := r.Answer(token); !ok || !expired {
			t.Errorf("after a day: expired %v, %v", expired, ok)
		}
		r.stop()
		anew := newRig(t, func(n *rig, o *Options) { n.drawer = r.drawer; o.Tokens = r.drawer })
		if got, _, ok := anew.Answer(token); !ok || got.Occurrence != 1 {
			t.Errorf("after a restart: %+v, %v", got, ok)
		}
		anew.stop()
	})
}

// A token that the logbook gives with an error is known and no longer in force; one that it does not give is unknown.
func TestAnswer_noLongerInForce(t *testing.T) {
	c, err := New(Options{Roster: Roster{Zone: time.UTC}, Clock: bubble{time.Now()}, Journal: &paper{}, Tokens: worn{Token{Alarm: "a@b", Occurrence: 3, Expires: time.Unix(1, 0)}}})
	if err != nil {
		t.Fatal(err)
	}
	if got, expired, ok := c.Answer("x"); !ok || !expired || got.Occurrence != 3 {
		t.Errorf("Answer() = %+v, %v, %v", got, expired, ok)
	}
	c.links.tokens = worn{}
	if _, _, ok := c.Answer("x"); ok {
		t.Error("an unknown token was found")
	}
}

type worn struct{ token Token }

func (worn) KeepToken(Token) error                        { return nil }
func (w worn) FindToken([sha256.Size]byte) (Token, error) { return w.token, errors.New("expired") }

func TestDrill(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		r := newRig(t, nil)
		if err := r.Drill("ana", 1000001); err != nil {
			t.Fatal(err)
		}
		if err := r.Drill("eve", 1); err == nil {
			t.Error("a drill of nobody was taken")
		}
		sleep(time.Second)
		r.stop()
		got := r.text.messages()
		if len(got) != 1 || !got[0].Exercise || !strings.HasPrefix(got[0].Text, "EXERCISE. ") || !strings.HasPrefix(got[0].Link, "https://mill.example/a/") || got[0].Answer != "Reply 1 1000001 = I got it." || len(r.mail.messages()) != 1 {
			t.Errorf("%+v", got)
		}
	})
}

// While calls are under way the roster changes: the new one is in force at the next look.
func TestSetRoster(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		r := newRig(t, nil)
		r.stands(1)
		sleep(time.Minute)
		changed := *r.inForce()
		changed.Watches = []Watch{{Name: "night", Digest: -1, Steps: []Step{{0, []string{"ana"}, []string{"text"}}, {2 * time.Minute, []string{"ben"}, []string{"text"}}}}}
		if err := r.SetRoster(changed); err != nil {
			t.Fatal(err)
		}
		broken := changed
		broken.Zone = nil
		if err := r.SetRoster(broken); err == nil {
			t.Error("a roster without a zone was taken")
		}
		sleep(2 * time.Minute)
		r.quiet()
		r.stop()
		if got := r.story.all(); !strings.Contains(got, "2m0s ben rings by text") {
			t.Errorf("%s", got)
		}
	})
}

// What is acknowledged, returned, shelved, suppressed or out of service calls nobody, nor do prompts; the same harness rings for state B.
func TestLook_onlyUnacknowledged(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		r := newRig(t, nil)
		for state := engine.Normal; state <= engine.OutOfService; state++ {
			if state == engine.Unacknowledged {
				continue
			}
			r.Look([]engine.Standing{{Alarm: &engine.Alarm{ID: "a@b", Class: engine.Safety}, State: state, Active: true, Occurrence: 1}}, r.clock.Now())
			sleep(20 * time.Minute)
		}
		r.Look([]engine.Standing{{Alarm: &engine.Alarm{ID: "a@b", Kind: engine.KindPrompt}, State: engine.Unacknowledged, Occurrence: 1}}, r.clock.Now())
		sleep(20 * time.Minute)
		if got := r.story.all(); got != "" {
			t.Errorf("somebody was called:\n%s", got)
		}
		r.stands(1)
		sleep(time.Second)
		r.stop()
		if !strings.Contains(r.story.all(), "ana rings") {
			t.Error("the harness does not ring at all")
		}
	})
}
