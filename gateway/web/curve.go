package web

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"
)

// curve is a point's course, column by column of the drawing: time is Unix seconds in the middle of the column.
type curve struct {
	Point     string       `json:"point"`
	Unit      string       `json:"unit"`
	From      int64        `json:"from"` // Unix seconds, as all times of a curve
	To        int64        `json:"to"`
	Step      float64      `json:"step"` // width of a column in seconds
	Time      []int64      `json:"time"`
	Low       []number     `json:"low"`
	High      []number     `json:"high"`
	Last      []number     `json:"last"`
	Uncertain []bool       `json:"uncertain"`
	Bad       []wireReason `json:"bad"` // stretches in which nothing is known, and why
}

type wireReason struct {
	From  int64  `json:"from"`
	To    int64  `json:"to"`
	Cause string `json:"cause"`
}

// Bounds of a curve.
const (
	defaultColumns = 600
	maxColumns     = 4000 // wider than any screen
	maxSpan        = 20 * 366 * 24 * time.Hour
)

func (w *Web) serveReadings(rw http.ResponseWriter, r *http.Request) {
	if w.config.History == nil {
		refuse(rw, http.StatusNotFound, RefusedUnknown, "This gateway keeps no history.")
		return
	}
	m, q := w.live.now(), r.URL.Query()
	if _, found := m.frame.Values[q.Get("point")]; !found {
		refuse(rw, http.StatusNotFound, RefusedUnknown, "There is no point of that name.")
		return
	}
	asked, err := readSpan(q.Get("from"), q.Get("to"), q.Get("columns"), time.UnixMilli(m.frame.Wall))
	if err != nil {
		refuse(rw, http.StatusBadRequest, RefusedInput, err.Error())
		return
	}
	got, err := w.config.History.Curve(r.Context(), q.Get("point"), asked.from, asked.to, asked.columns)
	if err != nil {
		w.config.Log.Error("curve not read", "point", q.Get("point"), "cause", err)
		refuse(rw, http.StatusInternalServerError, RefusedState, "The history could not be read.")
		return
	}
	c, found := w.live.curve(q.Get("point"), asked, got)
	if !found { // it vanished by a change of the rules since it was looked up
		refuse(rw, http.StatusNotFound, RefusedUnknown, "There is no point of that name.")
		return
	}
	reply(rw, encode(c))
}

// span is the time that a curve is asked for, and into how many columns it is divided.
type span struct {
	from, to time.Time
	columns  int
}

// readSpan reads from and to (RFC 3339; default the last twelve hours) and the number of columns.
func readSpan(from, to, columns string, now time.Time) (s span, err error) {
	s = span{to: now, columns: defaultColumns}
	if to != "" {
		if s.to, err = time.Parse(time.RFC3339, to); err != nil {
			return s, errors.New("to needs a time, for example 2026-11-25T02:17:00Z")
		}
	}
	s.from = s.to.Add(-12 * time.Hour)
	if from != "" {
		if s.from, err = time.Parse(time.RFC3339, from); err != nil {
			return s, errors.New("from needs a time, for example 2026-11-24T18:00:00Z")
		}
	}
	if columns != "" {
		if s.columns, err = strconv.Atoi(columns); err != nil || s.columns < 1 || s.columns > maxColumns {
			return s, fmt.Errorf("columns goes from 1 to %d", maxColumns)
		}
	}
	if !s.from.Before(s.to) || s.to.Sub(s.from) > maxSpan {
		return s, errors.New("from must lie before to, by 20 years at most")
	}
	return s, nil
}

func (p printer) curve(pt *Point, s span, columns []Column) curve {
	c := curve{Point: pt.Name, Unit: p.unit(pt.Quantity), From: s.from.Unix(), To: s.to.Unix(),
		Step: s.to.Sub(s.from).Seconds() / float64(s.columns), Time: []int64{}, Low: []number{}, High: []number{}, Last: []number{}, Uncertain: []bool{},
		Bad: []wireReason{}}
	for _, col := range columns {
		if col.Bad {
			c.addBad(wireReason{col.From.Unix(), col.To.Unix(), col.Cause})
			continue
		}
		c.Time = append(c.Time, col.From.Add(col.To.Sub(col.From)/2).Unix())
		c.Low = append(c.Low, p.number(col.Low, pt.Quantity))
		c.High = append(c.High, p.number(col.High, pt.Quantity))
		c.Last = append(c.Last, p.number(col.Last, pt.Quantity))
		c.Uncertain = append(c.Uncertain, col.Uncertain)
	}
	return c
}

// addBad joins neighbouring stretches of one cause.
func (c *curve) addBad(r wireReason) {
	if n := len(c.Bad); n > 0 && c.Bad[n-1].Cause == r.Cause && c.Bad[n-1].To == r.From {
		c.Bad[n-1].To = r.To
		return
	}
	c.Bad = append(c.Bad, r)
}

// curve prints the columns of the point of that name; found tells whether there is one.
func (l *live) curve(name string, asked span, columns []Column) (c curve, found bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	i := slices.IndexFunc(l.snapshot.Points, func(p Point) bool { return p.Name == name })
	if i < 0 {
		return c, false
	}
	p := printer{now: l.snapshot.Now, choice: l.snapshot.Site.Show}
	return p.curve(&l.snapshot.Points[i], asked, columns), true
}
