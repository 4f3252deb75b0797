package web

import (
	"context"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"
)

// hoursAgo is when the invented estate stands still, hours ago.
func hoursAgo(hours float64) int64 {
	return fakeStamp(time.Duration(hours * float64(time.Hour))).Wall.UnixMilli()
}

func (f *fake) Way(_ context.Context, from, to time.Time) (Way, error) {
	return Way{From: from.UnixMilli(), To: to.UnixMilli(),
		Stays: []Stay{
			{Station: "tank-2", Lot: "139", From: hoursAgo(97), To: hoursAgo(72), Loaded: 640, Who: "Ana", EmptiedBy: "Ben", Note: "late"},
			{Station: "deck-a", Lot: "139", From: hoursAgo(70), Loaded: 640, Who: "Ana"},
			{Station: "tank-2", Lot: "143", From: hoursAgo(10), Loaded: 388, Who: "Ana"},
		},
		Marks: []Mark{{Alarm: "too-wet@bin-3", Title: "too wet", Station: "bin-3", Priority: "medium", At: hoursAgo(5)},
			{Alarm: "over-fermented@tank-1", Title: "over-fermented", Station: "tank-1", Priority: "high", At: hoursAgo(0.1)}},
		Acts: []Line{{ID: 7, At: hoursAgo(4), Set: true, Kind: "transition", Alarm: "too-wet@bin-3", Occurrence: 2, Place: "bin-3", Who: "Ben", Text: "acknowledged"}},
	}, f.bookFault
}

// Aim: without books the page says so, and nothing breaks.
func TestBooks_none(t *testing.T) {
	f := newFake()
	w, err := New(Config{Model: f, Acts: f, Health: f, Open: true})
	must(t, err)
	got := ask(t, w, request("GET", "/api/way", ""))
	if got.Code != http.StatusNotFound || !strings.Contains(got.Body.String(), "no books") {
		t.Errorf("without books: %d %s", got.Code, got.Body)
	}
}

func (f *fake) Search(_ context.Context, s Search) ([]Line, error) {
	lines := []Line{
		{ID: 9, At: hoursAgo(1), Set: true, Kind: "transition", Alarm: "over-fermented@tank-1", Occurrence: 7, Place: "tank-1", Lot: "142", State: "unacknowledged", Text: "pH has been below 4.1 for 5 min"},
		{ID: 8, At: hoursAgo(2), Set: true, Kind: "note", Place: "tank-2", Lot: "143", Who: "Ana", Text: "slippery, not yet"},
		{ID: 7, At: hoursAgo(30), Set: true, Kind: "lot", Place: "deck-a", Lot: "139", Who: "Ben", Text: "deck-a loaded: 139, 640 kg"},
	}
	if s.Before > 0 {
		return nil, f.bookFault
	}
	return lines, f.bookFault
}

func (f *fake) Register() []Registered {
	return []Registered{
		{Name: "over-fermented", Kind: "alarm", Title: "over-fermented", Places: []string{"tank 1", "tank 2"}, Priority: "high", Class: "quality", When: "ph < 4.1 pH", Limits: []string{},
			OnDelay: 300000, Action: "Drain and wash now.", Consequence: "Sour cup.", RespondWithin: 2700000, Call: []string{}, Written: "site.rules:40"},
		{Name: "wash-ahead", Kind: "prompt", Title: "wash ahead", Places: []string{"tank 1"}, When: "wash-in > 0 s", Limits: []string{}, Action: "Wash.", Call: []string{}, Written: "site.rules:60"},
	}
}

func (f *fake) Rates(context.Context, int) (Rates, error) {
	return Rates{From: hoursAgo(720), To: hoursAgo(0), Enough: true, Figures: []Figure{{Name: "a-day", Value: 7.2, Most: 6, Ours: true}, {Name: "top-ten", Value: 0.2, Share: true, Most: 0.3}},
		Top: []Count{{Alarm: "too-wet@bin-3", Times: 12}}, Chatter: []Count{}, Stale: []Count{}}, f.bookFault
}

func (f *fake) Watches() []Watch {
	return []Watch{{Name: "night", Title: "night", OnDuty: true, Hours: []string{"18:00-06:00"}, Takes: []string{}, Areas: []string{}, Repeat: 600000,
		Steps: []WatchStep{{0, []string{"Ana"}, []string{"text"}}, {300000, []string{"Ben"}, []string{}}}}}
}

func (f *fake) Probes(context.Context) ([]Probe, error) {
	stick := Probe{Name: "bin-2-stick", Title: "bin 2 stick", Part: "radio", Bus: "broker", Points: []string{"bin-2/moisture"}, Every: 60000, Fault: "no answer", Misses: 4, Calibrations: []Calibration{}}
	if f.readByHand(stick.Points[0]) {
		stick.Part, stick.Bus, stick.Fault, stick.Misses = "by-hand", "by-hand", "", 0
	}
	return []Probe{
		{Name: "tank-1-electrode", Title: "tank 1 electrode", Part: "ads1115", Bus: "i2c-1", Points: []string{"tank-1/ph"}, Every: 10000, Heard: 1, Raw: "c5a30f12", CheckEvery: 604800000,
			Calibrations: []Calibration{{At: hoursAgo(50), Kind: "two-point", Points: []string{"7 read 0.0002 at 25 °C"}, Who: "Ben"}}},
		stick,
	}, f.bookFault
}

func (f *fake) readByHand(point string) bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return slices.ContainsFunc(f.snapshot.Points, func(p Point) bool { return p.Name == point && p.ByHand })
}

func (f *fake) Calibration(_ context.Context, probe, _ string) (Calibrating, error) {
	if probe != "tank-1-electrode" {
		return Calibrating{}, &Refusal{RefusedUnknown, "There is no such probe."}
	}
	celsius := 21.5
	return Calibrating{Probe: probe, Channel: "ph", Point: "tank-1/ph", Method: "electrode", Unit: "pH", Read: 0.0021, Shown: 6.97, Celsius: &celsius, Stands: true, Buffers: map[string]float64{"7.00": 7.02},
		Boiling: 95.2, Last: hoursAgo(50), Every: 604800000, Doubt: "calibration overdue", Drift: "Slope moves."}, f.bookFault
}

func (f *fake) Worked(point string) (Worked, bool) {
	return Worked{From: []string{"tank-2/ph"}, Formula: "median of the slopes between all pairs", Source: "Theil and Sen", When: "each minute"}, point == "tank-2/ph-slope"
}

func (f *fake) Calibrate(_ context.Context, c Calibrate) (Calibrated, error) {
	if len(c.Points) < 2 {
		return Calibrated{Found: []float64{0.1}, Left: CalibrationLeft{Refused: "two buffers are needed"}}, f.refusal
	}
	return Calibrated{Accepted: true, Found: []float64{0.02, -0.1}, Left: CalibrationLeft{Slope: 97.8, Offset: -0.008, Residual: 0.0001, Gain: 1, Shift: 0.1, Errors: []float64{0}, Uncertain: true, Warning: "w"},
		Due: hoursAgo(-168), Drift: "Slope moves."}, f.refusal
}

func (f *fake) Rules() (Rules, error) {
	return Rules{Files: []RulesFile{{"site.rules", "site fern-hollow\n    altitude 1450\n"}}, Hash: "abc"}, f.bookFault
}

func (f *fake) CheckRules(name, text string) ([]Said, error) {
	if name != "site.rules" {
		return nil, &Refusal{RefusedUnknown, "The rules have no file of that name."}
	}
	if strings.Contains(text, "1450\n") {
		return []Said{{"error", name, 2, 14, 4, "an altitude needs its unit", "Write 1450 m."}}, nil
	}
	return nil, nil
}

func (f *fake) Closings(context.Context) ([]Closing, error) {
	return []Closing{{Alarm: "fan-stopped@dryer-1", Occurrence: 4, Title: "fan stopped with heat", Place: "dryer 1", Station: "dryer-1", From: hoursAgo(6), To: hoursAgo(5.5), Who: "Ben"}}, f.bookFault
}

func (f *fake) Coming() Coming {
	return Coming{Swaps: []Swap{{ID: 31, Away: []string{"Ben"}, Names: []string{"ben"}, Name: "caro", Stands: "Caro", From: hoursAgo(-20), To: hoursAgo(-30), Who: "Ana", Why: "Christmas", At: hoursAgo(50)}},
		Turns: []Turn{{Person: "Ana", Watch: "night", From: hoursAgo(0), To: hoursAgo(-4), By: []string{"text"}}, {Person: "Caro", Watch: "night", From: hoursAgo(-20), To: hoursAgo(-24), After: 300000, By: []string{}, For: "Ben"}}}
}

func (f *fake) Swap(_ context.Context, s Swapping) (Swapped, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return Swapped{ID: 32, Says: s.Stands + " takes " + s.Away + "'s watch"}, f.refusal
}

func (f *fake) Scan(context.Context, string) (Wired, error) {
	return Wired{Found: []Found{{Bus: "i2c-1", Place: "0x46", What: "an SHT4x", Parts: []string{"sht4x"}, Sure: "certain", Why: "serial number", Block: "probe new-sht4x-0x46\n"}}, Notes: []string{}}, nil
}

func (f *fake) CheckProbe(block string) (ProbeSaid, error) {
	if !strings.HasPrefix(block, "probe ") {
		return ProbeSaid{}, &Refusal{RefusedInput, "Write one block that begins with probe and its name."}
	}
	return ProbeSaid{Block: block, Said: []Said{}}, nil
}

func (f *fake) AddProbe(_ context.Context, p NewProbe) (ProbeSaid, error) {
	said, err := f.CheckProbe(p.Block)
	said.Done = err == nil
	return said, err
}

func (f *fake) SaveRules(_ context.Context, e Edit) ([]Said, error) {
	if e.Was == "older" {
		return nil, &Refusal{RefusedSuperseded, "Somebody else has changed it."}
	}
	return f.CheckRules(e.Name, e.Text)
}

// Aim: what a search asks for is taken as it was meant, or refused; nothing asks for more than the bound.
func FuzzReadSearch(f *testing.F) {
	f.Add("wash", "2026-11-24T18:00:00Z", "9", "100")
	f.Add("", "yesterday", "-1", "501")
	f.Fuzz(func(t *testing.T, words, from, before, limit string) {
		s, err := readSearch(map[string][]string{"words": {words}, "from": {from}, "before": {before}, "limit": {limit}})
		if err == nil && (s.Limit < 1 || s.Limit > mostLines || s.Before < 0 || len(s.Words) > maxText) {
			t.Errorf("readSearch(%q, %q, %q, %q) = %+v", words, from, before, limit, s)
		}
	})
}
