package callout

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"millwarden/internal/clock/clocktest"
	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

// A night in simulated time with the whole roster, judged by phones alone: who was owed a call got it, and nobody was called twice for one occurrence on one
// step, whatever befell channels, clock and board.

// nightClock goes on over restarts of the board; each of them is another boot with a monotonic clock of its own.
type nightClock struct {
	start  time.Time // of the site, at begun
	begun  time.Time // of the bubble
	booted time.Time
	boot   uint32
}

func (c nightClock) Now() reading.Stamp {
	return reading.Stamp{Wall: c.start.Add(time.Since(c.begun)).UTC(), Mono: time.Since(c.booted), Boot: c.boot, Set: true}
}
func (nightClock) Real(d time.Duration) time.Duration { return d }

// ring is a message that a phone took.
type ring struct {
	after       time.Duration // since the night began
	person, way string
	occurrence  int64
}

// outage is a channel that is dead for a while.
type outage struct {
	way      string
	from, to time.Duration
}

// village has everybody's phones, and the journal, which outlives the board.
type village struct {
	begun time.Time

	mu      sync.Mutex // guards what stands below
	rings   []ring
	lines   []Line
	dead    []outage
	forgets bool // control: the journal tells nothing after a restart
}

type nightPhone struct {
	*village
	way string
}

func (p nightPhone) Send(_ context.Context, m Message) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := time.Since(p.begun)
	for _, o := range p.dead {
		if o.way == p.way && now >= o.from && now < o.to {
			return errors.New("dead")
		}
	}
	told := m.Flood
	if len(told) == 0 {
		told = []Told{{Occurrence: m.Occurrence}}
	}
	for _, one := range told {
		p.rings = append(p.rings, ring{now, m.To.Name, p.way, one.Occurrence})
	}
	return nil
}

func (v *village) Write(lines ...Line) error {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.lines = append(v.lines, lines...)
	return nil
}

func (v *village) Tries(_ string, occurrence int64) ([]Line, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	var own []Line
	for _, l := range v.lines {
		if l.Occurrence == occurrence && !v.forgets {
			own = append(own, l)
		}
	}
	return own, nil
}

// trouble is an occurrence of the night.
type trouble struct {
	from, to time.Duration // it comes; somebody acknowledges
}

// nightPlan is what befalls a night of 14 hours from 18:00.
type nightPlan struct {
	troubles []trouble
	dead     []outage
	restarts []time.Duration
}

const (
	nightLong = 14 * time.Hour
	// slack is how late a call may come where a channel is dead: the patience with one message, and the pause when nobody could be reached.
	slack = messagePatience + 2*unreachedPause
)

// planNight draws a night: each channel dead in turn, then all of them; the board starts anew between a message and its answer, many times.
func planNight(seed uint64) nightPlan {
	r := rand.New(rand.NewPCG(seed, 1)) //nolint:gosec // the same night again from the same seed
	minutes := func(n, span int) time.Duration { return time.Duration(n+r.IntN(span)) * time.Minute }
	var p nightPlan
	for at := minutes(1, 5); at < nightLong-time.Hour; at += minutes(2, 12) {
		to := at + minutes(1, 28)
		if at > 11*time.Hour+20*time.Minute && at < 12*time.Hour+5*time.Minute { // the night hands over to the day at 06:00: TestBook_handOver
			continue
		}
		p.troubles = append(p.troubles, trouble{at, to})
		if r.IntN(3) == 0 {
			p.restarts = append(p.restarts, at+30*time.Second)
		}
	}
	p.dead = []outage{{"siren", time.Hour, 2 * time.Hour}, {"text", 2 * time.Hour, 3 * time.Hour}, {"mail", 3 * time.Hour, 4 * time.Hour}, {"push", 4 * time.Hour, 5 * time.Hour}}
	for _, way := range []string{"siren", "text", "mail", "push"} {
		p.dead = append(p.dead, outage{way, 5 * time.Hour, 5*time.Hour + 40*time.Minute})
	}
	p.dead = append(p.dead, outage{"text", 8*time.Hour - 10*time.Minute, 8*time.Hour + 20*time.Minute}) // the modem is pulled while the clocks change
	return p
}

func nightRoster(z *time.Location, v *village) Roster {
	r := mill(z)
	r.Ways = []Way{{Name: "siren", Channel: nightPhone{v, "siren"}, Shared: true}, {Name: "text", Channel: nightPhone{v, "text"}},
		{Name: "push", Channel: nightPhone{v, "push"}}, {Name: "mail", Channel: nightPhone{v, "mail"}, Reaches: func(p *Person) bool { return p.Mail != "" }}}
	return r
}

// play plays a night and gives its phones.
func play(t *testing.T, p nightPlan, zoneName, evening string, edit func(*village, *Roster)) *village {
	t.Helper()
	z := zone(t, zoneName)
	start, err := time.ParseInLocation("2006-01-02 15:04", evening, z)
	if err != nil {
		t.Fatal(err)
	}
	v := &village{dead: p.dead}
	clocktest.Bubble(t, func(t *testing.T) {
		v.begun = time.Now()
		clock := nightClock{start: start, begun: v.begun}
		roster := nightRoster(z, v)
		if edit != nil {
			edit(v, &roster)
		}
		restarts := append(slices.Clone(p.restarts), nightLong)
		for _, until := range restarts {
			clock.boot++
			clock.booted = time.Now()
			c, err := New(Options{Roster: roster, Clock: clock, Journal: v, Tokens: &drawer{tokens: map[[32]byte]Token{}}})
			if err != nil {
				t.Fatal(err)
			}
			ctx, stop := context.WithCancel(t.Context())
			ended := make(chan error, 1)
			go func() { ended <- c.Run(ctx) }()
			for now := time.Since(v.begun); now < until; now = time.Since(v.begun) {
				c.Look(p.stands(now, &clock), clock.Now())
				sleep(time.Second)
			}
			stop()
			if err := <-ended; err != nil {
				t.Error(err)
			}
		}
	})
	return v
}

func (p *nightPlan) stands(now time.Duration, c *nightClock) []engine.Standing {
	var all []engine.Standing
	for i, one := range p.troubles {
		if now >= one.from && now < one.to {
			all = append(all, engine.Standing{Alarm: &engine.Alarm{ID: fmt.Sprintf("sour@tank-%d", i), Name: "sour", Place: fmt.Sprintf("tank-%d", i), Priority: engine.High, Class: engine.Quality},
				State: engine.Unacknowledged, Occurrence: int64(i + 1), Since: c.Now()})
		}
	}
	return all
}

// judgeNight says what was wrong: who was missed, and who was called twice. owed counts the calls that were due, so that silence proves nothing.
func judgeNight(p *nightPlan, v *village, r *Roster) (owed int, faults []string) {
	for i, one := range p.troubles {
		occurrence := int64(i + 1)
		watch := &r.Watches[0]
		if one.from >= 12*time.Hour {
			watch = &r.Watches[2]
		}
		for _, step := range watch.Steps {
			for _, person := range step.People {
				due := one.from + step.After
				late := v.revived(r, r.find(person), due) + slack
				if one.to <= late {
					continue
				}
				owed++
				if !slices.ContainsFunc(v.rings, func(g ring) bool {
					return g.occurrence == occurrence && g.person == person && g.way != "siren" && g.after <= late
				}) {
					faults = append(faults, fmt.Sprintf("occurrence %d of %v: %s was owed a call by %v", occurrence, one.from, person, late))
				}
			}
		}
	}
	// The last step is repeated after defaultRepeat; a message that had to be tried again took up to messagePatience of it.
	last := map[ring]time.Duration{}
	for _, g := range v.rings {
		k := ring{0, g.person, g.way, g.occurrence}
		if before, again := last[k]; again && g.way != "siren" && g.after-before < defaultRepeat-messagePatience {
			faults = append(faults, fmt.Sprintf("occurrence %d: %s was called by %s at %v and again at %v", g.occurrence, g.person, g.way, before, g.after))
		}
		last[k] = g.after
	}
	return owed, faults
}

func (r *Roster) find(name string) *Person {
	return &r.People[slices.IndexFunc(r.People, func(p Person) bool { return p.Name == name })]
}

// revived is when a channel of a person works, at or after a time.
func (v *village) revived(r *Roster, p *Person, at time.Duration) time.Duration {
	best := nightLong
	for i := range r.Ways {
		w := &r.Ways[i]
		if w.Shared || !r.fits(w, p) {
			continue
		}
		works := at
		for again := true; again; {
			again = false
			for _, o := range v.dead {
				if o.way == w.Name && works >= o.from && works < o.to {
					works, again = o.to, true
				}
			}
		}
		best = min(best, works)
	}
	return best
}

// The clocks of Tijuana go forward from 02:00 to 03:00 on 2026-03-08 and back from 02:00 to 01:00 on 2026-11-01: IANA time zone database.
func TestNight_wholeRoster(t *testing.T) {
	for seed, evening := range map[uint64]string{1: "2026-03-07 18:00", 2: "2026-10-31 18:00", 3: "2026-06-10 18:00"} {
		plan := planNight(seed)
		if evening[:7] == "2026-03" { // an hour is left out: 06:00 comes an hour sooner
			plan.troubles = slices.DeleteFunc(plan.troubles, func(o trouble) bool { return o.from > 10*time.Hour && o.from < 12*time.Hour+5*time.Minute })
		} else if evening[:7] == "2026-10" {
			plan.troubles = slices.DeleteFunc(plan.troubles, func(o trouble) bool { return o.from > 11*time.Hour && o.from < 13*time.Hour+5*time.Minute })
		}
		var roster Roster
		v := play(t, plan, "America/Tijuana", evening, func(_ *village, r *Roster) { roster = *r })
		owed, faults := judgeNight(&plan, v, &roster)
		for _, f := range faults {
			t.Errorf("night of %s: %s", evening, f)
		}
		if owed < 60 || len(plan.restarts) < 10 {
			t.Errorf("night of %s: only %d calls were owed, %d restarts", evening, owed, len(plan.restarts))
		}
		t.Logf("night of %s: %d occurrences, %d calls owed, %d rings, %d restarts, %d outages, %d faults", evening, len(plan.troubles), owed, len(v.rings), len(plan.restarts), len(plan.dead), len(faults))
	}
}

// Controls: a journal that forgets lets people be called twice, and a step without its person misses him; the judge must see both.
func TestNight_judgeSees(t *testing.T) {
	plan := planNight(3)
	var whole Roster
	v := play(t, plan, "America/Tijuana", "2026-06-10 18:00", func(v *village, r *Roster) { whole, v.forgets = *r, true })
	if _, faults := judgeNight(&plan, v, &whole); len(faults) == 0 {
		t.Error("a journal that forgets was not noticed")
	}
	v = play(t, plan, "America/Tijuana", "2026-06-10 18:00", func(_ *village, r *Roster) {
		whole = *r
		r.Watches = slices.Clone(r.Watches)
		r.Watches[0].Steps = r.Watches[0].Steps[:2]
	})
	if _, faults := judgeNight(&plan, v, &whole); len(faults) == 0 {
		t.Error("a step that calls nobody was not noticed")
	}
}
