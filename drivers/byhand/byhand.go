// Package byhand declares the probe that is a person: a moisture meter read at the deck, a pH paper, a weight from a scale without a cable. It
// has no bus and nothing to open; what people read they enter on the page or the command line, under the name of the point. The rules file
// names it so that the point is known, its instrument is on record, and people are reminded when an entry is overdue.
//
// Concurrency: never changed after start.
package byhand

import (
	"context"
	"errors"

	"millwarden/drivers"
)

const kind = "by-hand"

// Driver is the part for the catalog. Its Open always refuses.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.Hand, Declares: declares, Open: open}

const declares = `part by-hand
    phrase instrument TEXT
    reads entry any
`

var errPeople = errors.New("people are this probe: their entries come by the page or the command line")

func open(ctx context.Context, _ drivers.Site) (drivers.Probe, error) {
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	return nil, &drivers.Fault{Kind: drivers.Settings, Part: kind, Place: kind, Cause: errPeople}
}
