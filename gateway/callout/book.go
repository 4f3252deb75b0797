package callout

import (
	"cmp"
	"context"
	"maps"
	"math"
	"slices"
	"time"

	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

// book is what was done for each occurrence that stands. It decides and does nothing else: no goroutine, no clock, no channel, so that a night can be
// tested in a microsecond. It belongs to the goroutine of Run.
type book struct {
	calls    map[key]*call
	underWay map[flight]bool        // messages handed to a channel and not yet answered for
	digests  map[string]*digestBook // by watch
	bursts   map[lane]*burst
	past     func(alarm string, occurrence int64) []Line
	full     bool // a message of the last look found no room
}

// key names one annunciation of one occurrence: when it is annunciated again, calling begins again.
type key struct {
	alarm      string
	occurrence int64
	count      int
}

// flight is a message to one person by one channel about one annunciation. While it is under way no second one is sent: a slow channel must not
// gather repeats.
type flight struct {
	key         key
	person, way string
}

// call is the calling for one annunciation.
type call struct {
	chains map[string]*chain // by watch
	tokens map[string]string // by person: the link of each message to her is the same
	ctx    context.Context   // ends when nobody need be called any more
	cancel context.CancelFunc
}

// chain is how far the steps of one watch have come.
type chain struct {
	watch   *Watch
	begun   time.Duration            // monotonic time of the first call
	done    int                      // steps taken
	last    time.Duration            // when the last was taken, or repeated
	attempt time.Duration            // when people were called last
	pause   bool                     // somebody was missed since then
	rests   bool                     // another watch has taken over
	missed  map[string]int           // by person: the step in which none of her channels got through; she is owed the call until one does
	got     map[string]time.Duration // when people whom a channel of their own has reached were called last
	now     time.Duration
	called  map[string]bool // people of the steps taken
	past    map[told]string // after a restart, until it is resumed: what the journal says last of each message
	hurry   bool            // nobody could be reached: the next step is due now
	round   int
	open    int // messages of this round that are under way
	reached bool
	tried   map[[2]string]bool // person and channel of this round
	extra   []errand           // next channels of people whose channel failed
}

func newChain(w *Watch, begun time.Duration) *chain {
	return &chain{watch: w, begun: begun, called: map[string]bool{}, missed: map[string]int{}, got: map[string]time.Duration{}, tried: map[[2]string]bool{}}
}

// digestBook is what waits for the digest of one watch.
type digestBook struct {
	due     time.Time
	waiting map[key]bool
}

// errand is one message that is owed.
type errand struct {
	key         key
	place       string
	watch       string
	step        int
	round       int
	person, way string
	standings   []engine.Standing // one, or all of a digest
	drill       bool
	shared      bool
	at          time.Duration // when it was owed first
	waited      time.Duration // since people were called first and nobody has answered
	parts       []errand      // of a flood: those that this one message stands for
}

// result is what became of an errand.
type result struct {
	errand errand
	err    error
}

// unreachedPause is how soon the last step is repeated if nobody could be reached. Chosen: a link that came back is used within a minute, and a dead
// one is not hammered.
const unreachedPause = time.Minute

func newBook() *book {
	return &book{calls: map[key]*call{}, underWay: map[flight]bool{}, digests: map[string]*digestBook{}, bursts: map[lane]*burst{}, past: func(string, int64) []Line { return nil }}
}

func (b *book) close() {
	for _, c := range b.calls {
		if c.cancel != nil {
			c.cancel()
		}
	}
}

// look gives what is owed now, most urgent first, and the time until something will be.
func (b *book) look(r *Roster, standings []engine.Standing, now reading.Stamp) (owed []errand, next time.Duration) {
	next, b.full = math.MaxInt64, false
	slices.SortStableFunc(standings, byUrgency)
	standing := map[key]*engine.Standing{}
	for i := range standings {
		standing[keyOf(&standings[i])] = &standings[i]
	}
	b.forget(standing)
	for i := range standings {
		owed = b.lookAt(owed, &next, r, &standings[i], now)
	}
	for i := range r.Watches {
		owed = b.digest(owed, &next, r, &r.Watches[i], standings, now)
	}
	return b.flood(owed, &next, standing, now), next
}

// byUrgency: what can hurt people, then by priority, then what has stood longest.
func byUrgency(a, b engine.Standing) int {
	return cmp.Or(
		cmp.Compare(unsafe(b.Alarm), unsafe(a.Alarm)),
		cmp.Compare(b.Alarm.Priority, a.Alarm.Priority),
		cmp.Compare(a.Since.Mono, b.Since.Mono))
}

func unsafe(a *engine.Alarm) int {
	if a.Class == engine.Safety {
		return 1
	}
	return 0
}

func keyOf(s *engine.Standing) key { return key{s.Alarm.ID, s.Occurrence, s.Count} }

// forget drops what nobody need be called for any more; messages that wait for their next try are taken back.
func (b *book) forget(standing map[key]*engine.Standing) {
	for k, c := range b.calls {
		if standing[k] == nil {
			if c.cancel != nil {
				c.cancel()
			}
			delete(b.calls, k)
		}
	}
	for _, d := range b.digests {
		for k := range d.waiting {
			if standing[k] == nil {
				delete(d.waiting, k)
			}
		}
	}
}

func (b *book) call(k key) *call {
	c := b.calls[k]
	if c == nil {
		c = &call{chains: map[string]*chain{}, tokens: map[string]string{}}
		b.calls[k] = c
	}
	return c
}

// lookAt does what is owed for one alarm by each watch that takes it.
func (b *book) lookAt(owed []errand, next *time.Duration, r *Roster, s *engine.Standing, now reading.Stamp) []errand {
	k := keyOf(s)
	_, seen := b.calls[k]
	c := b.call(k)
	takers := r.takers(s.Alarm, now)
	if !seen {
		b.recall(c, r, s, now)
	}
	on := map[string]bool{}
	for _, w := range takers {
		if w.waits(s.Alarm, now) {
			b.wait(r, w, k, now)
			continue
		}
		on[w.Name] = true
		if c.chains[w.Name] == nil {
			c.chains[w.Name] = newChain(w, now.Mono)
		}
	}
	for _, name := range sortedNames(c.chains) {
		if w := r.watch(name); w != nil {
			c.chains[name].watch = w // the roster may have changed
		}
		// A watch that went off duty goes on calling only while no other has taken over.
		ch := c.chains[name]
		if ch.rests = !on[name] && len(on) > 0; !ch.rests {
			owed = b.step(owed, next, r, s, ch, now)
		}
	}
	return owed
}

func sortedNames(chains map[string]*chain) []string {
	names := make([]string, 0, len(chains))
	for name := range chains {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// step takes the steps of a chain that are due, or repeats the last, and sends what next channels are owed.
func (b *book) step(owed []errand, next *time.Duration, r *Roster, s *engine.Standing, ch *chain, now reading.Stamp) []errand {
	ch.now = now.Mono
	if ch.past != nil {
		owed = b.resume(owed, r, s, ch, now)
	}
	owed = b.newcomers(owed, r, s, ch)
	for _, e := range ch.extra {
		e.standings = []engine.Standing{*s}
		owed = b.add(owed, r, ch, e)
	}
	ch.extra = nil
	owed = b.retry(owed, next, r, s, ch, now)
	steps := ch.watch.Steps
	for {
		due, from := ch.due(steps)
		if now.Mono < due {
			*next = min(*next, due-now.Mono)
			return owed
		}
		owed = b.round(owed, r, s, ch, steps, from, now)
	}
}

// due is when the chain is to act next, and with which step.
func (ch *chain) due(steps []Step) (at time.Duration, from int) {
	switch {
	case ch.done < len(steps) && ch.hurry:
		return ch.last, ch.done
	case ch.done < len(steps):
		return ch.begun + steps[ch.done].After, ch.done
	case ch.hurry && len(ch.missed) == 0:
		return ch.last + min(unreachedPause, ch.watch.Repeat), firstOf(steps, len(steps)-1)
	}
	return ch.last + ch.watch.Repeat, firstOf(steps, len(steps)-1)
}

// firstOf is the first step at the same time as step i: lines of one time are one step.
func firstOf(steps []Step, i int) int {
	for i > 0 && steps[i-1].After == steps[i].After {
		i--
	}
	return i
}

// round sends to all people of the step from which it is called and of those at the same time.
func (b *book) round(owed []errand, r *Roster, s *engine.Standing, ch *chain, steps []Step, from int, now reading.Stamp) []errand {
	ch.round++
	ch.last, ch.attempt, ch.hurry = now.Mono, now.Mono, false
	ch.open, ch.reached, ch.tried = 0, false, map[[2]string]bool{}
	before := len(owed)
	i := from
	for ; i < len(steps) && steps[i].After == steps[from].After; i++ {
		for _, name := range steps[i].People {
			if ch.lately(name) { // by a channel that came back
				ch.reached = true
				continue
			}
			owed = b.callPerson(owed, r, s, ch, i, name)
		}
	}
	ch.done = max(ch.done, i)
	if len(owed) == before && ch.open == 0 && !ch.reached && !b.waitsFor(keyOf(s)) {
		ch.hurry = true // nobody here can be reached at all
	}
	return owed
}

// lately tells whether a person was called so short a time ago that the repeat of the step is not for her.
func (ch *chain) lately(person string) bool {
	at, got := ch.got[person]
	return got && ch.now-at < ch.watch.Repeat-messagePatience
}

// callPerson owes a person of a step a message by each of her channels.
func (b *book) callPerson(owed []errand, r *Roster, s *engine.Standing, ch *chain, step int, name string) []errand {
	ch.called[name] = true
	person := r.people[name]
	if person == nil {
		return owed
	}
	for _, way := range r.ways(person, ch.watch.Steps[step].By) {
		owed = b.add(owed, r, ch, ch.errand(s, step, name, way))
	}
	return owed
}

func (ch *chain) errand(s *engine.Standing, step int, person, way string) errand {
	return errand{key: keyOf(s), place: s.Alarm.Place, watch: ch.watch.Name, step: step, person: person, way: way, standings: []engine.Standing{*s}}
}

// newcomers owes a message to people who stand in a step that was taken already and were not called then: the roster has changed.
func (b *book) newcomers(owed []errand, r *Roster, s *engine.Standing, ch *chain) []errand {
	steps := ch.watch.Steps
	for i := range steps[:min(ch.done, len(steps))] {
		for _, name := range steps[i].People {
			if !ch.called[name] {
				owed = b.callPerson(owed, r, s, ch, i, name)
			}
		}
	}
	return owed
}

// retry calls again whom no channel has reached: a channel may have come back, and the steps that went on meanwhile do not make up for her.
func (b *book) retry(owed []errand, next *time.Duration, r *Roster, s *engine.Standing, ch *chain, now reading.Stamp) []errand {
	if len(ch.missed) == 0 || ch.open > 0 || b.waitsFor(keyOf(s)) {
		return owed
	}
	if ch.pause {
		ch.pause, ch.attempt = false, now.Mono
	}
	if left := ch.attempt + unreachedPause - now.Mono; left > 0 {
		*next = min(*next, left)
		return owed
	}
	ch.round++
	ch.attempt, ch.open, ch.reached, ch.tried = now.Mono, 0, true, map[[2]string]bool{} // reached: no step is taken sooner for it
	for i := range r.Ways {
		if r.Ways[i].Shared { // a siren is nobody's own
			ch.tried[[2]string{"", r.Ways[i].Name}] = true
		}
	}
	for _, name := range slices.Sorted(maps.Keys(ch.missed)) {
		if step := ch.missed[name]; step < len(ch.watch.Steps) && slices.Contains(ch.watch.Steps[step].People, name) {
			owed = b.callPerson(owed, r, s, ch, step, name)
		} else {
			delete(ch.missed, name) // of a roster no longer in force
		}
	}
	return owed
}

// waitsFor tells whether messages about k are under way already.
func (b *book) waitsFor(k key) bool {
	for f := range b.underWay {
		if f.key == k {
			return true
		}
	}
	return false
}

// add owes an errand, unless the like is under way or was tried in this round.
func (b *book) add(owed []errand, r *Roster, ch *chain, e errand) []errand {
	f := flightOf(r.shared(e.way), &e)
	mark := [2]string{f.person, e.way}
	if b.underWay[f] || ch.tried[mark] {
		ch.tried[mark] = true
		return owed
	}
	ch.tried[mark] = true
	ch.open++
	e.round, e.shared, e.at, e.waited = ch.round, r.shared(e.way), ch.now, ch.now-ch.begun
	b.underWay[f] = true
	return append(owed, e)
}

func flightOf(shared bool, e *errand) flight {
	if shared {
		return flight{key: e.key, way: e.way}
	}
	return flight{key: e.key, person: e.person, way: e.way}
}

// result takes in what became of an errand: a failure owes the person's next channel, and if nobody of the round was reached, the next step.
func (b *book) result(res result, r *Roster) {
	for _, part := range res.errand.parts {
		b.result(result{errand: part, err: res.err}, r)
	}
	e := &res.errand
	delete(b.underWay, flightOf(e.shared, e))
	c := b.calls[e.key]
	if e.drill || c == nil {
		return
	}
	ch := c.chains[e.watch]
	if ch == nil {
		return
	}
	current := ch.round == e.round
	if current {
		ch.open--
	}
	person := r.people[e.person]
	switch {
	case res.err == nil:
		ch.reached = true
		if !e.shared {
			ch.got[e.person] = max(ch.got[e.person], e.at)
			delete(ch.missed, e.person)
		}
	case person == nil:
	case current:
		if way := ch.nextWay(r, person); way != "" {
			ch.extra = append(ch.extra, errand{key: e.key, place: e.place, watch: e.watch, step: e.step, person: e.person, way: way})
			return
		}
		ch.miss(e)
	default: // a later round has begun meanwhile
		ch.miss(e)
	}
	if current && ch.open == 0 && !ch.reached {
		ch.hurry = true
	}
}

// miss notes that a person is still owed the call, unless a channel of hers got through before.
func (ch *chain) miss(e *errand) {
	if _, got := ch.got[e.person]; !got && !e.shared {
		ch.missed[e.person], ch.pause = e.step, true
	}
}

// nextWay is a channel of the person that was not tried in this round; "": there is none.
func (ch *chain) nextWay(r *Roster, person *Person) string {
	for i := range r.Ways {
		w := &r.Ways[i]
		if !ch.tried[[2]string{person.Name, w.Name}] && !w.Shared && r.fits(w, person) {
			return w.Name
		}
	}
	return ""
}

// later takes back an errand for which its channel had no room: it is owed again at the next look. Nothing is lost in a flood, it only waits. A digest
// comes again the next day, and what it tells stands on the page.
func (b *book) later(e *errand) {
	b.full = true
	for i := range e.parts {
		b.later(&e.parts[i])
	}
	delete(b.underWay, flightOf(e.shared, e))
	c := b.calls[e.key]
	if c == nil {
		return
	}
	if ch := c.chains[e.watch]; ch != nil {
		ch.extra = append(ch.extra, *e)
		if ch.round == e.round {
			ch.open--
			delete(ch.tried, [2]string{flightOf(e.shared, e).person, e.way})
		}
	}
}

// context is that of the call an errand belongs to: it ends when nobody need be called any more. A digest goes out whole.
func (b *book) context(ctx context.Context, e *errand) context.Context {
	c := b.calls[e.key]
	if c == nil {
		return ctx
	}
	if c.ctx == nil {
		c.ctx, c.cancel = context.WithCancel(ctx)
	}
	return c.ctx
}

// wait notes that an alarm is told in the digest of a watch.
func (b *book) wait(r *Roster, w *Watch, k key, now reading.Stamp) {
	d := b.digests[w.Name]
	if d == nil {
		d = &digestBook{waiting: map[key]bool{}}
		b.digests[w.Name] = d
	}
	if len(d.waiting) == 0 {
		d.due = r.nextDigest(w, now.Wall)
	}
	d.waiting[k] = true
}

// digest sends what waited, in one message to each of the first step. What still stands the next day is told again.
func (b *book) digest(owed []errand, next *time.Duration, r *Roster, w *Watch, standings []engine.Standing, now reading.Stamp) []errand {
	d := b.digests[w.Name]
	if d == nil || len(d.waiting) == 0 {
		return owed
	}
	if left := d.due.Sub(now.Wall); left > 0 {
		*next = min(*next, left)
		return owed
	}
	var told []engine.Standing
	for i := range standings {
		if d.waiting[keyOf(&standings[i])] {
			told = append(told, standings[i])
		}
	}
	d.due = r.nextDigest(w, now.Wall)
	ch := newChain(w, now.Mono)
	k := key{alarm: "digest of " + w.Name}
	for i := 0; i < len(w.Steps) && w.Steps[i].After == 0; i++ {
		for _, name := range w.Steps[i].People {
			for _, way := range r.ways(r.people[name], w.Steps[i].By) {
				if !r.shared(way) {
					owed = b.add(owed, r, ch, errand{key: k, watch: w.Name, step: i, person: name, way: way, standings: told})
				}
			}
		}
	}
	return owed
}
