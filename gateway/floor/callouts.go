package floor

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net"
	"slices"
	"time"

	"millwarden/gateway/callout"
	"millwarden/gateway/callout/mail"
	"millwarden/gateway/callout/push"
	"millwarden/gateway/callout/siren"
	"millwarden/gateway/callout/text"
	"millwarden/gateway/callout/webhook"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/rules/check"
	"millwarden/rules/engine"
)

// ChannelDeclares is what channels may say in a rules file.
func ChannelDeclares() string {
	return mail.Declares + siren.Declares + text.Declares + webhook.Declares + push.Declares
}

// RosterOf is the plan's people and watches, without the channels.
func RosterOf(plan *check.Plan) callout.Roster {
	roster := callout.Roster{Site: plan.Site.Title, Zone: plan.Site.Zone, Language: plan.Site.Language}
	for _, p := range plan.People {
		roster.People = append(roster.People, callout.Person{Name: p.Name, Title: p.Title, Phone: p.Phone, Mail: p.Mail, By: p.By, Language: p.Language, Choice: p.Choice})
	}
	for _, w := range plan.Watches {
		watch := callout.Watch{Name: w.Name, Hours: w.Hours, Repeat: w.Repeat, Takes: w.Takes, Areas: w.Areas, OnlyWhenNamed: w.OnlyWhenNamed, Digest: w.Digest}
		for _, s := range w.Steps {
			watch.Steps = append(watch.Steps, callout.Step(s))
		}
		roster.Watches = append(roster.Watches, watch)
	}
	for _, w := range plan.Words {
		roster.Said = append(roster.Said, callout.Translation{Language: w.Language, Alarm: w.Alarm, Title: w.Title, Cause: w.Cause, Consequence: w.Consequence, Action: w.Action, Caution: w.Caution})
	}
	return roster
}

func (f *Floor) buildCallout() error {
	all, err := f.recallSwaps(context.Background())
	if err != nil {
		f.log.Error("the record does not tell who stands in for whom: the rules file alone counts", "cause", err)
	}
	roster := RosterOf(f.plan().Plan)
	roster.Swaps = f.takeSwaps(all, f.clock.Now())
	for i := range f.plan().Channels {
		roster.Ways = append(roster.Ways, f.way(&f.plan().Channels[i]))
	}
	f.callout, err = callout.New(callout.Options{Roster: roster, Clock: f.clock, Journal: journal{f}, Tokens: tokens{f.logbook, f.clock.Now}, LinkBase: linkBase(f.plan().Page, f.listen())})
	if err != nil {
		return err
	}
	f.parts = append(f.parts, &part{name: "callout", run: f.callout.Run, vital: true})
	return nil
}

// way opens a channel of the rules file. One that this version has no code for stands there all the same, and says that it does not work.
func (f *Floor) way(c *check.Channel) callout.Way {
	way := callout.Way{Name: c.Name, Shared: c.Kind == "siren", Reaches: reaches[c.Kind]}
	if given := f.o.Channels[c.Name]; given != nil {
		way.Channel = given
		return way
	}
	var err error
	switch c.Kind {
	case "mail":
		way.Channel, err = f.mail(c)
	case "siren":
		way.Channel, err = f.siren(c)
	case "text":
		way.Channel, err = f.textMessages(c)
	case "webhook":
		way.Channel, err = f.webhook(c)
	case "push":
		way.Channel, way.Reaches, err = f.pushes(c)
	default:
		f.log.Warn("this version cannot use a channel of the rules file", "channel", c.Name, "kind", c.Kind)
		way.Channel = callout.NotHere{Kind: c.Kind}
	}
	if err != nil {
		// One channel that cannot be set up must not keep the others, and the watch, from starting.
		f.log.Error("a channel cannot be used", "channel", c.Name, "cause", err)
		f.write(logbook.Entry{Kind: logbook.Fault, Place: c.Name, Text: "the channel cannot be used: " + err.Error()})
		way.Channel = broken{err}
		f.brokenChannels[c.Name] = true
	}
	return way
}

// broken is a channel that could not be set up: its settings or its credential are wrong.
type broken struct{ err error }

func (b broken) Send(context.Context, callout.Message) error {
	return &callout.Failure{Final: true, Err: b.err}
}

// reaches tells whom a kind of channel can reach; what is not here reaches everybody.
var reaches = map[string]func(*callout.Person) bool{
	"mail": func(p *callout.Person) bool { return p.Mail != "" },
	"text": func(p *callout.Person) bool { return p.Phone != "" },
}

func (f *Floor) mail(c *check.Channel) (callout.Channel, error) {
	o := mail.Options{Server: word(c.Settings, "server"), Sender: word(c.Settings, "sender"), Security: mail.Security(word(c.Settings, "security")),
		Name: f.plan().Site.Title, Zone: f.plan().Site.Zone, Clock: f.clock, Roots: f.o.MailRoots}
	if name := word(c.Settings, "credential"); name != "" {
		var err error
		if o.Credential, err = f.o.Credential(name); err != nil {
			return nil, err
		}
	}
	return mail.New(o)
}

func (f *Floor) webhook(c *check.Channel) (callout.Channel, error) {
	secret, err := f.o.Credential(word(c.Settings, "credential"))
	if err != nil {
		return nil, err
	}
	return webhook.New(webhook.Options{Address: word(c.Settings, "address"), Secret: secret, Clock: f.clock})
}

// word is the first slot of a line, "" if there is none.
func word(lines phrase.Lines, key string) string {
	if line, found := lines.Find(key); found && len(line.Slots) > 0 {
		return line.Slots[0].Text
	}
	return ""
}

// linkBase is the address of the page in messages: the name given to it, else where it listens, at the port on which it listens; the name may say another, where a router passes it on.
// "": nothing says how a telephone gets there.
func linkBase(p check.Page, listen string) string {
	scheme, usual := "http://", "80"
	if p.Certificate != "" {
		scheme, usual = "https://", "443"
	}
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return ""
	}
	if name, its, err := net.SplitHostPort(p.Name); err == nil {
		host, port = name, its
	} else if p.Name != "" {
		host = p.Name
	}
	switch ip := net.ParseIP(host); {
	case host == "" || ip != nil && ip.IsUnspecified():
		return ""
	case port != usual:
		host = net.JoinHostPort(host, port)
	case ip != nil && ip.To4() == nil:
		host = "[" + host + "]"
	}
	return scheme + host
}

// look shows the callout what stands.
func (f *Floor) look() {
	f.deciding.Lock()
	f.looking = f.engine.Standings(f.looking[:0])
	f.deciding.Unlock()
	f.callout.Look(f.looking, f.clock.Now())
}

// journal is the logbook as the callout needs it.
type journal struct{ f *Floor }

func (j journal) Write(lines ...callout.Line) error {
	entries := make([]logbook.Entry, 0, len(lines))
	for i := range lines {
		e, err := j.entry(&lines[i])
		if err != nil {
			return err
		}
		entries = append(entries, e)
	}
	_, err := j.f.logbook.Write(entries...)
	j.f.links.logbookFault.Store(err != nil)
	return err
}

// entry is one line as the logbook keeps it.
func (j journal) entry(l *callout.Line) (logbook.Entry, error) {
	data, err := json.Marshal(l)
	if err != nil {
		return logbook.Entry{}, fmt.Errorf("encoding a line of the callout: %w", err)
	}
	kind := logbook.Receipt
	if l.Event == callout.Try {
		kind = logbook.Message
		j.f.noteCalls(*l)
	}
	j.f.noteDrill(l)
	if l.Event == callout.Accepted {
		j.f.countHandOver(*l)
	}
	text := l.Text
	if text == "" {
		text = l.Event + " to " + l.Person + " by " + l.Channel
	}
	return logbook.Entry{At: l.At, Kind: kind, Alarm: l.Alarm, Occurrence: l.Occurrence, Place: l.Place, Who: l.Person, Why: l.Event, Text: text, Data: data}, nil
}

func (j journal) Tries(alarm string, occurrence int64) ([]callout.Line, error) {
	lines, err := j.lines(alarm, occurrence)
	for _, l := range lines {
		if l.Event == callout.Try {
			j.f.noteCalls(l)
		}
	}
	return lines, err
}

// queryWait bounds a question to the logbook; chosen: the page asks every second.
const queryWait = 2 * time.Second

func (j journal) lines(alarm string, occurrence int64) ([]callout.Line, error) {
	ctx, cancel := context.WithTimeout(context.Background(), queryWait)
	defer cancel()
	entries, err := j.f.logbook.OfOccurrence(ctx, alarm, occurrence)
	if err != nil {
		return nil, err
	}
	lines := make([]callout.Line, 0, len(entries))
	for _, e := range entries {
		if e.Kind != logbook.Message && e.Kind != logbook.Receipt || len(e.Data) == 0 { // without data: what the network says of a delivery
			continue
		}
		var l callout.Line
		if err := json.Unmarshal(e.Data, &l); err != nil {
			return lines, fmt.Errorf("logbook entry %d is no line of the callout: %w", e.ID, err)
		}
		lines = append(lines, l)
	}
	return lines, nil
}

// tokens keeps the answer links in the logbook.
type tokens struct {
	book *logbook.Logbook
	now  func() reading.Stamp
}

func (t tokens) KeepToken(k callout.Token) error {
	return t.book.KeepToken(logbook.Token{Hash: k.Hash, Alarm: k.Alarm, Occurrence: k.Occurrence, Person: k.Person, Title: k.Title, Expires: k.Expires}, t.now().Wall)
}

func (t tokens) FindToken(hash [32]byte) (callout.Token, error) {
	ctx, cancel := context.WithTimeout(context.Background(), queryWait)
	defer cancel()
	k, err := t.book.FindToken(ctx, hash, t.now().Wall)
	return callout.Token{Hash: k.Hash, Alarm: k.Alarm, Occurrence: k.Occurrence, Person: k.Person, Title: k.Title, Expires: k.Expires}, err
}

// Answer finds what the link of a message stands for.
func (f *Floor) Answer(token string) (web.Answer, bool) {
	t, expired, ok := f.callout.Answer(token)
	return web.Answer{Alarm: t.Alarm, Occurrence: t.Occurrence, Person: t.Person, Title: t.Title, Drill: t.Alarm == callout.DrillAlarm, Expired: expired}, ok
}

func (f *Floor) channelWorks(name string) bool {
	works, _ := f.channelState(name)
	return works
}

// channelState tells also why a channel does not work; "" is not known.
func (f *Floor) channelState(name string) (works bool, cause string) {
	if f.brokenChannels[name] {
		return false, "it could not be set up: see the logbook"
	}
	for _, c := range f.callout.Channels(f.clock.Now()) {
		if c.Name == name {
			return c.Works, c.Because
		}
	}
	return false, ""
}

// addCalls shows who was called for an occurrence, and who is next. What the logbook cannot tell is left out.
func (f *Floor) addCalls(shown *web.Alarm, st *engine.Standing) {
	if st.Occurrence == 0 || st.State == engine.Normal {
		return
	}
	for _, l := range f.called[callsOf{st.Alarm.ID, st.Occurrence}] {
		shown.Calls = append(shown.Calls, web.Call{Person: f.personTitle(l.Person), Channel: l.Channel, At: l.At})
	}
	if st.State != engine.Unacknowledged {
		return
	}
	now := f.clock.Now()
	for _, n := range f.callout.Coming(st) {
		at := now
		at.Mono, at.Wall = n.At, now.Wall.Add(n.At-now.Mono)
		shown.Next = append(shown.Next, web.Call{Person: f.personTitle(n.Person), Channel: n.Channel, At: at})
	}
}

// callsOf names one occurrence.
type callsOf struct {
	alarm      string
	occurrence int64
}

// What the page remembers of calls; chosen: more occurrences than stand at once, and of one that nobody answers all night the newest calls.
const (
	calledMost = 128
	callsKept  = 48
)

// annunciatedMost bounds the occurrences of which no message is handed over yet; chosen: far more than can stand at once.
const annunciatedMost = 512

// noteCalls remembers tries for the page.
func (f *Floor) noteCalls(lines ...callout.Line) {
	f.deciding.Lock()
	defer f.deciding.Unlock()
	for _, l := range lines {
		k := callsOf{l.Alarm, l.Occurrence}
		f.called[k] = append(f.called[k], l)
		f.called[k] = slices.Delete(f.called[k], 0, max(0, len(f.called[k])-callsKept))
	}
	for len(f.called) > calledMost { // occurrences are numbered as they come
		oldest := slices.MinFunc(slices.Collect(maps.Keys(f.called)), func(a, b callsOf) int { return cmp.Compare(a.occurrence, b.occurrence) })
		delete(f.called, oldest)
	}
}

// roster is who is on watch now.
func (f *Floor) roster(now reading.Stamp) web.Roster {
	var r web.Roster
	plan := f.plan().Plan
	local := now.Wall.In(plan.Site.Zone)
	for i, w := range f.rosterOf(plan).At(now) {
		if w.OnlyWhenNamed || now.Set && !callout.OnDuty(w.Hours, local) {
			continue
		}
		r.Watches = append(r.Watches, plan.Watches[i].Title)
		if len(w.Steps) == 0 {
			continue
		}
		for _, name := range w.Steps[0].People {
			if title := f.personTitle(name); !slices.Contains(r.OnWatch, title) {
				r.OnWatch = append(r.OnWatch, title)
			}
		}
	}
	return r
}
