package record

import (
	"cmp"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"
	"time"

	"millwarden/gateway/logbook"
	"millwarden/gateway/logbook/lots"
	"millwarden/internal/coffee"
	"millwarden/internal/units"
)

//go:embed record.html
var page string

// Style is what the document looks like, on screen and on paper.
//
//go:embed record.css
var Style string

// HTML writes the document. It needs nothing besides itself: no script, no other file.
func (r *Record) HTML(to io.Writer) error {
	text, style := page, Style
	if r.Language == "es" {
		text, style = spanishPage(), strings.Replace(Style, `" of "`, `" de "`, 1)
	}
	t, err := template.New("record").Funcs(r.words()).Parse(text)
	if err != nil {
		return fmt.Errorf("record: reading the page: %w", err)
	}
	return t.Execute(to, struct {
		*Record
		Style template.CSS
	}{r, template.CSS(style)}) //nolint:gosec // it is embedded
}

// words are the functions of the page.
func (r *Record) words() template.FuncMap {
	zone, choice := r.Site.Zone, r.Site.Choice
	value := func(v float64, q units.Quantity) string {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return "–"
		}
		return choice.Print(v, q)
	}
	return template.FuncMap{
		"day":   func(t time.Time) string { return r.date(t.In(zone).Format("2 January 2006")) },
		"when":  func(t time.Time) string { return r.date(t.In(zone).Format("2 Jan 15:04")) },
		"full":  func(t time.Time) string { return t.In(zone).Format("2006-01-02 15:04:05 -07:00") },
		"ms":    at,
		"span":  func(a, b time.Time) string { return long(b.Sub(a)) },
		"long":  long,
		"value": value,
		"kg": func(v lots.Kilograms) string {
			if v == 0 {
				return "–"
			}
			return choice.Print(float64(v), units.Mass)
		},
		"degrees": func(v float64) string {
			if v == 0 {
				return "–"
			}
			return choice.Print(v, units.Temperature)
		},
		"wb": func(v float64) string {
			if v == 0 {
				return "–"
			}
			return fmt.Sprintf("%.1f %%wb", v)
		},
		"number": func(v float64, decimals int) string {
			if v == 0 {
				return "–"
			}
			return fmt.Sprintf("%.*f", decimals, v)
		},
		"minutes": func(s int) string { return fmt.Sprintf("%d:%02d", s/60, s%60) },
		"percent": func(p *lots.Percent) string {
			if p == nil {
				return "–"
			}
			return fmt.Sprintf("%.3g %%", float64(*p))
		},
		"count": func(n *int) string {
			if n == nil {
				return "–"
			}
			return fmt.Sprint(*n)
		},
		"draw": func(c Curve, st Stay, i int) template.HTML {
			return r.picture(&c, &st, fmt.Sprintf("h%d-%d", st.Number, i))
		},
		"limits":  func(c Curve, st Stay) []string { return r.limitWords(&c, &st) },
		"person":  r.person,
		"titleOf": r.stayTitle,
		"whence":  r.whence,
		"short":   func(s string) string { return s[:min(12, len(s))] },
		"seal":    func(h logbook.Head) string { return fmt.Sprintf("%d:%x", h.ID, h.Seal[:16]) },
		"opening": func(n int) string { return fmt.Sprintf("%.2f mm", coffee.ScreenOpening(n)) },
		"share":   share,
		"summary": r.summary,
		"inYield": func(v float64) bool { return v > 0 },
		"zero":    func(t time.Time) bool { return t.IsZero() },
		"sum":     screensSum,
		"title":   func(s string) string { return strings.ReplaceAll(s, "-", " ") },
		"certain": func(c Curve) bool { return c.Known > 0 },
		"told":    r.told,
		"farthest": func(d Deviation) string {
			return titled(r.say(d.point)) + r.told(strings.TrimPrefix(d.Extreme, d.point))
		},
		"called": r.called,
		"instrument": func(in Instrument) string {
			if in.Title == strings.ReplaceAll(in.Probe, "-", " ") { // the site gave it none
				return r.called(in.Probe)
			}
			return in.Title
		},
		"entered": func(text string) string { return r.called(r.say(text)) },
		"headed":  func(s string) string { return titled(r.say(s)) },
		"outcome": func(c Curve) string { return r.say(outcome(c)) },
		"say":     func(v any) string { return r.say(fmt.Sprint(v)) },
		"offset":  func(p logbook.Pair, q units.Quantity) string { return signed(p.Read-p.Reference, q, choice) },
		"quantity": func(p logbook.Pair, q units.Quantity) string {
			return r.say(value(p.Reference, q) + " read as " + value(p.Read, q))
		},
	}
}

// whence is where a weight was taken, with the station by its title.
func (r *Record) whence(where string) string {
	for _, way := range [...]string{"out of ", "into "} {
		if station, found := strings.CutPrefix(where, way); found {
			where = way + cmp.Or(r.stayTitle(station), station)
		}
	}
	return r.say(where)
}

func signed(v float64, q units.Quantity, choice units.Choice) string {
	text := choice.Print(v, q.Step())
	if v > 0 {
		return "+" + text
	}
	return text
}

func share(part, whole lots.Kilograms) string {
	if whole == 0 {
		return "–"
	}
	return fmt.Sprintf("%.1f %%", 100*float64(part/whole))
}

func screensSum(s lots.Step) lots.Kilograms {
	sum := s.Below
	for _, x := range s.Screens {
		sum += x.Kg
	}
	return sum
}

// outcome says whether a curve kept within its limits.
func outcome(c Curve) string {
	switch {
	case c.Known == 0:
		return "not known: nothing was read"
	case len(c.Limits) == 0:
		return "no limit is set"
	case c.Outside > 0:
		return "outside for " + long(c.Outside)
	case c.Missing > 0:
		return "within, as far as it was read"
	}
	return "within"
}

func long(d time.Duration) string { return units.Choice{}.Print(d.Seconds(), units.Duration) }

// limitWords says each limit of a curve with what it rests on.
func (r *Record) limitWords(c *Curve, st *Stay) []string {
	when := func(t time.Time) string { return r.date(t.In(r.Site.Zone).Format("2 Jan 15:04")) }
	var list []string
	for _, l := range c.Limits {
		side, kind := "not below", "Action limit"
		if l.Above {
			side = "not above"
		}
		if l.Critical {
			kind = "Critical limit"
		}
		text := r.say(kind) + ": " + r.say(side) + " " + r.Site.Choice.Print(l.Value, c.Quantity) + ", " + r.say(l.Title)
		if l.Source != "" {
			text += " (" + l.Source + ")"
		}
		if l.From.After(st.From) {
			text += ", " + r.say("in force from "+when(l.From))
		}
		if l.To.Before(st.To) {
			text += ", " + r.say("in force until "+when(l.To))
		}
		list = append(list, text)
	}
	return list
}

// summary is the lot in three sentences.
func (r *Record) summary() []string {
	var list []string
	y := &r.Lot.Yield
	var chain []string
	for _, w := range []struct {
		kg   lots.Kilograms
		form string
	}{{y.Cherry, "cherry"}, {y.Wet, "wet parchment"}, {y.Dry, "parchment"}, {y.Green, "green"}} {
		if w.kg > 0 {
			chain = append(chain, r.Site.Choice.Print(float64(w.kg), units.Mass)+" "+r.say("of "+w.form))
		}
	}
	if len(chain) > 1 {
		list = append(list, strings.Join(chain, ", ")+".")
	}
	var ways []string
	in, and := r.say("in"), r.say("and")
	for i := range r.Stays {
		st := &r.Stays[i]
		again := i > 0 && r.Stays[i-1].Title == st.Title
		if again && len(ways) > 0 { // batch after batch in a roaster
			ways[len(ways)-1] = strings.TrimSuffix(ways[len(ways)-1], " "+in+" "+st.Title) + " " + and + " " + long(st.To.Sub(st.From)) + " " + in + " " + st.Title
		} else if len(ways) < 6 {
			ways = append(ways, long(st.To.Sub(st.From))+" "+in+" "+st.Title)
		}
	}
	if len(ways) > 0 {
		list = append(list, strings.Join(ways, ", ")+".")
	}
	open := 0
	for i := range r.Deviations {
		if r.Deviations[i].AcknowledgedBy == "" {
			open++
		}
	}
	switch n := len(r.Deviations); {
	case n == 0:
		list = append(list, r.say("No alarm stood at its stations while it was there."))
	case open == 0:
		list = append(list, r.say(fmt.Sprintf("%s stood at its stations while it was there; somebody took on each.", plural(n, "alarm"))))
	default:
		list = append(list, r.say(fmt.Sprintf("%s stood at its stations while it was there; %d ended before anybody took them on.", plural(n, "alarm"), open)))
	}
	missing := time.Duration(0)
	for i := range r.Stays {
		for j := range r.Stays[i].Curves {
			missing = max(missing, r.Stays[i].Curves[j].Missing)
		}
	}
	if missing > time.Minute {
		list = append(list, r.say(fmt.Sprintf("Readings are missing for up to %s of a curve; where and why stands with it.", long(missing))))
	}
	return list
}

func plural(n int, what string) string {
	if n == 1 {
		return "One " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
