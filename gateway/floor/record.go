package floor

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"math"
	"time"

	"millwarden/gateway/logbook"
	"millwarden/gateway/record"
	"millwarden/gateway/web"
	"millwarden/internal/reading"
	"millwarden/rules/models"
)

func (f *Floor) sources(now reading.Stamp) record.Sources {
	return record.Sources{Plan: f.plan().Plan, Show: f.Lot, History: f.history, Logbook: f.logbook, Version: f.o.Version, Now: now.Wall, Demo: f.o.Demo}
}

// tellLimits writes down which limits are in force, where that is not what was written last: a record of later shows those that held while its lot was there.
func (f *Floor) tellLimits() {
	now := record.InForceOf(f.plan().Plan)
	last, known, err := record.LastInForce(context.Background(), f.logbook)
	if err != nil {
		f.log.Warn("it is not known which limits were in force before", "cause", err)
	}
	if known && last.Same(&now) {
		return
	}
	data, err := json.Marshal(now)
	if err != nil {
		data = nil // a limit that is no number: the hash stands in the line
	}
	f.write(logbook.Entry{Kind: logbook.RulesChange, Text: "rules in force: " + short(now.Rules), Data: data})
}

// Season compares the lots that began between two times, as JSON or CSV.
func (f *Floor) Season(ctx context.Context, from, to time.Time, form string) (web.Document, error) {
	var names []string
	for _, l := range f.Lots() {
		names = append(names, l.Lot)
	}
	season, err := record.CompareSeason(ctx, f.sources(f.clock.Now()), names, from, to)
	if err != nil {
		return web.Document{}, err
	}
	f.deciding.Lock()
	season.Learned, season.Dried = learnedOf(f.models.Learned()), driedOf(f.models.Dried())
	f.deciding.Unlock()
	if form == web.FormCSV {
		var text bytes.Buffer
		err := season.CSV(&text)
		return web.Document{Body: text.Bytes()}, err
	}
	text, err := json.Marshal(season)
	return web.Document{Body: text}, err
}

// learnedOf says what models have learned.
func learnedOf(list []models.Learned) []record.Learned {
	learned := make([]record.Learned, 0, len(list))
	for _, l := range list {
		ready := float64(l.Ready.Milliseconds())
		learned = append(learned, record.Learned{Stations: l.Stations, Tanks: l.Tanks, Usual: l.Usual.Milliseconds(), Ready: l.Ready.Milliseconds(), Early: int64(ready * math.Exp(-l.Spread)), Late: int64(ready * math.Exp(l.Spread)),
			Reference: l.Reference})
	}
	return learned
}

func driedOf(list []models.Dried) []record.Dried {
	dried := make([]record.Dried, 0, len(list))
	for _, d := range list {
		took := float64(d.Took.Milliseconds())
		dried = append(dried, record.Dried{Stations: d.Stations, Layers: d.Layers, Target: float64(d.Target), Took: d.Took.Milliseconds(), Early: int64(took * math.Exp(-d.Spread)), Late: int64(took * math.Exp(d.Spread))})
	}
	return dried
}

// Record makes the record of a lot, as HTML or CSV.
func (f *Floor) Record(ctx context.Context, lot, form string, to web.Reader) (web.Document, error) {
	now := f.clock.Now()
	r, err := record.Gather(ctx, f.sources(now), lot)
	if errors.Is(err, record.ErrNoLot) {
		return web.Document{}, &web.Refusal{Kind: web.RefusedUnknown, Says: "There is no lot of that name."}
	}
	if err != nil {
		return web.Document{}, err
	}
	r = r.For(to.Language, f.plan().Site.Choice.Asked(to.Units))
	var text bytes.Buffer
	if form == web.FormCSV {
		err = r.CSV(&text)
		return web.Document{Body: text.Bytes()}, err
	}
	err = r.HTML(&text)
	return web.Document{Body: text.Bytes(), Style: record.Style}, err
}
