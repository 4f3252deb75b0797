// Package rates reckons how much an alarm system asks of its people: the metrics of ISA-18.2 clause 16 and IEC 62682 as far as the record of
// transitions alone can tell, with the definitions of flood, chattering, fleeting and stale as the trade repeats them. A pure function of rows.
//
// Concurrency: values.
package rates

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// Row is one transition of one alarm, or one change of the rules (then Alarm is ""), as the logbook keeps it.
type Row struct {
	At          time.Time
	Alarm       string
	Priority    string // "" unknown
	Annunciated bool   // it called: it became unacknowledged
	Active      bool   // after it, the alarm stands and is not hidden
	Safety      bool   // the alarm is of class safety
	Hidden      bool   // it was shelved or taken out of service
	By          string // the person who did it; "" nobody, or nobody who was named
}

// changed tells whether the row alters what people are told: a suppression or an attribute.
func (r *Row) changed() bool { return r.Hidden || r.Alarm == "" }

// Rates are the figures of a stretch of time. Shares go from 0 to 1.
type Rates struct {
	From, To        time.Time
	Enough          bool // at least 30 days: less is too little to judge by
	Annunciated     int
	PerDay, PerHour float64
	PerTen          float64 // in 10 min
	BusyHours       float64 // share of hours with more than 30
	BusyTens        float64 // share of 10-min periods with more than 10
	MostInTen       int     // in any 10 min, wherever they begin
	Floods          int
	InFlood         float64 // share of time
	Top             []Count // the ten most frequent
	TopShare        float64 // their share of all
	Chattering      []Count // came at least three times within a minute; how often they did
	Fleeting        int     // gone within seconds, and did not come again at once
	Stale           []Count // stood for more than a day; on how many days
	MostStale       int     // on any day
	StaleSafety     int     // of them of class safety, most on any day
	Priorities      map[string]int
	NightCalls      int // between 21:00 and 05:00; those within 10 min wake once
	NightsActed     int // of NightCalls: after which a person acted on one of their alarms before it called again
	Nights          int
	Changes         int // suppressions by people, and changes of the rules
	Unnamed         int // of them by nobody named, which is as near as a record comes to "not authorised"
}

// Count is how often something was so.
type Count struct {
	Alarm string
	Times int
}

// Definitions. [ISA-18.2-2016 16.5, as repeated by the trade: flood, chattering, stale; from memory of secondary texts]
const (
	ten         = 10 * time.Minute
	floodBegins = 10 // more than so many in 10 min
	floodEnds   = 5  // fewer than so many
	busyHour    = 30
	chatterIn   = time.Minute
	chatterFrom = 3
	staleAfter  = 24 * time.Hour
	// fleetingIn and againIn: "clears by itself within seconds", "does not repeat at once". chosen: 10 s and a minute.
	fleetingIn = 10 * time.Second
	againIn    = time.Minute
	enough     = 30 * 24 * time.Hour
	topMost    = 10
	nightFrom  = 21 // o'clock, by the site's clock; chosen: the hours in which a call wakes
	nightTo    = 5
)

// Of reckons the figures of the rows from one time to another; zone is the site's. Rows before from tell what stood at its beginning.
func Of(rows []Row, from, to time.Time, zone *time.Location) Rates {
	r := Rates{From: from, To: to, Enough: to.Sub(from) >= enough, Priorities: map[string]int{}}
	rows = slices.Clone(rows)
	slices.SortStableFunc(rows, func(a, b Row) int { return a.At.Compare(b.At) })
	rows = slices.DeleteFunc(rows, func(row Row) bool { return !row.At.Before(to) })
	var calls []time.Time
	by := map[string][]time.Time{}
	for i := range rows {
		row := &rows[i]
		if row.At.Before(from) {
			continue
		}
		if row.Annunciated {
			calls = append(calls, row.At)
			by[row.Alarm] = append(by[row.Alarm], row.At)
			r.Priorities[row.Priority]++
		}
		if row.changed() {
			r.Changes++
			if row.By == "" {
				r.Unnamed++
			}
		}
	}
	r.frequency(calls)
	r.floods(calls)
	r.frequent(by)
	r.standing(rows)
	r.nights(rows, zone)
	return r
}

func (r *Rates) frequency(calls []time.Time) {
	span := r.To.Sub(r.From)
	r.Annunciated = len(calls)
	if span <= 0 {
		return
	}
	n := float64(len(calls))
	r.PerDay, r.PerHour, r.PerTen = n/(span.Hours()/24), n/span.Hours(), n/(span.Minutes()/10)
	r.BusyHours = r.share(calls, time.Hour, busyHour)
	r.BusyTens = r.share(calls, ten, floodBegins)
	first := 0
	for i, at := range calls {
		for at.Sub(calls[first]) >= ten {
			first++
		}
		r.MostInTen = max(r.MostInTen, i-first+1)
	}
}

// share is that of whole periods, from the beginning on, with more than most calls.
func (r *Rates) share(calls []time.Time, period time.Duration, most int) float64 {
	counts := map[int]int{}
	for _, at := range calls {
		counts[int(at.Sub(r.From)/period)]++
	}
	busy := 0
	for _, n := range counts {
		if n > most {
			busy++
		}
	}
	periods := max(1, int((r.To.Sub(r.From)+period-1)/period))
	return float64(busy) / float64(periods)
}

// floods follows the count of the last 10 min: it rises with a call and falls 10 min after it. What comes and goes at one instant is counted before it is judged.
func (r *Rates) floods(calls []time.Time) {
	var total time.Duration
	var since time.Time
	flood := false
	come, gone := 0, 0
	for gone < len(calls) {
		at := calls[gone].Add(ten)
		if come < len(calls) && calls[come].Before(at) {
			at = calls[come]
		}
		if !at.Before(r.To) {
			break
		}
		for ; come < len(calls) && calls[come].Equal(at); come++ {
		}
		for ; gone < come && !calls[gone].Add(ten).After(at); gone++ {
		}
		switch last := come - gone; {
		case !flood && last > floodBegins:
			flood, since = true, at
			r.Floods++
		case flood && last < floodEnds:
			flood, total = false, total+at.Sub(since)
		}
	}
	if flood {
		total += r.To.Sub(since)
	}
	if span := r.To.Sub(r.From); span > 0 {
		r.InFlood = float64(total) / float64(span)
	}
}

func (r *Rates) frequent(by map[string][]time.Time) {
	for alarm, times := range by {
		r.Top = append(r.Top, Count{alarm, len(times)})
		chatters := 0
		for i := chatterFrom - 1; i < len(times); i++ {
			if times[i].Sub(times[i-chatterFrom+1]) <= chatterIn { // the whole minute, both its ends
				chatters++
			}
		}
		if chatters > 0 {
			r.Chattering = append(r.Chattering, Count{alarm, chatters})
		}
	}
	sortCounts(r.Top)
	sortCounts(r.Chattering)
	r.Top = r.Top[:min(topMost, len(r.Top))]
	for _, c := range r.Top {
		r.TopShare += float64(c.Times)
	}
	if r.Annunciated > 0 {
		r.TopShare /= float64(r.Annunciated)
	}
}

func sortCounts(list []Count) {
	slices.SortFunc(list, func(a, b Count) int { return cmp.Or(b.Times-a.Times, strings.Compare(a.Alarm, b.Alarm)) })
}

// standing follows each alarm from coming to going: what fleets, and what has stood for more than a day.
func (r *Rates) standing(rows []Row) {
	since := map[string]time.Time{}
	called := map[string]time.Time{}
	fleeted := map[string]time.Time{}
	stale := map[string]map[int]bool{}
	went := func(alarm string, to time.Time) {
		first := since[alarm].Add(staleAfter)
		if first.Before(r.From) {
			first = r.From
		}
		for day := int(first.Sub(r.From) / staleAfter); first.Before(to) && r.From.Add(time.Duration(day)*staleAfter).Before(to); day++ {
			if stale[alarm] == nil {
				stale[alarm] = map[int]bool{}
			}
			stale[alarm][day] = true
		}
		delete(since, alarm)
	}
	for _, row := range rows {
		begin, stood := since[row.Alarm]
		switch {
		case row.Active && !stood:
			since[row.Alarm] = row.At
		case !row.Active && stood:
			if at := called[row.Alarm]; at.Equal(begin) && row.At.Sub(at) <= fleetingIn && !at.Before(r.From) {
				r.Fleeting++
				fleeted[row.Alarm] = row.At
			}
			went(row.Alarm, row.At)
		}
		if row.Annunciated {
			if at, was := fleeted[row.Alarm]; was && row.At.Sub(at) < againIn {
				r.Fleeting--
			}
			delete(fleeted, row.Alarm)
			called[row.Alarm] = row.At
		}
	}
	for alarm := range since {
		went(alarm, r.To)
	}
	safety := map[string]bool{}
	for i := range rows {
		safety[rows[i].Alarm] = rows[i].Safety
	}
	r.countStale(stale, safety)
}

func (r *Rates) countStale(stale map[string]map[int]bool, safety map[string]bool) {
	perDay, safetyPerDay := map[int]int{}, map[int]int{}
	for alarm, days := range stale {
		r.Stale = append(r.Stale, Count{alarm, len(days)})
		for day := range days {
			perDay[day]++
			r.MostStale = max(r.MostStale, perDay[day])
			if safety[alarm] {
				safetyPerDay[day]++
				r.StaleSafety = max(r.StaleSafety, safetyPerDay[day])
			}
		}
	}
	sortCounts(r.Stale)
}

// nights counts what woke people. Calls within 10 min of each other wake once.
func (r *Rates) nights(rows []Row, zone *time.Location) {
	var last time.Time
	woke := map[string]int{} // by alarm that waits for an act: the number of its wake-up
	acted := map[int]bool{}
	for i := range rows {
		row := &rows[i]
		if row.By != "" {
			acted[woke[row.Alarm]] = true
		}
		if !row.Annunciated || row.At.Before(r.From) {
			continue
		}
		delete(woke, row.Alarm)
		if hour := row.At.In(zone).Hour(); hour < nightTo || hour >= nightFrom {
			if last.IsZero() || row.At.Sub(last) >= ten {
				r.NightCalls++
			}
			last = row.At
			woke[row.Alarm] = r.NightCalls
		}
	}
	delete(acted, 0) // acts on what woke nobody
	r.NightsActed = len(acted)
	begin := r.From.In(zone)
	for day := 0; ; day++ {
		night := time.Date(begin.Year(), begin.Month(), begin.Day()+day, nightFrom, 0, 0, 0, zone)
		if !night.Before(r.To) {
			return
		}
		if !night.Before(r.From) {
			r.Nights++
		}
	}
}
