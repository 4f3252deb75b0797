package engine

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"millwarden/internal/measured"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/formula"
)

// Tests on data that real probes gave. The folder is not part of the project; where it is absent they are skipped.

// TestMeasured_deadband: pH of a stream (Logan River Observatory, site Main Street, 2019, raw values every 15 min, missing and absurd ones among
// them) through alarms with several deadbands, against a switch written by hand. The deadband must also quieten: its purpose.
func TestMeasured_deadband(t *testing.T) {
	rows := measured.Table(t, "river_probes/MainStreet2019.csv.gz")
	const limit = 8.3
	bands := []float64{0, 0.05, 0.2}
	var alarms []Alarm
	for i, band := range bands {
		alarms = append(alarms, Alarm{Name: "high-" + strconv.Itoa(i), When: cmp(at(ph, units.PH), formula.Greater, num(limit, units.PH), band)})
	}
	p := tank(alarms...)
	p.Points[0].OverdueAfter = time.Hour
	e := mustNew(t, p, nil, stamp(0))
	byHand, on, came := make([]int, len(bands)), make([]bool, len(bands)), make([]int, len(bands))
	for i, row := range rows {
		r := reading.Reading{Point: ph, Quantity: units.PH, Stamp: stamp(time.Duration(i) * 15 * time.Minute)}
		value, err := strconv.ParseFloat(row[7], 64)
		if known := err == nil && value > 0 && value < 14; known {
			r.Value = value
			for j, band := range bands {
				if value > limit && !on[j] {
					on[j] = true
					byHand[j]++
				} else if on[j] && value <= limit-band {
					on[j] = false
				}
			}
		} else {
			r = reading.Missing(ph, units.PH, r.Stamp, "out of range")
		}
		for _, s := range e.Observe(&r, nil) {
			if s.NewOccurrence {
				came[s.Alarm.Name[len(s.Alarm.Name)-1]-'0']++
			}
		}
	}
	for j, band := range bands {
		if came[j] != byHand[j] {
			t.Errorf("deadband %v: %d occurrences, by hand %d", band, came[j], byHand[j])
		}
	}
	t.Logf("%d readings: %d occurrences without deadband, %d with 0.05, %d with 0.2 pH", len(rows), came[0], came[1], came[2])
	if came[0] < 40 || came[1] >= came[0] || came[2] >= came[1] {
		t.Errorf("occurrences %v: a wider deadband must quieten a real probe", came)
	}
}

// TestMeasured_windows: windows of 1 h, 6 h and 1 d over the temperature of a machine (Numenta anomaly benchmark, machine temperature system
// failure, every 5 min, one step backwards), against their definition.
func TestMeasured_windows(t *testing.T) {
	rows := measured.Table(t, "nab/machine_temperature_system_failure.csv.gz")
	var all []sample
	first, last := time.Time{}, time.Duration(-1)
	for _, row := range rows {
		when, err := time.Parse(time.DateTime, row[0])
		if err != nil {
			t.Fatal(err)
		}
		if first.IsZero() {
			first = when
		}
		value, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		if mono := when.Sub(first); mono > last { // an older reading decides nothing
			all, last = append(all, sample{mono, value, sure}), mono
		}
	}
	for _, over := range []time.Duration{time.Hour, 6 * time.Hour, 24 * time.Hour} {
		w := newWindow(over, 0)
		w.needs = needs{extremes: true, slope: true}
		worst, checked := 0.0, 0
		for i, s := range all {
			w.add(s)
			if i%211 != 0 || s.at < over {
				continue
			}
			d := direct{all: all[max(0, i-400) : i+1], over: over}
			want := d.answer(s.at, 70)
			checked++
			worst = max(worst, math.Abs(w.mean(s.at, false)-want.mean))
			slack := 0.0
			if over > longestRaw {
				slack = 2.0 / slicesPerWindow * 60 // a slice at each end, of values that differ by at most 60 within the window
			}
			if got := w.mean(s.at, false); !near(got, want.mean, slack+1e-9) {
				t.Fatalf("over %s after %s: mean %v, want %v", over, s.at, got, want.mean)
			}
			if got := w.highest(s.at, false); over <= longestRaw && got != want.high || got < want.high-1e-9 {
				t.Fatalf("over %s after %s: highest %v, want %v", over, s.at, got, want.high)
			}
			if got, h := w.rise(s.at, false), over.Seconds(); !near(got*h, want.rise*h, 40*slack+1e-6) {
				t.Fatalf("over %s after %s: rise over it %v, want %v", over, s.at, got*h, want.rise*h)
			}
		}
		t.Logf("over %s: %d places checked, mean within %.2g", over, checked, worst)
		if checked < 50 {
			t.Errorf("only %d places checked", checked)
		}
	}
}

// TestMeasured_alarmLog plays the alarm messages of a simulated chemical process (Manca 2020, CC0) as states: without delays the engine says them
// again one by one; with delays it says what the definition of the delays leaves, and that is far less.
func TestMeasured_alarmLog(t *testing.T) {
	type change struct {
		at time.Duration
		on bool
	}
	changes := map[string][]change{}
	var order []string
	var moments []struct {
		change
		tag string
	}
	var first time.Time
	for _, row := range measured.Table(t, "alarm_log/tep_original_61.csv.gz") {
		when, err := time.Parse(time.DateTime, row[1])
		if err != nil {
			t.Fatal(err)
		}
		if first.IsZero() {
			first = when
		}
		kind, back := strings.CutSuffix(row[3], " NR")
		tag := "plant/" + strings.ToLower(row[2]+"-"+kind)
		c := change{when.Sub(first), !back}
		past := changes[tag]
		if past == nil {
			order = append(order, tag)
		}
		if len(past) > 0 && past[len(past)-1].on == c.on || len(past) == 0 && back {
			continue // said twice
		}
		changes[tag] = append(past, c)
		moments = append(moments, struct {
			change
			tag string
		}{c, tag})
	}
	const delay = time.Minute
	p := Plan{Zone: time.UTC}
	for _, tag := range order {
		p.Points = append(p.Points, Point{Name: tag, Quantity: units.State})
		when := &formula.Node{Op: formula.IsOn, Ref: tag, Quantity: units.YesNo}
		p.Alarms = append(p.Alarms, Alarm{ID: "plain@" + tag, Name: "plain", When: when},
			Alarm{ID: "delayed@" + tag, Name: "delayed", When: when, OnDelay: delay, OffDelay: delay})
	}
	e := mustNew(t, p, nil, stamp(0))
	came := map[string]int{}
	count := func(said []Transition) {
		for _, s := range said {
			if s.Event == Occur {
				came[s.Alarm.ID]++
				came[s.Alarm.Name]++
			}
		}
	}
	for _, m := range moments {
		value := 0.0
		if m.on {
			value = 1
		}
		count(e.Observe(&reading.Reading{Point: m.tag, Quantity: units.State, Value: value, Stamp: stamp(m.at)}, nil))
	}
	count(e.Tick(stamp(moments[len(moments)-1].at+time.Hour), nil))
	for _, tag := range order {
		plain, delayed, active := 0, 0, false
		for i, c := range changes[tag] {
			held := time.Duration(math.MaxInt64)
			if i+1 < len(changes[tag]) {
				held = changes[tag][i+1].at - c.at
			}
			if c.on {
				plain++
			}
			if held >= delay && c.on != active { // it lasted long enough to change something
				active = c.on
				if active {
					delayed++
				}
			}
		}
		if came["plain@"+tag] != plain || came["delayed@"+tag] != delayed {
			t.Errorf("%s: %d and %d occurrences, want %d and %d", tag, came["plain@"+tag], came["delayed@"+tag], plain, delayed)
		}
	}
	t.Logf("%d occurrences without delays, %d with 1 min", came["plain"], came["delayed"])
	if came["plain"] < 400 || came["delayed"]*2 > came["plain"] {
		t.Errorf("%d without delays, %d with: delays must quieten this log", came["plain"], came["delayed"])
	}
}
