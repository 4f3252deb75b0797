package check

import (
	"slices"
	"strings"
	"time"

	"millwarden/internal/phrase"
	"millwarden/internal/units"
	"millwarden/rules/engine"
	"millwarden/rules/syntax"
)

// Bounds of the roster, chosen in the language.
const (
	maxPeople  = 200
	maxWatches = 100
	maxSteps   = 12
	repeatTime = 10 * time.Minute
)

// channel is one way to reach people.
type channel struct {
	*block
	kind *phrase.Declaration
	plan Channel
}

// needsOf is what a person must have for a kind of channel; kinds that are not named need nothing.
var needsOf = map[string]string{"text": "phone", "mail": "mail"}

func (c *checker) checkLinks() {
	for _, b := range c.of("channel") {
		c.addChannel(b)
	}
	c.plan.Broker.Root = "millwarden"
	c.plan.Page.Listen = "127.0.0.1:8420"
	for _, b := range c.blocks {
		if !b.ours() {
			continue
		}
		switch b.Word.Word() {
		case "broker":
			c.plan.Broker = Broker{Address: placeOf(b, "address"), Listen: placeOf(b, "listen"), Credential: c.credentialOf(b), CA: placeOf(b, "ca"),
				Certificate: placeOf(b, "certificate"), Root: "millwarden"}
			if root := placeOf(b, "root"); root != "" {
				c.plan.Broker.Root = root
			}
			c.address(b, "address", "listen")
			c.encrypted(b)
		case "store":
			c.plan.Store = &Store{Address: placeOf(b, "address"), Credential: c.credentialOf(b), CA: placeOf(b, "ca"), Certificate: placeOf(b, "certificate"),
				Org: placeOf(b, "org"), Bucket: placeOf(b, "bucket"), DurableAfter: 20 * time.Second}
			if d, ok := c.duration(b, "durable-after"); ok {
				c.plan.Store.DurableAfter = d
			}
			c.encrypted(b)
		case "page":
			c.plan.Page.Name, c.plan.Page.Certificate = placeOf(b, "name"), placeOf(b, "certificate")
			c.address(b, "listen")
			if at := placeOf(b, "listen"); at != "" {
				c.plan.Page.Listen = at
				c.pageListen(b, at)
			}
		case "outside-watcher":
			c.plan.Watcher = &Watcher{Address: placeOf(b, "address"), Credential: c.credentialOf(b), Every: 5 * time.Minute, AllWell: -1}
			if d, ok := c.duration(b, "every"); ok {
				c.plan.Watcher.Every = d
			}
		}
	}
}

// placeOf is the address, path or word behind a key.
func placeOf(b *block, key string) string {
	if l := line(b, key); l != nil {
		if t, ok := valueToken(l); ok {
			return t.Text()
		}
	}
	return ""
}

func (c *checker) credentialOf(b *block) string {
	if l := line(b, "credential"); l != nil {
		if t, ok := valueToken(l); ok {
			return c.credential(t, b)
		}
	}
	return ""
}

// address holds these keys to host:port.
func (c *checker) address(b *block, keys ...string) {
	for _, key := range keys {
		l := line(b, key)
		if l == nil {
			continue
		}
		t, ok := valueToken(l)
		if !ok {
			continue
		}
		host := t.Text()
		if _, rest, found := strings.Cut(host, "://"); found {
			host = rest
		}
		name, port, found := cutLast(host)
		n, err := units.ParseNumber(strings.TrimSuffix(port, "/"))
		if !found || name == "" && key == "address" || err != nil || n < 0 || n > 65535 {
			c.wrong(l, t.Where(), "")
		}
	}
}

func cutLast(host string) (string, string, bool) {
	i := strings.LastIndexByte(host, ':')
	if i < 0 {
		return host, "", false
	}
	return host[:i], host[i+1:], true
}

// encrypted is W18.
func (c *checker) encrypted(b *block) {
	l := line(b, "address")
	if l == nil {
		return
	}
	t, ok := valueToken(l)
	if !ok {
		return
	}
	host := t.Text()
	plain := strings.HasPrefix(host, "http://") || strings.HasPrefix(host, "mqtt://") || strings.HasPrefix(host, "tcp://") || strings.HasSuffix(host, ":1883")
	_, bareHost, found := strings.Cut(host, "://")
	if !found {
		bareHost = host
	}
	if plain && !isLoopback(bareHost) {
		c.say("W18", t.Where(), facts{"address": host})
	}
}

func isLoopback(host string) bool {
	return strings.HasPrefix(host, "127.") || strings.HasPrefix(host, "localhost") || strings.HasPrefix(host, "[::1]")
}

// pageListen: beyond this machine the page is served only with a certificate.
func (c *checker) pageListen(b *block, at string) {
	if isLoopback(at) || c.plan.Page.Certificate != "" {
		return
	}
	c.say("16", b.Word.Where(), facts{"block": "page", "keys": "certificate", "example": "certificate /etc/millwarden/page.pem.",
		"why": "It is served beyond this machine."})
}

func (c *checker) addChannel(b *block) {
	if !b.ours() || !b.Name.Given() {
		return
	}
	name := b.Name.Word()
	at := b.Name
	if b.Kind.Given() {
		at = b.Kind
	}
	if c.channels[name] != nil {
		return
	}
	d := c.words.channels[at.Word()]
	ch := &channel{block: b, kind: d, plan: Channel{Name: name, Title: titleOf(b), Kind: at.Word(), Note: text(b, "note")}}
	c.channels[name] = ch
	if d == nil {
		n := near(at.Word(), c.words.channelNames)
		c.say("22", at.Where(), facts{"what": "kind of channel", "name": at.Text(), "near": n, "why": orElse(n, "Kinds: "+strings.Join(c.words.channelNames, ", ")+".")})
		return
	}
	ch.plan.Settings = c.settings(b, d, "channel "+d.Name, nil)
	c.plan.Channels = append(c.plan.Channels, ch.plan)
}

func (c *checker) checkPeople() {
	for _, b := range c.of("person") {
		if b.ours() && b.Name.Given() && c.people[b.Name.Word()] == nil {
			c.people[b.Name.Word()] = b
			c.addPerson(b)
		}
	}
	if n := len(c.plan.People); n > maxPeople {
		last := c.of("person")[n-1]
		c.say("75", last.Name.Where(), facts{"what": "persons:", "n": trimmed(float64(n)), "max": trimmed(maxPeople), "why": "Call groups by their phone list."})
	}
	for _, t := range c.peopleMeant {
		if c.people[t.Word()] == nil {
			n := near(t.Word(), sortedKeys(c.people))
			c.say("22", t.Where(), facts{"what": "person", "name": t.Word(), "near": n, "why": orElse(n, "Persons: "+orNone(sortedKeys(c.people))+".")})
		}
	}
	for _, b := range c.of("watch") {
		if b.ours() && b.Name.Given() && c.watches[b.Name.Word()] == nil {
			c.watches[b.Name.Word()] = b
		}
	}
	for _, b := range c.of("watch") {
		if c.watches[b.Name.Word()] == b {
			c.addWatch(b)
		}
	}
	c.allWell()
}

func (c *checker) addPerson(b *block) {
	p := Person{Name: b.Name.Word(), Title: titleOf(b), Mail: placeOf(b, "mail"), Note: text(b, "note")}
	if l := line(b, "phone"); l != nil {
		if t, ok := valueToken(l); ok {
			p.Phone = t.Text()
			if !isPhone(t.Text()) {
				c.wrong(l, t.Where(), "")
			}
		}
	}
	if l := line(b, "mail"); l != nil {
		if user, host, found := strings.Cut(p.Mail, "@"); !found || user == "" || !strings.Contains(host, ".") || strings.ContainsAny(p.Mail, " <>") {
			t, _ := valueToken(l)
			c.wrong(l, t.Where(), "")
		}
	}
	p.Rights = c.word(b, "rights", []string{"owner", "technician", "crew", "reader", "auditor"}, "crew")
	languages := []string{"en", "es"}
	for _, w := range c.of("words") {
		if w.Name.Given() && !slices.Contains(languages, w.Name.Word()) {
			languages = append(languages, w.Name.Word())
		}
	}
	p.Language = c.word(b, "language", languages, c.plan.Site.Language)
	p.Choice, _ = c.show(b, c.plan.Site.Choice, "")
	if l := line(b, "by"); l != nil {
		p.By = c.channelsNamed(namesOf(l))
	}
	c.plan.People = append(c.plan.People, p)
}

// isPhone tells whether a number is written with its country: E.164 has at most 15 digits.
func isPhone(text string) bool {
	digits := strings.Map(func(r rune) rune {
		if r == ' ' || r == '-' || r == '(' || r == ')' {
			return -1
		}
		return r
	}, strings.TrimPrefix(text, "+"))
	return strings.HasPrefix(text, "+") && len(digits) >= 7 && len(digits) <= 15 && strings.Trim(digits, "0123456789") == "" && digits[0] != '0'
}

// channelsNamed says which channels are not set up.
func (c *checker) channelsNamed(tokens []syntax.Token) []string {
	var names []string
	for _, t := range tokens {
		name := t.Word()
		if c.channels[name] == nil {
			n := near(name, sortedKeys(c.channels))
			why := ""
			if c.words.channels[name] != nil {
				n, why = "", "Set it up with a block: channel "+name+"."
			} else if n == "" {
				why = "Channels: " + orNone(sortedKeys(c.channels)) + "."
			}
			c.say("22", t.Where(), facts{"what": "channel", "name": name, "near": n, "why": why})
			continue
		}
		names = append(names, name)
	}
	return names
}

const everyone = "everyone"

// peopleNamed reads persons and the channels by which they are called; by are those of the step before on the same line.
func (c *checker) peopleNamed(p *syntax.People, by []syntax.Token) (names, channels []string) {
	if len(p.By) > 0 {
		by = p.By
		channels = c.channelsNamed(p.By)
	} else {
		for _, t := range by {
			if c.channels[t.Word()] != nil {
				channels = append(channels, t.Word())
			}
		}
	}
	for _, t := range p.Names {
		name := t.Word()
		if name == everyone {
			for _, person := range c.plan.People {
				names = append(names, person.Name)
			}
			continue
		}
		b := c.people[name]
		if b == nil {
			n := near(name, append(sortedKeys(c.people), everyone))
			c.say("22", t.Where(), facts{"what": "person", "name": name, "near": n, "why": orElse(n, "Persons: "+orNone(sortedKeys(c.people))+".")})
			continue
		}
		names = append(names, name)
		c.reachable(b, t, by)
	}
	return names, channels
}

// reachable is message 74.
func (c *checker) reachable(b *block, t syntax.Token, by []syntax.Token) {
	for _, ch := range by {
		set := c.channels[ch.Word()]
		if set == nil {
			continue
		}
		if key := needsOf[set.plan.Kind]; key != "" && !b.Has(key) {
			c.say("74", t.Where(), facts{"person": t.Word(), "channel": ch.Word(), "key": key, "place": b.Name.Where().Position.String()})
		}
	}
}

func (c *checker) addWatch(b *block) {
	w := Watch{Name: b.Name.Word(), Title: titleOf(b), Repeat: repeatTime, Digest: -1, OnlyWhenNamed: flag(b, "only-when-named", false),
		Present: flag(b, "present", false), Note: text(b, "note")}
	for _, l := range b.Find("hours") {
		if h, ok := l.Value.(*syntax.Hours); ok {
			if span, ok := c.watchHours(l, h); ok {
				w.Hours = append(w.Hours, span)
			} else {
				c.noHours = true
			}
		}
	}
	c.noHours = c.noHours || len(w.Hours) == 0
	w.Steps = c.steps(b)
	if d, ok := c.duration(b, "repeat"); ok {
		w.Repeat = d
	}
	c.watchTakes(b, &w)
	if l := line(b, "digest"); l != nil {
		if t, ok := valueToken(l); ok {
			if minutes, ok := clockMinutes(t.Text()); ok {
				w.Digest = minutes % (24 * 60)
			} else {
				c.wrong(l, t.Where(), "")
			}
		}
	}
	c.plan.Watches = append(c.plan.Watches, w)
	if n := len(c.plan.Watches); n == maxWatches+1 {
		c.say("75", b.Name.Where(), facts{"what": "watches:", "n": trimmed(float64(n)), "max": trimmed(maxWatches), "why": "Join those of the same people."})
	}
}

func (c *checker) watchTakes(b *block, w *Watch) {
	w.Takes = []engine.Priority{engine.High, engine.Medium, engine.Low}
	if l := line(b, "takes"); l != nil {
		w.Takes = nil
		for _, t := range namesOf(l) {
			p, ok := priorityOf[t.Word()]
			if !ok {
				c.say("20", t.Where(), facts{"x": t.Text(), "list": strings.Join(priorities, ", "), "near": near(t.Word(), priorities), "meaning": keyOf(l).Sentence()})
				continue
			}
			w.Takes = append(w.Takes, p)
		}
	}
	for _, t := range namesOf(line(b, "areas")) {
		if c.areas[t.Word()] == nil && t.Word() != noArea {
			c.unknownArea(t)
			continue
		}
		w.Areas = append(w.Areas, t.Word())
	}
}

func (c *checker) watchHours(l *syntax.Line, h *syntax.Hours) (engine.Span, bool) {
	if h.Always.Given() {
		return engine.Span{From: 0, To: 24 * 60, Days: everyDay}, true
	}
	span, ok := c.span(h.Span)
	if !ok || len(h.Days) == 0 || h.Every.Given() {
		return span, ok
	}
	span.Days = [7]bool{}
	for _, t := range h.Days {
		if !addDays(&span.Days, t.Word()) {
			c.wrong(l, t.Where(), "")
			return span, false
		}
	}
	return span, true
}

// addDays reads mon, monday or mon-fri.
func addDays(days *[7]bool, word string) bool {
	from, to, isSpan := strings.Cut(word, "-")
	first := dayNumber(from)
	last := first
	if isSpan {
		last = dayNumber(to)
	}
	if first < 0 || last < 0 {
		return false
	}
	for d := first; ; d = (d + 1) % 7 {
		days[d] = true
		if d == last {
			return true
		}
	}
}

func dayNumber(word string) int {
	long := []string{"sunday", "monday", "tuesday", "wednesday", "thursday", "friday", "saturday"}
	return slices.IndexFunc(long, func(d string) bool { return word == d || word == d[:3] })
}

// steps reads call and after. In the one-line form a step without channels is called by those of the step before.
func (c *checker) steps(b *block) []Step {
	var (
		steps []Step
		last  time.Duration
		by    []syntax.Token
		row   int
	)
	for _, l := range b.Lines {
		if l.Refused {
			continue
		}
		if l.Key.Line() != row {
			by, row = nil, l.Key.Line()
		}
		switch v := l.Value.(type) {
		case *syntax.People:
			if l.Key.Word() == "call" {
				names, channels := c.peopleNamed(v, by)
				steps = append(steps, Step{People: names, By: channels})
				by = orKeep(v.By, by)
			}
		case *syntax.Step:
			after, ok := c.time(l, v.After)
			if ok && after <= last {
				c.say("73", v.After.Where(), facts{"y": "after " + printedTime((last + 5*time.Minute).Seconds()) + " …"})
				ok = false
			}
			names, channels := c.peopleNamed(&v.People, by)
			by = orKeep(v.By, by)
			if ok {
				last = after
				steps = append(steps, Step{After: after, People: names, By: channels})
			}
		}
	}
	if len(steps) > maxSteps {
		c.say("75", b.Name.Where(), facts{"what": "steps of a watch:", "n": trimmed(float64(len(steps))), "max": trimmed(maxSteps), "why": "Call several people in one step."})
	}
	return steps
}

func orKeep(by, before []syntax.Token) []syntax.Token {
	if len(by) > 0 {
		return by
	}
	return before
}

// allWell reads whom the outside watcher tells each day that all is well.
func (c *checker) allWell() {
	for _, b := range c.of("outside-watcher") {
		l := line(b, "all-well")
		if l == nil || !b.ours() || c.plan.Watcher == nil {
			continue
		}
		d, ok := l.Value.(*syntax.Daily)
		if !ok {
			continue
		}
		if minutes, ok := clockMinutes(d.At.Text()); ok {
			c.plan.Watcher.AllWell = minutes % (24 * 60)
		}
		c.plan.Watcher.People, c.plan.Watcher.By = c.peopleNamed(&d.People, nil)
	}
}
