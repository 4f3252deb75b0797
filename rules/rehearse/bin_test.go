package rehearse

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/engine"
)

const binRules = `site small-mill
    timezone        America/Lima
    altitude        1450 m

station bin-1 is bin

probe bin-1-stick
    part            radio on topic bin-1
    gives           temperature, humidity at bin-1
    every           5 min

use storage
`

// binEvent logs the passing of one value; at rising ones each is told once, since none falls below it within a stay.
func binEvent(name, condition string) string {
	return fmt.Sprintf("\nevent %s at bin-1\n    when            %s\n    say             \"It is so.\"\n", name, condition)
}

// weather is the bin's air, invented: warm and damp by day, so that the humidity passes the limit of moulds twice a day, and a stick that is silent from the 30th to the
// 34th hour.
func weather(hours int) (all []reading.Reading) {
	for d := time.Duration(0); d < time.Duration(hours)*time.Hour; d += 5 * time.Minute {
		if h := d.Hours(); h >= 30 && h < 34 {
			continue
		}
		turn := 2 * math.Pi * d.Hours() / 24
		all = append(all, reading.Reading{Point: "bin-1/humidity", Quantity: units.Humidity, Value: 69 + 6*math.Sin(turn), Stamp: at(d)},
			reading.Reading{Point: "bin-1/temperature", Quantity: units.Temperature, Value: 20 + d.Hours()/10 + 2*math.Sin(turn), Stamp: at(d)})
	}
	return all
}

// reckoned is what the rows alone say, second by second, by the language's own words and by nothing of the program: a reading stands for 15 min (three times its `every`); time above 70 %RH
// since the lot came in is mould-hours; own-mean is the temperature weighted by the time for which it was known, not said before a day of it is. Each first passing is noted.
type reckoned struct{ mould, mean map[float64]time.Duration }

func reckon(all []reading.Reading, from, to time.Duration, moulds, means []float64) reckoned {
	r := reckoned{map[float64]time.Duration{}, map[float64]time.Duration{}}
	var mould, sum, known float64
	var rh, warm reading.Reading
	next := 0
	for now := time.Duration(0); now < to; now += time.Second {
		for ; next < len(all) && !all[next].Stamp.Wall.After(evening.Add(now)); next++ {
			if all[next].Quantity == units.Humidity {
				rh = all[next]
			} else {
				warm = all[next]
			}
		}
		if now < from {
			continue
		}
		if now > from && evening.Add(now).Sub(rh.Stamp.Wall) <= 15*time.Minute {
			if rh.Value > 70 {
				mould++
			}
			sum, known = sum+warm.Value, known+1
		}
		for _, hours := range moulds {
			if _, was := r.mould[hours]; !was && mould > hours*3600 {
				r.mould[hours] = now
			}
		}
		for _, mean := range means {
			if _, was := r.mean[mean]; !was && known >= 24*3600 && sum/known > mean {
				r.mean[mean] = now
			}
		}
	}
	return r
}

// Aim: points that hang on a lot's stay are worked out in a rehearsal as their meaning says, over a gap in the readings too, and begin anew with the next lot.
func TestPlay_binOverStays(t *testing.T) {
	moulds, means := []float64{1, 5, 9.5, 14, 21}, []float64{22.5, 23, 23.5, 24}
	text := binRules
	for _, hours := range moulds {
		text += binEvent(fmt.Sprintf("mould-%.0f", hours*10), fmt.Sprintf("mould-hours > %.1f h", hours))
	}
	for _, mean := range means {
		text += binEvent(fmt.Sprintf("mean-%.0f", mean*10), fmt.Sprintf("own-mean > %.1f °C and loaded", mean))
	}
	text += binEvent("stored", "stored-time > 50 h")
	p := plan(t, text)
	all := weather(6 * 24)
	first, second, end := 2*time.Hour, 74*time.Hour, 140*time.Hour
	lots := []reading.Stay{{Stamp: at(first), Station: "bin-1", Lot: "143"}, {Stamp: at(second - time.Hour), Station: "bin-1", Lot: "143", Empty: true},
		{Stamp: at(second), Station: "bin-1", Lot: "144"}, {Stamp: at(end), Station: "bin-1", Lot: "144", Empty: true}}
	said1, _ := played(t, p, Input{Readings: []Source{&list{all}}, Lots: lots})
	came := map[string][]time.Duration{}
	for _, tr := range said1 {
		if tr.Event == engine.Occur {
			came[tr.Alarm.Name] = append(came[tr.Alarm.Name], tr.At.Wall.Sub(evening))
		}
	}
	hand := []reckoned{reckon(all, first, second-time.Hour, moulds, means), reckon(all, second, end, moulds, means)}
	checked := 0
	compare := func(name string, want []time.Duration, slack time.Duration) {
		t.Helper()
		got := came[name]
		if len(got) != len(want) {
			t.Errorf("%s came at %v, reckoned %v", name, got, want)
			return
		}
		for i := range want {
			checked++
			if late := got[i] - want[i]; late < -slack || late > slack {
				t.Errorf("%s came at %v, reckoned %v", name, got[i], want[i])
			}
		}
	}
	both := func(of func(reckoned) (time.Duration, bool)) (want []time.Duration) {
		for _, r := range hand {
			if at, comes := of(r); comes {
				want = append(want, at)
			}
		}
		return want
	}
	for _, hours := range moulds {
		compare(fmt.Sprintf("mould-%.0f", hours*10), both(func(r reckoned) (time.Duration, bool) { at, ok := r.mould[hours]; return at, ok }), looks)
	}
	for _, mean := range means {
		compare(fmt.Sprintf("mean-%.0f", mean*10), both(func(r reckoned) (time.Duration, bool) { at, ok := r.mean[mean]; return at, ok }), looks)
	}
	compare("stored", []time.Duration{first + 50*time.Hour, second + 50*time.Hour}, looks)
	if checked < 15 {
		t.Errorf("%d passings were held against the reckoning", checked)
	}
	again, _ := played(t, p, Input{Readings: []Source{&list{all}}, Lots: lots})
	if said(again) != said(said1) {
		t.Error("played again it says something else")
	}
	without, _ := played(t, p, Input{Readings: []Source{&list{all}}})
	if s := said(without); strings.Contains(s, "mould-") || strings.Contains(s, "stored@") {
		t.Errorf("without lots it says\n%s", s)
	}
}

// looks is how far two reckonings may lie apart: hours and means of a bin are said once a minute.
const looks = 61 * time.Second
