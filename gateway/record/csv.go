package record

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"time"

	"millwarden/gateway/logbook/lots"
	"millwarden/internal/reading"
)

// header of the CSV [RFC 4180]: one table for everything, so that one file goes with the document. part is site, stay, intake, weight, step, correction, deviation, done, instrument, reading,
// gap, uncertain or gateway; time and until are RFC 3339 in UTC.
var header = []string{"part", "time", "until", "place", "what", "value", "low", "high", "unit", "quality", "who", "note", "entry"}

func orWhy(why string) string {
	if why == "" {
		return ""
	}
	return "; because " + why
}

// CSV writes everything that stands in the document, with the curves as columns of numbers.
func (r *Record) CSV(to io.Writer) error {
	w := csv.NewWriter(to)
	w.UseCRLF = true
	row := func(cells ...string) {
		for i := range cells {
			cells[i] = reading.Guard(cells[i])
		}
		_ = w.Write(cells) // the first error is kept and given by Error
	}
	row(header...)
	row("site", stamp(r.Made), "", r.Site.Name, "lot "+r.Lot.Lot, "", "", "", "", "", "", "Millwarden "+r.Version+", rules "+r.RulesHash, "")
	row("site", stamp(r.Made), "", r.Site.Name, "logbook head", fmt.Sprintf("%x", r.Head.Seal), "", "", "", "", "", "", strconv.FormatInt(r.Head.ID, 10))
	for i := range r.Stays {
		st := &r.Stays[i]
		row("stay", stamp(st.From), stamp(st.To), st.Station, "lot "+st.Lot, mass(st.Loaded), "", mass(st.Unloaded), "kg", "", st.Who, st.Note, "")
	}
	for _, lot := range append(r.Family[:len(r.Family):len(r.Family)], r.Lot) {
		for _, wt := range lot.Weights {
			row("weight", stamp(at(wt.At)), "", lot.Lot, wt.Where, mass(wt.Kg), "", "", "kg", "", "", moistureNote(wt.Moisture), strconv.FormatInt(wt.Entry, 10))
		}
	}
	for _, s := range r.Lot.Steps {
		row("step", stamp(at(s.At)), "", s.Step.Station, s.Text, "", "", "", "", state(s.Struck, s.CorrectedBy), r.person(s.Who), s.Note, strconv.FormatInt(s.Entry, 10))
	}
	for _, c := range r.Lot.Righted {
		row("correction", stamp(at(c.At)), "", "", c.Text, "", "", "", "", "", r.person(c.Who), "entry "+strconv.FormatInt(c.Of, 10)+" was: "+c.Was+orWhy(c.Why), strconv.FormatInt(c.Entry, 10))
	}
	r.deviationRows(row)
	for i := range r.Instruments {
		in := &r.Instruments[i]
		for _, p := range in.Found {
			row("instrument", stamp(in.Checked), "", in.Probe, in.Gives, plain(p.Read), plain(p.Reference), plain(p.Reference), in.Quantity.Base(), "", in.Who, in.Note, "")
		}
		if len(in.Found) == 0 {
			row("instrument", stamp(in.Checked), "", in.Probe, in.Gives, "", "", "", "", "", in.Who, "no check on record", "")
		}
	}
	for _, c := range r.Changes {
		row("gateway", stamp(c.At), "", "", c.Text, "", "", "", "", "", c.Who, c.Why, strconv.FormatInt(c.ID, 10))
	}
	r.curveRows(row)
	w.Flush()
	return w.Error()
}

func (r *Record) deviationRows(row func(...string)) {
	for i := range r.Deviations {
		d := &r.Deviations[i]
		until := stamp(d.To)
		if d.Stands {
			until = ""
		}
		row("deviation", stamp(d.From), until, d.Place, d.Alarm+" "+strconv.FormatInt(d.Occurrence, 10), "", "", "", "", d.Priority, d.AcknowledgedBy, d.Because+"; "+d.Extreme, "")
		for _, done := range d.Done {
			row("done", stamp(done.At), "", d.Place, done.Text, "", "", "", "", "", done.Who, done.Why, strconv.FormatInt(done.ID, 10))
		}
	}
}

func (r *Record) curveRows(row func(...string)) {
	for i := range r.Stays {
		st := &r.Stays[i]
		for j := range st.Curves {
			c := &st.Curves[j]
			for _, g := range c.Gaps {
				row("gap", stamp(g.From), stamp(g.To), c.Point, "", "", "", "", "", "bad", "", g.Cause, "")
			}
			for _, g := range c.Doubts {
				row("uncertain", stamp(g.From), stamp(g.To), c.Point, "", "", "", "", "", "uncertain", "", g.Cause, "")
			}
			unit := c.Quantity.Base()
			if unit == "" && c.Quantity.Name() != "" {
				unit = c.Quantity.Name()
			}
			for k := range c.Columns {
				if col := &c.Columns[k]; col.Readings > col.Bad {
					row("reading", stamp(col.From), stamp(col.To), c.Point, "mean", plain(col.Mean), plain(col.Low), plain(col.High), unit, col.Worst.String(), "", col.Cause, "")
				}
			}
		}
	}
}

func stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339)
}

func plain(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

func mass(kg lots.Kilograms) string {
	if kg == 0 {
		return ""
	}
	return plain(float64(kg))
}

func moistureNote(m float64) string {
	if m == 0 {
		return ""
	}
	return plain(m) + " %wb"
}

func state(struck bool, by int64) string {
	switch {
	case struck:
		return fmt.Sprintf("struck by %d", by)
	case by != 0:
		return fmt.Sprintf("corrected by %d", by)
	}
	return ""
}
