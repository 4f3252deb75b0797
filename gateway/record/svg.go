package record

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"slices"
	"strings"
	"time"

	"millwarden/gateway/history"
	"millwarden/internal/units"
)

// The drawing of a curve, in units of the picture.
const (
	wide, high          = 720.0, 172.0
	left, right         = 46.0, 8.0
	top, bottom         = 30.0, 18.0
	plotWide, plotHigh  = wide - left - right, high - top - bottom
	gapLabelLeast       = 46.0 // narrower gaps stand in the list below the drawing alone
	markLevels          = 3
	timeTicks, valTicks = 8, 4
)

// drawing is one curve being drawn.
type drawing struct {
	r         *Record // for its words
	b         strings.Builder
	from, to  time.Time
	low, high float64
	choice    units.Choice
	unit      units.Unit
	zone      *time.Location
	id        string
}

// picture draws a curve with its limits, gaps, doubts and marks.
func (r *Record) picture(c *Curve, st *Stay, id string) template.HTML {
	choice, zone := r.Site.Choice, r.Site.Zone
	d := &drawing{r: r, from: st.From, to: st.To, choice: choice, unit: choice.Unit(c.Quantity), zone: zone, id: id}
	d.span(c)
	d.grid()
	d.gaps(c)
	d.limits(c)
	d.curve(c)
	d.labels(c)
	from := max(0, top-4-9*float64(d.marks(st))) // no room on the page for marks that are not there
	head := fmt.Sprintf(`<svg viewBox="0 %g %g %g" role="img" aria-label="%s"><defs><pattern id="%s" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path d="M0 0V6" class="hatch"/></pattern></defs>`,
		from, wide, high-from, html.EscapeString(r.say(c.Title)+", "+d.unit.Printed+", "+r.date(st.From.In(zone).Format("2 Jan 15:04"))+" – "+r.date(st.To.In(zone).Format("2 Jan 15:04"))), id)
	frame := fmt.Sprintf(`<rect x="%g" y="%g" width="%g" height="%g" class="frame"/></svg>`, left, top, plotWide, plotHigh)
	return template.HTML(head + d.b.String() + frame) //nolint:gosec // every text in it went through EscapeString, every number through a number format
}

// span is what the upright axis shows: the curve, and the limits that are near it.
func (d *drawing) span(c *Curve) {
	d.low, d.high = d.unit.FromBase(c.Low), d.unit.FromBase(c.High)
	if c.Known == 0 {
		d.low, d.high = 0, 1
		for _, l := range c.Limits {
			v := d.unit.FromBase(l.Value)
			d.low, d.high = min(d.low, v), max(d.high, v)
		}
	}
	size := max(d.high-d.low, 1e-3*math.Abs(d.high), 1e-6)
	for _, l := range c.Limits {
		if v := d.unit.FromBase(l.Value); v > d.low-1.5*size && v < d.high+1.5*size {
			d.low, d.high = min(d.low, v), max(d.high, v)
		}
	}
	if least := leastSpan[c.Quantity.Of()]; d.high-d.low < least {
		middle := (d.high + d.low) / 2
		d.low, d.high = middle-least/2, middle+least/2
	}
	room := 0.06 * (d.high - d.low)
	d.low, d.high = d.low-room, d.high+room
}

// leastSpan keeps noise from looking like a course. Chosen: some ten times what a probe wavers.
var leastSpan = map[units.Quantity]float64{units.PH: 0.5, units.Temperature: 4, units.Humidity: 8, units.Moisture: 1, units.WaterActivity: 0.05}

func (d *drawing) x(t time.Time) float64 {
	return left + plotWide*min(1, max(0, t.Sub(d.from).Seconds()/max(1, d.to.Sub(d.from).Seconds())))
}

func (d *drawing) y(base float64) float64 { return d.yShown(d.unit.FromBase(base)) }

func (d *drawing) yShown(v float64) float64 {
	return top + plotHigh*(1-min(1, max(0, (v-d.low)/(d.high-d.low))))
}

func (d *drawing) text(x, y float64, class, anchor, text string) {
	fmt.Fprintf(&d.b, `<text x="%.1f" y="%.1f" class="%s" text-anchor="%s">%s</text>`, x, y, class, anchor, html.EscapeString(text))
}

// grid draws round values and round times.
func (d *drawing) grid() {
	step := round((d.high - d.low) / valTicks)
	decimals := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	for v := math.Ceil(d.low/step) * step; v <= d.high; v += step {
		y := d.yShown(v)
		fmt.Fprintf(&d.b, `<path d="M%g %.1fH%g" class="hair"/>`, left, y, wide-right)
		d.text(left-5, y+3.5, "tick", "end", fmt.Sprintf("%.*f", decimals, v+0))
	}
	every := between(d.to.Sub(d.from) / timeTicks)
	day := ""
	for t := firstTick(d.from.In(d.zone), every); !t.After(d.to); t = t.Add(every) {
		x := d.x(t)
		label := t.Format("15:04")
		if every < time.Minute {
			label = t.Format("15:04:05")
		}
		if every >= 24*time.Hour {
			label = d.r.date(t.Format("2 Jan"))
		} else if today := d.r.date(t.Format("2 Jan")); today != day {
			day = today
			label = today + " " + label
		}
		fmt.Fprintf(&d.b, `<path d="M%.1f %gV%g" class="hair"/>`, x, top, high-bottom)
		if x > left+20 && x < wide-right-24 {
			d.text(x, high-bottom+14, "tick", "middle", label)
		}
	}
}

// round is the next of 1, 2, 5 times a power of ten.
func round(v float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(v)))
	for _, f := range []float64{1, 2, 5} {
		if v <= f*power*1.0001 {
			return f * power
		}
	}
	return 10 * power
}

// between is a round length of time.
func between(least time.Duration) time.Duration {
	for _, d := range []time.Duration{5 * time.Second, 15 * time.Second, 30 * time.Second, time.Minute, 2 * time.Minute, 5 * time.Minute, 15 * time.Minute, 30 * time.Minute, time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour} {
		if d >= least {
			return d
		}
	}
	return ((least + 24*time.Hour - 1) / (24 * time.Hour)) * 24 * time.Hour
}

// firstTick is the first round time of the site's day at or after from.
func firstTick(from time.Time, every time.Duration) time.Time {
	midnight := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, from.Location())
	t := midnight
	for t.Before(from) {
		t = t.Add(every)
	}
	return t
}

// gaps hatches stretches without a reading and shades those of doubt.
func (d *drawing) gaps(c *Curve) {
	for _, g := range c.Doubts {
		fmt.Fprintf(&d.b, `<rect x="%.1f" y="%g" width="%.1f" height="%g" class="doubt"/>`, d.x(g.From), top, max(0.6, d.x(g.To)-d.x(g.From)), plotHigh)
	}
	for _, g := range c.Gaps {
		x, w := d.x(g.From), max(0.6, d.x(g.To)-d.x(g.From))
		fmt.Fprintf(&d.b, `<rect x="%.1f" y="%g" width="%.1f" height="%g" class="gap" fill="url(#%s)"/>`, x, top, w, plotHigh, d.id)
		if w > gapLabelLeast {
			label := []rune(d.r.say(g.Cause))
			if most := int(w / 5); len(label) > most {
				label = append(label[:max(0, most-1)], '…')
			}
			d.text(x+w/2, top+plotHigh/2, "gaptext", "middle", string(label))
		}
	}
}

// limits draws each limit over the time in which it held.
func (d *drawing) limits(c *Curve) {
	for _, l := range c.Limits {
		if !d.shows(&l) {
			continue
		}
		class := "limit"
		if l.Critical {
			class = "critical"
		}
		fmt.Fprintf(&d.b, `<path d="M%.1f %.1fH%.1f" class="%s"/>`, d.x(l.From), d.y(l.Value), d.x(l.To), class)
	}
}

func (d *drawing) shows(l *Limit) bool {
	v := d.unit.FromBase(l.Value)
	return v >= d.low && v <= d.high
}

// label is a place for the text of a limit: its box in units of the picture.
type label struct{ x1, x2, y1, y2 float64 }

func (a label) over(b label) bool { return a.x1 < b.x2 && b.x1 < a.x2 && a.y1 < b.y2 && b.y1 < a.y2 }

// labels writes what each limit is, where it hides least of the curve, of other limits and of other labels.
func (d *drawing) labels(c *Curve) {
	var taken []label
	for _, l := range c.Limits {
		if !d.shows(&l) {
			continue
		}
		text := d.r.say(l.Title) + " " + d.choice.Print(l.Value, c.Quantity)
		wide, y := 5.2*float64(len(text))+4, d.y(l.Value)
		from, to := d.x(l.From), max(d.x(l.To), d.x(l.From)+wide)
		best, least := label{}, math.Inf(1)
		for _, x := range []float64{to - wide, from, (from + to - wide) / 2, (3*from + to - wide) / 4, (from + 3*to - 3*wide) / 4} {
			for _, box := range []label{{x, x + wide, y - 11, y - 1}, {x, x + wide, y + 1, y + 11}} {
				if hidden := d.hidden(c, &l, box, taken); hidden < least {
					best, least = box, hidden
				}
			}
		}
		taken = append(taken, best)
		d.text(best.x1+2, best.y2-2, "limittext", "start", text)
	}
}

// hidden reckons how much a label would hide: a column of the curve counts 1, a limit 20, a label or the frame so much that only necessity puts it there.
func (d *drawing) hidden(c *Curve, of *Limit, box label, taken []label) (sum float64) {
	if box.y1 < top || box.y2 > high-bottom || box.x2 > wide-right {
		sum += 500
	}
	for _, t := range taken {
		if t.over(box) {
			sum += 1000
		}
	}
	for i := range c.Limits {
		if l := &c.Limits[i]; l.Value != of.Value && box.over(label{d.x(l.From), d.x(l.To), d.y(l.Value) - 1, d.y(l.Value) + 1}) {
			sum += 20
		}
	}
	for i := range c.Columns {
		if col := &c.Columns[i]; col.Readings > col.Bad && box.over(label{d.x(col.From), d.x(col.To), d.y(col.High) - 1, d.y(col.Low) + 1}) {
			sum++
		}
	}
	return sum
}

// curve draws the band between lowest and highest of each column, and the mean as a line; both end where a gap begins.
func (d *drawing) curve(c *Curve) {
	var run []history.Column
	flush := func() {
		if len(run) > 0 {
			d.stretch(run)
		}
		run = run[:0]
	}
	for i := range c.Columns {
		col := c.Columns[i]
		if len(run) > 0 && col.From.Sub(run[len(run)-1].To) > col.To.Sub(col.From)/2 {
			flush()
		}
		if col.Readings == col.Bad {
			flush()
			continue
		}
		run = append(run, col)
	}
	flush()
}

func (d *drawing) stretch(run []history.Column) {
	middle := func(c *history.Column) float64 { return d.x(c.From.Add(c.To.Sub(c.From) / 2)) }
	d.b.WriteString(`<path d="M`)
	for i := range run {
		fmt.Fprintf(&d.b, "%.1f %.1f ", middle(&run[i]), d.y(run[i].High))
	}
	for i := len(run) - 1; i >= 0; i-- {
		fmt.Fprintf(&d.b, "%.1f %.1f ", middle(&run[i]), d.y(run[i].Low))
	}
	d.b.WriteString(`Z" class="range"/><path d="M`)
	if len(run) == 1 {
		fmt.Fprintf(&d.b, "%.1f %.1f ", d.x(run[0].From), d.y(run[0].Mean))
	}
	for i := range run {
		fmt.Fprintf(&d.b, "%.1f %.1f ", middle(&run[i]), d.y(run[i].Mean))
	}
	d.b.WriteString(`" class="curve"/>`)
}

// marks writes the letters of events over the drawing, one above the other where they would touch, and tells in how many rows.
func (d *drawing) marks(st *Stay) (rows int) {
	ends := [markLevels]float64{}
	slices.SortStableFunc(st.Marks, func(a, b Mark) int { return a.At.Compare(b.At) })
	for _, m := range st.Marks {
		x, level := d.x(m.At), 0
		w := 6.0*float64(len(m.Letter)) + 4
		from := x
		if x+w > wide {
			from = x - w
		}
		for level < markLevels-1 && from < ends[level] {
			level++
		}
		ends[level], rows = from+w, max(rows, level+1)
		y := top - 3 - 9*float64(level)
		fmt.Fprintf(&d.b, `<path d="M%.1f %.1fV%g" class="event"/>`, x, y-6, high-bottom)
		if from < x {
			d.text(x-2, y, "eventtext", "end", m.Letter)
			continue
		}
		d.text(x+2, y, "eventtext", "start", m.Letter)
	}
	return rows
}
