package command

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/drivers"
	"millwarden/gateway/collect"
	"millwarden/gateway/logbook/rates"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/measured"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/engine"
	"millwarden/rules/rehearse"
)

// riverRules name the four probes of a stream. The language has no unit for conductivity; it stands in as a concentration.
const riverRules = `site river
    timezone        UTC
    altitude        1400 m
station river is room
probe sonde
    part            radio on topic river
    gives           temperature, ph, oxygen, co2 at river
    every           15 min
use instruments
`

// column is one probe of the sonde. Ranges and times are chosen, and were chosen with this data at hand: what such probes can measure, and half a day to a day
// in which water cannot stand still; freezing water can, so temperature has none. So the figures say what these limits find here, not what they would elsewhere.
type column struct {
	point        string
	quantity     units.Quantity
	low, high    float64
	frozenAfter  time.Duration
	value, flags int // columns of the table; flags -1: none
}

var riverColumns = []column{
	{"river/temperature", units.Temperature, -5, 45, 0, 1, 3},
	{"river/co2", units.Concentration, 1, 5000, 12 * time.Hour, 4, 6},
	{"river/ph", units.PH, 2, 12, 24 * time.Hour, 7, 9},
	{"river/oxygen", units.Concentration, 0, 25, 12 * time.Hour, 10, 12},
}

// played is a probe that gives the rows of a table, one a poll.
type played struct {
	values []float64
	begin  time.Time
	column column
}

func (p *played) Read(context.Context) (drivers.Sample, error) {
	value := math.NaN()
	if i := rowAt(time.Since(p.begin)); i < len(p.values) {
		value = p.values[i]
	}
	v := drivers.Value{Channel: "c", Quantity: p.column.quantity, Value: value}
	if math.IsNaN(value) {
		v.Quality, v.Cause = reading.Bad, "no answer"
	}
	return drivers.Sample{Values: []drivers.Value{v}, Raw: strconv.AppendFloat(nil, value, 'f', -1, 64)}, nil
}

// rowAt is the row that stands at that time of the year; polls of a probe that fails come later than a quarter of an hour.
func rowAt(d time.Duration) int { return int((d + time.Minute) / (15 * time.Minute)) }

func (p *played) String() string { return p.column.point }

// bubbleClock is the clock inside a bubble of fake time.
type bubbleClock struct{ begin time.Time }

func (c bubbleClock) Now() reading.Stamp {
	now := time.Now()
	return reading.Stamp{Wall: now.UTC(), Mono: now.Sub(c.begin), Boot: 1, Set: true}
}

func (c bubbleClock) Real(d time.Duration) time.Duration { return d }

// riverTable reads a table of the folder of measured data, which is not part of the project.
func riverTable(t *testing.T, name string) [][]string {
	t.Helper()
	if testing.Short() || raced {
		t.Skip("a year of seconds takes a while: run it without -race and -short")
	}
	return measured.Table(t, "river_probes/"+name)
}

// collected reads the table through the gateway's own worker, in fake time, so that range, frozen words and quality are judged by the program.
func collected(t *testing.T, rows [][]string, columns []column) (all []reading.Reading) {
	clocktest.Bubble(t, func(t *testing.T) {
		begin := time.Now()
		ctx, cancel := context.WithTimeout(t.Context(), time.Duration(len(rows))*15*time.Minute-time.Second)
		defer cancel()
		w := collect.Worker{Bus: "river", Clock: bubbleClock{begin}, Log: slog.New(slog.DiscardHandler),
			Standing: func(string) (float64, bool) { return 0, false }, Beat: func() {},
			Out: func(rs []reading.Reading) { all = append(all, rs...) }}
		for _, c := range columns {
			p := &played{column: c, begin: begin}
			for _, row := range rows {
				value, err := strconv.ParseFloat(row[c.value], 64)
				if err != nil {
					value = math.NaN()
				}
				p.values = append(p.values, value)
			}
			w.Probes = append(w.Probes, &collect.Probe{Name: c.point, Open: func(context.Context) (drivers.Probe, error) { return p, nil },
				Gives: []collect.Give{{Point: c.point, Channel: "c", Quantity: c.quantity}}, Every: 15 * time.Minute, Low: c.low, High: c.high, FrozenAfter: c.frozenAfter})
		}
		if err := w.Run(ctx); err != nil && !errors.Is(err, context.DeadlineExceeded) {
			t.Error(err)
		}
	})
	return all
}

// rehearsed gives the occurrences that the readings bring, and the rates of all that was said.
// rehearsed gives the occurrences, how often a point's alarm was kept quiet by one of the same name at the same sonde, and the rates.
func rehearsed(t *testing.T, all []reading.Reading) ([]engine.Transition, map[string]int, rates.Rates) {
	t.Helper()
	quiet := map[string]int{}
	words, err := vocabulary()
	if err != nil {
		t.Fatal(err)
	}
	l, err := loadFrom(fstest.MapFS{"river.rules": {Data: []byte(riverRules)}}, "river.rules", words)
	if err != nil || l.plan == nil {
		_ = l.print(IO{Out: os.Stderr, Err: io.Discard}, false)
		t.Fatal("the rules do not check", err)
	}
	var said []engine.Transition
	var rows []rates.Row
	sum, err := rehearse.Play(l.plan, rehearse.Input{Readings: []rehearse.Source{&listed{all}}}, func(tr *engine.Transition) error {
		if tr.NewOccurrence {
			said = append(said, *tr)
		}
		if tr.To == engine.Suppressed && strings.Contains(tr.Because, tr.Alarm.Name+"@river/temperature") {
			quiet[tr.Alarm.Place]++
		}
		if tr.Alarm.Kind == engine.KindAlarm {
			stands := tr.To == engine.Unacknowledged
			rows = append(rows, rates.Row{At: tr.At.Wall, Alarm: tr.Alarm.ID, Annunciated: stands && tr.From != tr.To, Active: stands})
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return said, quiet, rates.Of(rows, sum.Begin, sum.End, time.UTC)
}

// restless are the alarms that came three times within an hour, which is four of these readings: within a minute no alarm on readings a quarter of an hour apart can come
// three times, so "none chatters" alone would say nothing here.
func restless(said []engine.Transition) (names []string) {
	came := map[string][]time.Time{}
	for _, tr := range said {
		came[tr.Alarm.ID] = append(came[tr.Alarm.ID], tr.At.Wall)
		times := came[tr.Alarm.ID]
		if n := len(times); n >= 3 && times[n-1].Sub(times[n-3]) <= time.Hour && !slices.Contains(names, tr.Alarm.ID) {
			names = append(names, tr.Alarm.ID)
		}
	}
	return names
}

func byPoint(said []engine.Transition) map[string]int {
	count := map[string]int{}
	for _, tr := range said {
		count[tr.Alarm.Place]++
	}
	return count
}

// TestRiver_findsWhatTheTechnicianFound plays a stream's raw values of 2019 (Logan River Observatory) through collect and the built-in alarms about
// instruments: the overload value 7999, the pH that cannot be and the oxygen that stood at one value for 433 readings must be found. The technician flagged
// more than that, among them drift that nobody can see in one probe: how much of it is found is what it was when this was written; none that he let stand is doubted.
func TestRiver_findsWhatTheTechnicianFound(t *testing.T) {
	rows := riverTable(t, "MainStreet2019.csv.gz")
	all := collected(t, rows, riverColumns)
	seen := map[string]int{}
	bad := map[string][]bool{}
	for _, c := range riverColumns {
		bad[c.point] = make([]bool, len(rows))
	}
	first := all[0].Stamp.Mono
	for _, r := range all {
		if r.Quality != reading.Good {
			bad[r.Point][min(rowAt(r.Stamp.Mono-first), len(rows)-1)] = true
		}
		seen[r.Point+" "+r.Cause]++
	}
	for _, c := range riverColumns {
		flagged, found, doubted := 0, 0, 0
		want := recall[c.point]
		for i, row := range rows {
			technician := row[c.flags] != "NULL"
			switch {
			case technician:
				flagged++
				if bad[c.point][i] {
					found++
				}
			case bad[c.point][i]:
				doubted++
			}
			value, err := strconv.ParseFloat(row[c.value], 64)
			absurd := err == nil && (value == 7999 || value == -9999 || c.quantity == units.PH && (value > 14 || value < 1))
			if absurd && !bad[c.point][i] {
				t.Errorf("%s: %v at %s was taken for a value", c.point, value, row[0])
			}
		}
		t.Logf("%-18s the technician flagged %4d readings, %4d of them (%.0f %%) were not taken as good; %d more were not, which he let stand", c.point, flagged, found,
			100*float64(found)/float64(max(1, flagged)), doubted)
		if flagged != want.flagged || found < want.found || doubted > 0 {
			t.Errorf("%s: %d of %d flagged readings found, %d doubted that he let stand; want %d of %d and none", c.point, found, flagged, doubted, want.found, want.flagged)
		}
	}
	t.Logf("causes: %v", seen)
	if seen["river/oxygen frozen"] < 300 {
		t.Errorf("oxygen was frozen for %d readings, want those of 433 and 371 beyond half a day", seen["river/oxygen frozen"])
	}
	said, quiet, r := rehearsed(t, all)
	t.Logf("kept quiet by the alarm at the temperature of the same sonde: %v", quiet)
	t.Logf("%d occurrences in nine months: %v; %d chatter, restless: %v", len(said), byPoint(said), len(r.Chattering), restless(said))
	for _, c := range riverColumns {
		if byPoint(said)[c.point]+quiet[c.point] == 0 { // all four hang on one sonde, and a dead sonde is one alarm
			t.Errorf("nothing rang at %s, of which the technician flagged %d", c.point, recall[c.point].flagged)
		}
	}
	if len(r.Chattering) > 0 {
		t.Errorf("%v chatter", r.Chattering)
	}
}

// recall is how many readings of each probe the technician flagged (counted from the table by a script of another language), and how many of them were found.
var recall = map[string]struct{ flagged, found int }{"river/temperature": {198, 129}, "river/co2": {519, 410}, "river/ph": {123, 106}, "river/oxygen": {5674, 808}}

// TestRiver_cleanYear plays the same site's mostly clean year: less than two false alarms a month and point, and none that comes and goes.
func TestRiver_cleanYear(t *testing.T) {
	columns := make([]column, len(riverColumns))
	for i, c := range riverColumns {
		c.value, c.flags = i+1, -1
		columns[i] = c
	}
	rows := riverTable(t, "MS2017.csv.gz")
	said, _, r := rehearsed(t, collected(t, rows, columns))
	months := float64(len(rows)) * 15 / 60 / 24 / 30.4
	count := byPoint(said)
	t.Logf("%d rows, %.1f months: %d occurrences, %v; %d chatter, restless: %v", len(rows), months, len(said), count, len(r.Chattering), restless(said))
	if names := restless(said); len(r.Chattering) > 0 || len(names) > 0 {
		t.Errorf("%v chatter, %v came three times within an hour", r.Chattering, names)
	}
	for point, n := range count {
		if perMonth := float64(n) / months; perMonth >= 2 {
			t.Errorf("%s: %.1f alarms a month, want under 2", point, perMonth)
		}
	}
}
