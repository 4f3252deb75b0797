package floor

import (
	"bytes"
	"context"
	"errors"

	"millwarden/gateway/record"
	"millwarden/gateway/web"
)

// Record makes the record of a lot, as HTML or CSV.
func (f *Floor) Record(ctx context.Context, lot, form string) (web.Document, error) {
	now := f.clock.Now()
	r, err := record.Gather(ctx, record.Sources{Plan: f.plan().Plan, Show: f.Lot, History: f.history, Logbook: f.logbook,
		Version: f.o.Version, Now: now.Wall, Demo: f.o.Demo}, lot)
	if errors.Is(err, record.ErrNoLot) {
		return web.Document{}, &web.Refusal{Kind: web.RefusedUnknown, Says: "There is no lot of that name."}
	}
	if err != nil {
		return web.Document{}, err
	}
	var text bytes.Buffer
	if form == web.FormCSV {
		err = r.CSV(&text)
		return web.Document{Body: text.Bytes()}, err
	}
	err = r.HTML(&text)
	return web.Document{Body: text.Bytes(), Style: record.Style}, err
}
