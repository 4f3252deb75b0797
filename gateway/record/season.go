package record

import (
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	"millwarden/gateway/logbook/lots"
	"millwarden/internal/coffee"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/check"
	"millwarden/rules/engine"
)

// Season compares nights and lots, so that the owner sees how good the forecasts were and where coffee was lost. Times are Unix milliseconds, lengths of time milliseconds.
type Season struct {
	From  int64       `json:"from"`
	To    int64       `json:"to"`
	Waits []Wait      `json:"waits"` // every stay in a tank, on a deck or in a dryer, oldest first
	Lots  []SeasonLot `json:"lots"`
	Wash  Judged      `json:"wash"`
	Dry   Judged      `json:"dry"`
	// Learned is what the estate's own washed tanks have taught the forecasts up to now, by groups of tanks with the same settings.
	Learned []Learned `json:"learned"`
	// Dried is the same of dried layers, by groups of decks or dryers with the same target; those that dried none are left out.
	Dried []Dried `json:"dried"`
}

// Learned is what one group of tanks has taught.
type Learned struct {
	Stations  []string `json:"stations"`
	Tanks     int      `json:"tanks"` // washed ones that it rests on; 0: the forecasts are those of the rules file
	Usual     int64    `json:"usual"` // to pH 4.6 at the reference temperature as the rules file says, milliseconds
	Ready     int64    `json:"ready"` // the same as learned
	Early     int64    `json:"early"` // two tanks of three lie between early and late
	Late      int64    `json:"late"`
	Reference float64  `json:"reference"` // °C
}

// Dried is what one group of decks or dryers has taught.
type Dried struct {
	Stations []string `json:"stations"`
	Layers   int      `json:"layers"` // that it rests on
	Target   float64  `json:"target"` // %wb
	Took     int64    `json:"took"`   // from load to target, milliseconds
	Early    int64    `json:"early"`  // two layers of three lie between early and late
	Late     int64    `json:"late"`
}

// Wait is one stay with a forecast to be held against what came.
type Wait struct {
	Lot       string     `json:"lot"`
	Station   string     `json:"station"`
	Kind      string     `json:"kind"`
	From      int64      `json:"from"`
	To        int64      `json:"to,omitempty"`     // 0: it lasts
	Ready     int64      `json:"ready,omitempty"`  // when the pH or the moisture was first where it is ready; 0: not seen
	Warmth    *float64   `json:"warmth"`           // °C, mean of the mass or of the air; null: not known
	End       *float64   `json:"end"`              // pH or %wb at the end
	Taught    int64      `json:"taught,omitempty"` // a tank's time to Ready as it would be at the reference temperature, by the mean of its mass: the anchor that this lot alone would give; 0: not known
	Anchor    int64      `json:"anchor,omitempty"` // the same as the rules file says (ready-after)
	Forecasts []Forecast `json:"forecasts"`        // at 25, 50 and 75 % of the way to Ready, where one was made
}

// Forecast is what was foreseen at a time, and how far it was off.
type Forecast struct {
	Part  int   `json:"part"` // 25, 50, 75: % of the way
	Made  int64 `json:"made"`
	Ready int64 `json:"ready"`
	Early int64 `json:"early,omitempty"`
	Late  int64 `json:"late,omitempty"`
	Off   int64 `json:"off"`  // foreseen less came, milliseconds
	Held  bool  `json:"held"` // it came between early and late
}

// SeasonLot is one lot with what it gave.
type SeasonLot struct {
	Lot    string        `json:"lot"`
	Began  int64         `json:"began"`
	Form   lots.Form     `json:"form,omitempty"`
	Yield  lots.Yield    `json:"yield"`
	Alarms int           `json:"alarms"` // of class quality, food or safety, at its stations while it was there
	Danger int64         `json:"danger"` // how long such alarms stood, each minute once
	Worst  []DangerShare `json:"worst"`  // by alarm, longest first
}

// DangerShare is one alarm's part.
type DangerShare struct {
	Alarm string `json:"alarm"`
	Long  int64  `json:"long"`
}

// Judged is how good the forecasts half way were.
type Judged struct {
	Forecasts int   `json:"forecasts"`
	Median    int64 `json:"median"` // of how far they were off, without sign, milliseconds
	Worst     int64 `json:"worst"`
	Held      int   `json:"held"` // how many came within their interval
}

// foreseen is what a kind of station forecasts and by which point it is seen to come.
var foreseen = map[string]struct {
	forecast, seen, warmth string
	below                  bool
}{
	"tank":  {"wash-in", "ph", "temperature", true},
	"deck":  {"drying-in", "moisture", "air-temperature", true},
	"dryer": {"drying-in", "moisture", "air-temperature", true},
}

// CompareSeason compares the lots that began between two times.
func CompareSeason(ctx context.Context, s Sources, names []string, from, to time.Time) (*Season, error) {
	season := &Season{From: from.UnixMilli(), To: to.UnixMilli(), Waits: []Wait{}, Lots: []SeasonLot{}, Learned: []Learned{}, Dried: []Dried{}}
	list, err := s.Logbook.Entries(ctx, logbook.Filter{From: from, To: to, Kinds: []logbook.Kind{logbook.Transition}, Limit: mostEntries})
	if err != nil {
		return nil, err
	}
	for _, name := range names {
		shown, ok := s.Show(name)
		if !ok || shown.Began < season.From || shown.Began >= season.To {
			continue
		}
		r := &Record{Lot: shown, Site: s.Plan.Site, Made: s.Now, To: s.Now}
		for i := range shown.Stays {
			stay := r.stay(s.Plan, name, &shown.Stays[i], false)
			r.Stays = append(r.Stays, stay)
			if _, ok := foreseen[stay.Kind]; !ok {
				continue
			}
			w, err := wait(ctx, s, &stay)
			if err != nil {
				return nil, err
			}
			season.Waits = append(season.Waits, w)
		}
		season.Lots = append(season.Lots, r.danger(s.Plan, list))
	}
	slices.SortStableFunc(season.Waits, func(a, b Wait) int { return int(a.From/1000 - b.From/1000) })
	slices.SortStableFunc(season.Lots, func(a, b SeasonLot) int { return int(a.Began/1000 - b.Began/1000) })
	season.Wash, season.Dry = judge(season.Waits, true), judge(season.Waits, false)
	return season, nil
}

// danger adds up alarms of a lot.
func (r *Record) danger(plan *check.Plan, list []logbook.Entry) SeasonLot {
	lot := SeasonLot{Lot: r.Lot.Lot, Began: r.Lot.Began, Form: r.Lot.Form, Yield: r.Lot.Yield, Worst: []DangerShare{}}
	for i := range list {
		r.alarm(plan, &list[i])
	}
	var stretches []Gap
	for i := range r.Deviations {
		d := &r.Deviations[i]
		if d.Class == engine.Equipment.String() || d.Class == "" {
			continue
		}
		lot.Alarms++
		to := d.To
		if st := r.stayOf(d.station(plan), d.From); st != nil && st.To.Before(to) {
			to = st.To
		}
		stretches = append(stretches, Gap{From: d.From, To: to})
		long := to.Sub(d.From).Milliseconds()
		if n := slices.IndexFunc(lot.Worst, func(w DangerShare) bool { return w.Alarm == d.Alarm }); n >= 0 {
			lot.Worst[n].Long += long
		} else {
			lot.Worst = append(lot.Worst, DangerShare{d.Alarm, long})
		}
	}
	slices.SortStableFunc(lot.Worst, func(a, b DangerShare) int { return int(b.Long - a.Long) })
	lot.Danger = union(stretches).Milliseconds()
	return lot
}

// station is where an alarm stands.
func (d *Deviation) station(plan *check.Plan) string {
	for i := range plan.Engine.Alarms {
		if a := &plan.Engine.Alarms[i]; a.ID == d.Alarm {
			return a.Place
		}
	}
	return ""
}

// union is how long stretches last together, what they share counted once.
func union(list []Gap) (sum time.Duration) {
	slices.SortFunc(list, func(a, b Gap) int { return a.From.Compare(b.From) })
	var end time.Time
	for _, g := range list {
		if g.From.After(end) {
			end = g.From
		}
		if g.To.After(end) {
			sum += g.To.Sub(end)
			end = g.To
		}
	}
	return sum
}

// wait looks at one stay.
func wait(ctx context.Context, s Sources, st *Stay) (Wait, error) {
	f := foreseen[st.Kind]
	w := Wait{Lot: st.Lot, Station: st.Station, Kind: st.Kind, From: st.From.UnixMilli(), Forecasts: []Forecast{}}
	if !st.Lasts {
		w.To = st.To.UnixMilli()
	}
	if !st.To.After(st.From) {
		return w, nil
	}
	seen, err := pixels(ctx, s, st.Station+"/"+f.seen, st.From, st.To, columns)
	if err != nil {
		return w, err
	}
	limit := readyAt(s.Plan, st.Station, st.Kind)
	for i := range seen {
		c := &seen[i]
		if c.Readings == c.Bad {
			continue
		}
		last := c.Last
		w.End = &last
		if w.Ready == 0 && c.Mean <= limit {
			w.Ready = c.From.UnixMilli()
		}
	}
	warm, err := pixels(ctx, s, st.Station+"/"+f.warmth, st.From, st.To, 1)
	if err != nil {
		return w, err
	}
	if len(warm) == 1 && warm[0].Readings > warm[0].Bad {
		w.Warmth = &warm[0].Mean
	}
	if w.Ready == 0 {
		return w, nil
	}
	if st.Kind == "tank" && w.Warmth != nil {
		w.Taught, w.Anchor = taught(s.Plan, st.Station, time.Duration(w.Ready-w.From)*time.Millisecond, *w.Warmth)
	}
	for _, part := range []int{25, 50, 75} {
		made := time.UnixMilli(w.From + (w.Ready-w.From)*int64(part)/100).UTC()
		if c, ok, err := forecast(ctx, s, st.Station+"/"+f.forecast, made, part, w.Ready); err != nil {
			return w, err
		} else if ok {
			w.Forecasts = append(w.Forecasts, c)
		}
	}
	return w, nil
}

// pixels reads a curve; where the history is damaged, what the rest shows.
func pixels(ctx context.Context, s Sources, point string, from, to time.Time, n int) ([]history.Column, error) {
	list, err := s.History.Pixels(ctx, point, from, to, n)
	if len(list) > 0 {
		err = nil
	}
	return list, err
}

// around is how far from its time a forecast is looked for: they are kept once a minute.
const around = 3 * time.Minute

func forecast(ctx context.Context, s Sources, point string, made time.Time, part int, ready int64) (Forecast, bool, error) {
	f := Forecast{Part: part, Made: made.UnixMilli()}
	for _, end := range []struct {
		suffix string
		into   *int64
	}{{"", &f.Ready}, {"-early", &f.Early}, {"-late", &f.Late}} {
		list, err := pixels(ctx, s, point+end.suffix, made.Add(-around), made, 1)
		if err != nil {
			return f, false, err
		}
		if len(list) != 1 || list[0].Readings == list[0].Bad || math.IsNaN(list[0].Last) {
			if end.suffix == "" {
				return f, false, nil
			}
			continue
		}
		*end.into = f.Made + int64(list[0].Last*1000)
	}
	f.Off = f.Ready - ready
	f.Held = f.Early > 0 && f.Late > 0 && ready >= f.Early && ready <= f.Late
	return f, true, nil
}

// readyAt is the pH, or the moisture, at which a station's coffee is ready: the limit and the setting by which the models forecast.
func readyAt(plan *check.Plan, station, kind string) float64 {
	if kind == "tank" {
		value := 4.6
		for i := range plan.Limits {
			if l := &plan.Limits[i]; l.Name == "ready-ph" && (len(l.At) == 0 || slices.Contains(l.At, station)) {
				value = l.Value.Value
			}
		}
		return value
	}
	for i := range plan.Stations {
		if st := &plan.Stations[i]; st.Name == station {
			if line, ok := st.Settings.Find("target-moisture"); ok && len(line.Slots) > 0 {
				return line.Slots[0].Amount.Value
			}
		}
	}
	return 11
}

// taught is what a tank that was ready after so long at a mean temperature would have needed at the reference, and what the rules file says of it, in milliseconds.
func taught(plan *check.Plan, station string, long time.Duration, warmth float64) (alone, anchor int64) {
	set := func(key string, usual float64) float64 {
		for i := range plan.Stations {
			if st := &plan.Stations[i]; st.Name == station {
				if line, ok := st.Settings.Find(key); ok && len(line.Slots) > 0 {
					return line.Slots[0].Amount.Value
				}
			}
		}
		return usual
	}
	pace := coffee.Pace{Q10: set("q10", coffee.Usual.Q10), Reference: units.Celsius(set("reference", float64(coffee.Usual.Reference)))}
	return pace.Equivalent(long, units.Celsius(warmth)).Milliseconds(), int64(1000 * set("ready-after", 15*3600))
}

func judge(list []Wait, tanks bool) Judged {
	var j Judged
	var off []int64
	for i := range list {
		for _, f := range list[i].Forecasts {
			if f.Part != 50 || (list[i].Kind == "tank") != tanks {
				continue
			}
			if f.Held {
				j.Held++
			}
			off = append(off, max(f.Off, -f.Off))
		}
	}
	if j.Forecasts = len(off); j.Forecasts > 0 {
		slices.Sort(off)
		j.Median, j.Worst = off[len(off)/2], off[len(off)-1]
	}
	return j
}

// CSV writes the stays and the lots of a season.
func (s *Season) CSV(to io.Writer) error {
	w := csv.NewWriter(to)
	w.UseCRLF = true
	row := func(cells ...string) {
		for i := range cells {
			if strings.Trim(cells[i], "-.0123456789") != "" { // a number is no formula, below zero either
				cells[i] = reading.Guard(cells[i])
			}
		}
		_ = w.Write(cells) // the first error is kept and given by Error
	}
	time3339 := func(ms int64) string {
		if ms == 0 {
			return ""
		}
		return stamp(at(ms))
	}
	row("part", "lot", "station", "from", "to", "ready", "warmth_c", "end", "forecast_at_pct", "forecast_ready", "off_min", "held", "cherry_kg", "parchment_kg", "green_kg", "outturn_pct", "roast_loss_pct", "alarms", "danger_h", "anchor_h", "taught_h", "offset_min", "early_h", "late_h", "tanks", "layers")
	for i := range s.Waits {
		x := &s.Waits[i]
		cells := []string{"stay", x.Lot, x.Station, time3339(x.From), time3339(x.To), time3339(x.Ready), optional(x.Warmth), optional(x.End)}
		learned := []string{"", "", "", "", "", "", "", "", "", "", "", "", "", ""}
		if x.Taught > 0 {
			learned = []string{"", "", "", "", "", "", "", inHours(x.Anchor), inHours(x.Taught), minutes(x.Taught - x.Anchor), "", "", "", ""}
		}
		if len(x.Forecasts) == 0 {
			row(slices.Concat(cells, []string{"", "", "", ""}, learned)...)
		}
		for _, f := range x.Forecasts {
			row(slices.Concat(cells, []string{fmt.Sprint(f.Part), time3339(f.Ready), minutes(f.Off), fmt.Sprint(f.Held)}, learned)...)
		}
	}
	for i := range s.Lots {
		l := &s.Lots[i]
		row("lot", l.Lot, "", time3339(l.Began), "", "", "", "", "", "", "", "", mass(l.Yield.Cherry), mass(l.Yield.Dry), mass(l.Yield.Green), part(l.Yield.Outturn), part(l.Yield.RoastLoss), fmt.Sprint(l.Alarms), inHours(l.Danger), "", "", "", "", "", "", "")
	}
	for i := range s.Learned {
		l := &s.Learned[i]
		row("learned", "", strings.Join(l.Stations, " "), "", "", "", plain(l.Reference), "", "", "", "", "", "", "", "", "", "", "", "", inHours(l.Usual), inHours(l.Ready), minutes(l.Ready-l.Usual),
			inHours(l.Early), inHours(l.Late), fmt.Sprint(l.Tanks), "")
	}
	for i := range s.Dried {
		d := &s.Dried[i]
		row("dried", "", strings.Join(d.Stations, " "), "", "", "", "", plain(d.Target), "", "", "", "", "", "", "", "", "", "", "", "", inHours(d.Took), "", inHours(d.Early), inHours(d.Late), "", fmt.Sprint(d.Layers))
	}
	w.Flush()
	return w.Error()
}

func inHours(ms int64) string { return fmt.Sprintf("%.2f", float64(ms)/3.6e6) }

func minutes(ms int64) string { return fmt.Sprintf("%.0f", float64(ms)/60000) }

func optional(v *float64) string {
	if v == nil {
		return ""
	}
	return plain(*v)
}

func part(v float64) string {
	if v == 0 {
		return ""
	}
	return fmt.Sprintf("%.1f", v)
}
