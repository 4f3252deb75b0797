package web

import (
	"context"
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
	maxCourses     = 64               // more lines than a wall shows
	curveWait      = 20 * time.Second // for all courses of one answer; the history bounds each look of its own too
)

// serveReadings gives the course of one point.
func (w *Web) serveReadings(rw http.ResponseWriter, r *http.Request) {
	if c, served := w.courses(rw, r, []string{r.URL.Query().Get("point")}); served {
		replyKept(rw, r, encode(c[0]))
	}
}

// serveCourses gives those of several points over one stretch: a screen with a line for every station asks once, not once a line.
func (w *Web) serveCourses(rw http.ResponseWriter, r *http.Request) {
	if c, served := w.courses(rw, r, r.URL.Query()["point"]); served {
		replyKept(rw, r, encode(c))
	}
}

// courses reads what is asked for; where it cannot, it answers with the reason, and served is false.
func (w *Web) courses(rw http.ResponseWriter, r *http.Request, points []string) (all []curve, served bool) {
	if w.config.History == nil {
		refuse(rw, http.StatusNotFound, RefusedUnknown, "This gateway keeps no history.")
		return nil, false
	}
	if len(points) == 0 || len(points) > maxCourses {
		refuse(rw, http.StatusBadRequest, RefusedInput, fmt.Sprintf("Write point=STATION/POINT 1 to %d times.", maxCourses))
		return nil, false
	}
	q := r.URL.Query()
	asked, err := readSpan(q.Get("from"), q.Get("to"), q.Get("columns"), time.UnixMilli(w.live.now().frame.Wall))
	if err != nil {
		refuse(rw, http.StatusBadRequest, RefusedInput, err.Error())
		return nil, false
	}
	ctx, cancel := context.WithTimeout(r.Context(), curveWait)
	defer cancel()
	t := w.tongue(r)
	for _, point := range points {
		got, err := w.course(ctx, point, asked)
		if errors.Is(err, errNoPoint) {
			refuse(rw, http.StatusNotFound, RefusedUnknown, "There is no point of that name.")
			return nil, false
		}
		if err != nil {
			w.config.Log.Error("curve not read", "point", point, "cause", err)
			refuse(rw, http.StatusInternalServerError, RefusedState, "The history could not be read.")
			return nil, false
		}
		got.Bad = *each(&got.Bad, func(bad wireReason) wireReason { bad.Cause = t.in(bad.Cause); return bad })
		all = append(all, got)
	}
	return all, true
}

var errNoPoint = errors.New("web: no such point")

// course is that of one point; errNoPoint where there is none of that name.
func (w *Web) course(ctx context.Context, point string, asked span) (curve, error) {
	if _, found := w.live.now().frame.Values[point]; !found {
		return curve{}, errNoPoint
	}
	got, err := w.config.History.Curve(ctx, point, asked.from, asked.to, asked.columns)
	if err != nil {
		return curve{}, err
	}
	c, found := w.live.curve(point, asked, got)
	if !found { // it vanished by a change of the rules since it was looked up
		return curve{}, errNoPoint
	}
	return c, nil
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
