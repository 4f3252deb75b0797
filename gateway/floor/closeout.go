package floor

import (
	"cmp"
	"context"
	"encoding/json"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/rules/engine"
)

// What it was and what was done is asked afterwards, when an alarm has returned and somebody has acknowledged it: at night nobody writes, and the next
// night somebody wants to know. It is a note in the logbook with the alarm and its occurrence.

const (
	// closeOutFor is how long is asked. Chosen: over a day off; later nobody remembers.
	closeOutFor = 48 * time.Hour
	// closeOutMost bounds the list, closeOutLook the lines that it is folded from. Chosen: more nobody answers, and two days of a bad week.
	closeOutMost = 20
	closeOutLook = 5000
)

// closeOuts is the list of what is asked, folded again once something has happened.
type closeOuts struct {
	stale atomic.Bool

	mu   sync.Mutex // guards list
	list []web.Closing
}

// ended is one occurrence as its lines tell it.
type ended struct {
	web.Closing
	acknowledged, over, noted bool
}

// fold takes the next line about the occurrence.
func (o *ended) fold(e *logbook.Entry) {
	if e.Kind == logbook.Note {
		o.noted = true
		return
	}
	var s struct{ Event, From, To string }
	if json.Unmarshal(e.Data, &s) != nil {
		return
	}
	if o.From == 0 {
		o.From = e.At.Wall.UnixMilli()
	}
	if s.Event == engine.Acknowledge.String() {
		o.acknowledged, o.Who = true, e.Who
	}
	o.over = s.To == engine.Normal.String() && s.Event != engine.Withdraw.String()
	if o.over {
		o.To = e.At.Wall.UnixMilli()
	}
}

// Closings tells which occurrences are over, acknowledged, and not yet noted: of each alarm the newest.
func (b books) Closings(ctx context.Context) ([]web.Closing, error) {
	c := &b.f.closeOuts
	c.mu.Lock()
	defer c.mu.Unlock()
	now := b.f.clock.Now()
	if c.stale.Swap(false) || c.list == nil {
		list, err := b.foldClosings(ctx, now.Wall.Add(-closeOutFor))
		if err != nil {
			c.stale.Store(true)
			return nil, err
		}
		c.list = list
	}
	oldest := now.Wall.Add(-closeOutFor).UnixMilli()
	return slices.DeleteFunc(slices.Clone(c.list), func(o web.Closing) bool { return o.To < oldest }), nil
}

func (b books) foldClosings(ctx context.Context, from time.Time) ([]web.Closing, error) {
	entries, err := b.f.logbook.Entries(ctx, logbook.Filter{Kinds: []logbook.Kind{logbook.Transition, logbook.Note}, From: from, Limit: closeOutLook, Newest: true})
	if err != nil {
		return nil, err
	}
	alarms, newest := b.alarms(), map[string]*ended{}
	for i := len(entries) - 1; i >= 0; i-- {
		e := &entries[i]
		a := alarms[e.Alarm]
		if e.Occurrence == 0 || a == nil || a.Kind != engine.KindAlarm {
			continue
		}
		o := newest[e.Alarm]
		if o == nil || o.Occurrence < e.Occurrence {
			o = &ended{Closing: web.Closing{Alarm: e.Alarm, Occurrence: e.Occurrence, Title: cmp.Or(a.Title, a.Name), Place: cmp.Or(a.PlaceTitle, a.Place), Station: b.f.stationNamed(a.Place)}}
			newest[e.Alarm] = o
		}
		if o.Occurrence == e.Occurrence {
			o.fold(e)
		}
	}
	list := []web.Closing{}
	for _, o := range newest {
		if o.acknowledged && o.over && !o.noted {
			o.Who = b.f.personTitle(o.Who)
			list = append(list, o.Closing)
		}
	}
	slices.SortFunc(list, func(x, y web.Closing) int { return cmp.Or(cmp.Compare(y.To, x.To), strings.Compare(x.Alarm, y.Alarm)) })
	return list[:min(len(list), closeOutMost)], nil
}

// closeOut writes down what an alarm was and what was done. The same said twice is written once.
func (f *Floor) closeOut(ctx context.Context, a web.Act) error {
	entries, err := f.logbook.Entries(ctx, logbook.Filter{Kinds: []logbook.Kind{logbook.Transition, logbook.Note}, Alarm: a.Alarm, Occurrence: a.Occurrence})
	if err != nil {
		return err
	}
	text := sentences(a.What, a.Why)
	var o ended
	for i := range entries {
		if e := &entries[i]; e.Kind == logbook.Note && e.Text == text && e.Who == a.By {
			return nil
		}
		o.fold(&entries[i])
	}
	switch {
	case len(entries) == 0:
		return &web.Refusal{Kind: web.RefusedUnknown, Says: "There is no such occurrence of that alarm."}
	case !o.acknowledged || !o.over:
		return &web.Refusal{Kind: web.RefusedState, Says: "It is not over: the note comes after it has returned and somebody has acknowledged it."}
	}
	place := entries[0].Place
	data, err := json.Marshal(struct {
		Was  string `json:"was"`
		Done string `json:"done,omitempty"`
	}{a.What, a.Why})
	if err != nil {
		return err
	}
	_, err = f.logbook.Write(logbook.Entry{At: f.clock.Now(), Kind: logbook.Note, Alarm: a.Alarm, Occurrence: a.Occurrence, Place: place, Lot: f.lotThen(ctx, place, entries[0].At.Wall),
		Who: a.By, Text: text, Data: data})
	f.closeOuts.stale.Store(true)
	return err
}

// sentences are texts of a person, each as a sentence.
func sentences(texts ...string) string {
	var out []string
	for _, text := range texts {
		if text = strings.TrimSpace(text); text != "" && !strings.ContainsAny(text[len(text)-1:], ".!?") {
			text += "."
		}
		if text != "" {
			out = append(out, text)
		}
	}
	return strings.Join(out, " ")
}

// lotThen is the lot that stood at a place at a time; "" none, or the record does not tell.
func (f *Floor) lotThen(ctx context.Context, place string, at time.Time) string {
	station := f.stationNamed(place)
	if station == "" {
		return ""
	}
	stays, err := f.logbook.Stays(ctx, station, "")
	if err != nil {
		return ""
	}
	for i := range stays {
		if s := &stays[i]; !at.Before(s.From.Wall) && (!s.Ended || at.Before(s.To.Wall)) {
			return s.Lot
		}
	}
	return ""
}
