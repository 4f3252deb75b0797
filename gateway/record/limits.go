package record

import (
	"cmp"
	"context"
	"encoding/json"
	"slices"
	"time"

	"millwarden/gateway/logbook"
	"millwarden/rules/check"
	"millwarden/rules/engine"
)

// InForce are the limits of a rules file, as the gateway writes them down with every change of the rules, so that a record shows those that held then.
type InForce struct {
	Rules  string       `json:"rules"` // hash of the rules file
	Limits []RulesLimit `json:"limits"`
}

// RulesLimit is one limit of an alarm, in base units.
type RulesLimit struct {
	Point    string  `json:"point"`
	Alarm    string  `json:"alarm"`
	Value    float64 `json:"value"`
	Above    bool    `json:"above,omitempty"`    // abnormal above it
	Critical bool    `json:"critical,omitempty"` // of the Codex plan
	Alone    bool    `json:"alone,omitempty"`    // the alarm hangs on this point and no other
	Title    string  `json:"title"`
	Source   string  `json:"source,omitempty"`
}

// InForceOf gives the limits of a plan.
func InForceOf(plan *check.Plan) InForce {
	now := InForce{Rules: plan.Hash, Limits: []RulesLimit{}}
	for i := range plan.Points {
		p := &plan.Points[i]
		for _, l := range p.Limits {
			if l.Kind == engine.KindAlarm {
				now.Limits = append(now.Limits, RulesLimit{Point: p.Name, Alarm: l.Alarm, Value: l.Value, Above: l.Above, Critical: l.Critical, Alone: alone(plan, l.Alarm, p.Name),
					Title: limitTitle(l), Source: limitSource(plan, l)})
			}
		}
	}
	return now
}

// Same tells whether two rules files have the same limits and the same hash.
func (f *InForce) Same(o *InForce) bool {
	return f.Rules == o.Rules && slices.Equal(f.Limits, o.Limits)
}

// changesAtOnce is how many changes of the rules are read at a time, each with the text of two rules files.
const changesAtOnce = 20

// LastInForce gives what was written down last; false: nothing was.
func LastInForce(ctx context.Context, book Logbook) (InForce, bool, error) {
	list, err := since(ctx, book, time.Time{}, true)
	if err != nil || len(list) == 0 {
		return InForce{}, false, err
	}
	return list[len(list)-1].InForce, true, nil
}

// ruling is what was in force from a time on.
type ruling struct {
	From time.Time
	InForce
	printed bool // not on record: what holds at printing stands for it
}

// since reads what was in force from a time to now, oldest first, or no more than the last.
func since(ctx context.Context, book Logbook, from time.Time, last bool) (list []ruling, err error) {
	before := int64(0)
	for {
		entries, err := book.Entries(ctx, logbook.Filter{Kinds: []logbook.Kind{logbook.RulesChange}, Before: before, Limit: changesAtOnce, Newest: true})
		if err != nil {
			return nil, err
		}
		for i := range entries {
			e := &entries[i]
			before = e.ID
			r := ruling{From: e.At.Wall}
			if json.Unmarshal(e.Data, &r.InForce) != nil || r.Rules == "" {
				continue // a file that was refused, or an entry of an older program
			}
			list = append(list, r)
			if last || !r.From.After(from) {
				slices.Reverse(list)
				return list, nil
			}
		}
		if len(entries) < changesAtOnce {
			slices.Reverse(list)
			return list, nil
		}
	}
}

// ruled reads what was in force while the lot was on its way. What was before the first that is on record is taken from the rules of now, and said to be.
func (r *Record) ruled(ctx context.Context, s Sources) error {
	list, err := since(ctx, s.Logbook, r.From, false)
	if err != nil {
		return err
	}
	if len(list) == 0 || list[0].From.After(r.From) {
		now := ruling{From: r.From, InForce: InForceOf(s.Plan), printed: true}
		list = slices.Insert(list, 0, now)
	}
	for len(list) > 1 && list[len(list)-1].From.After(r.To) {
		list = list[:len(list)-1]
	}
	r.rulings = list
	return nil
}

// limits gives the limits of a point that held between two times.
func (r *Record) limits(point string, from, to time.Time) (list []Limit) {
	for i := range r.rulings {
		begins, ends := later(from, r.rulings[i].From), to
		if i == 0 {
			begins = from
		}
		if i+1 < len(r.rulings) && r.rulings[i+1].From.Before(ends) {
			ends = r.rulings[i+1].From
		}
		if !ends.After(begins) {
			continue
		}
		for _, l := range r.rulings[i].Limits {
			if l.Point == point && l.Alone {
				list = held(list, Limit{Value: l.Value, Above: l.Above, Critical: l.Critical, Title: l.Title, Source: l.Source, From: begins, To: ends})
			}
		}
	}
	slices.SortStableFunc(list, func(a, b Limit) int { return cmp.Or(a.From.Compare(b.From), boolOrder(a.Critical, b.Critical)) })
	return list
}

// held lengthens a limit that goes on, or begins another.
func held(list []Limit, l Limit) []Limit {
	for i := range list {
		o := list[i]
		if o.To.Equal(l.From) && o.Value == l.Value && o.Above == l.Above && o.Critical == l.Critical && o.Title == l.Title && o.Source == l.Source {
			list[i].To = l.To
			return list
		}
	}
	return append(list, l)
}

func boolOrder(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

// limitOf is the action limit of an alarm at a time.
func (r *Record) limitOf(alarm string, at time.Time) (RulesLimit, bool) {
	for i := len(r.rulings) - 1; i >= 0; i-- {
		if i > 0 && r.rulings[i].From.After(at) {
			continue
		}
		for _, l := range r.rulings[i].Limits {
			if l.Alarm == alarm && !l.Critical {
				return l, true
			}
		}
		break
	}
	return RulesLimit{}, false
}

// Unruled is until when the record does not say which limits held; zero: it says it for the whole way.
func (r *Record) Unruled() time.Time {
	switch {
	case len(r.rulings) == 0 || !r.rulings[0].printed:
		return time.Time{}
	case len(r.rulings) == 1:
		return r.To
	}
	return r.rulings[1].From
}

// Ruled lists from when on which rules held, as far as that is on record.
func (r *Record) Ruled() (list []Line) {
	for i := range r.rulings {
		if f := &r.rulings[i]; !f.printed {
			list = append(list, Line{At: later(r.From, f.From), Text: f.Rules})
		}
	}
	return list
}
