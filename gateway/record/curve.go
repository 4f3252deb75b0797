package record

import (
	"cmp"
	"context"
	"errors"
	"math"
	"strings"
	"time"

	"millwarden/gateway/history"
	"millwarden/internal/reading"
	"millwarden/rules/check"
)

// leastColumn is the narrowest column: a computed point that does not change is kept once a minute, and a column between two readings is no gap.
const leastColumn = 2 * time.Minute

// curveOf reads what a point did from a time to a time.
func (r *Record) curveOf(ctx context.Context, s Sources, p *check.Point, from, to time.Time) (Curve, error) {
	c := Curve{Point: p.Name, Title: titled(p.Title), Quantity: p.Quantity, Computed: p.How != check.Measured, Low: math.Inf(1), High: math.Inf(-1)}
	width := leastColumn
	for i := range s.Plan.Probes {
		if pr := &s.Plan.Probes[i]; pr.Name == p.Probe && p.How == check.Measured {
			width, c.ByHand = max(pr.OverdueAfter, 2*pr.Every), pr.Part == check.ByHand
		}
	}
	n := int(max(1, min(columns, to.Sub(from)/max(width, time.Second))))
	var err error
	c.Columns, err = s.History.Pixels(ctx, p.Name, from, to, n)
	var damage *history.Damage
	if err != nil && !errors.As(err, &damage) {
		return c, err
	}
	c.Limits = r.limits(p.Name, from, to)
	c.reckon(from, to, to.Sub(from)/time.Duration(n), damage != nil)
	return c, nil
}

// alone tells whether an alarm hangs on this point and no other: a limit that holds only while the drum stands still is no line across a whole roast.
func alone(plan *check.Plan, alarm, point string) bool {
	for i := range plan.Engine.Alarms {
		if a := &plan.Engine.Alarms[i]; a.ID == alarm {
			points := a.When.Points()
			return len(points) == 1 && points[0] == point
		}
	}
	return false
}

func limitTitle(l check.PointLimit) string {
	name, _, _ := strings.Cut(cmp.Or(l.Alarm, l.Limit), "@")
	return worded(strings.ReplaceAll(name, "-", " "))
}

func limitSource(plan *check.Plan, l check.PointLimit) string {
	for i := range plan.Limits {
		if x := &plan.Limits[i]; x.Name == l.Limit {
			switch {
			case x.Because != "":
				return "the site's own: " + x.Because
			case x.Source != "":
				return x.Source
			case x.Choice != "":
				return "chosen: " + x.Choice
			}
		}
	}
	return ""
}

// reckon finds gaps, doubts, extremes, and how long the point was known and beyond its action limits.
func (c *Curve) reckon(from, to time.Time, width time.Duration, damaged bool) {
	nothing := "no reading"
	if damaged {
		nothing = "the history is damaged here"
	}
	last, sum := from, 0.0
	for i := range c.Columns {
		col := &c.Columns[i]
		if col.From.Sub(last) > width/2 {
			c.gap(&c.Gaps, last, col.From, nothing)
		}
		last = col.To
		long := col.To.Sub(col.From)
		if col.Readings == col.Bad {
			c.gap(&c.Gaps, col.From, col.To, col.Cause)
			continue
		}
		if col.Worst == reading.Uncertain {
			c.gap(&c.Doubts, col.From, col.To, col.Cause)
			c.Doubtful += long
		}
		c.Known += long
		c.Readings += col.Readings - col.Bad
		sum += col.Mean * long.Seconds()
		c.Low, c.High, c.Last = min(c.Low, col.Low), max(c.High, col.High), col.Last
		if c.beyond(col) {
			c.Outside += long
		}
	}
	if to.Sub(last) > width/2 {
		c.gap(&c.Gaps, last, to, nothing)
	}
	for _, g := range c.Gaps {
		c.Missing += g.To.Sub(g.From)
	}
	if c.Known > 0 {
		c.Mean = sum / c.Known.Seconds()
	}
}

func (c *Curve) gap(list *[]Gap, from, to time.Time, cause string) {
	if n := len(*list); n > 0 && (*list)[n-1].To.Equal(from) && (*list)[n-1].Cause == cause {
		(*list)[n-1].To = to
		return
	}
	*list = append(*list, Gap{from, to, cause})
}

// beyond tells whether a column's mean lies beyond the nearest action limit.
func (c *Curve) beyond(col *history.Column) bool {
	for _, l := range c.Limits {
		if !l.Critical && col.From.Before(l.To) && col.To.After(l.From) && (l.Above && col.Mean > l.Value || !l.Above && col.Mean < l.Value) {
			return true
		}
	}
	return false
}

// formulas are names of quantities that the rules file writes in small letters.
var formulas = map[string]string{"ph": "pH", "co": "CO", "co2": "CO2"}

// worded writes such names as people do.
func worded(title string) string {
	words := strings.Fields(title)
	for i, w := range words {
		words[i] = cmp.Or(formulas[w], w)
	}
	return strings.Join(words, " ")
}

// titled is a title at the head of a line.
func titled(title string) string {
	text := worded(title)
	if text == "" || strings.HasPrefix(text, "pH") {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:]
}
