package floor

import (
	"cmp"
	"context"
	"fmt"
	"net"
	"time"

	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	"millwarden/gateway/people"
	"millwarden/gateway/web"
	"millwarden/internal/reading"
)

func (f *Floor) listen() string { return cmp.Or(f.o.Listen, f.plan().Page.Listen, web.DefaultListen) }

func (f *Floor) buildWeb() (err error) {
	if err := f.openPeople(); err != nil {
		return err
	}
	names := []string{}
	if name := f.plan().Page.Name; name != "" {
		if host, _, err := net.SplitHostPort(name); err == nil {
			name = host
		}
		names = append(names, name)
	}
	f.web, err = web.New(web.Config{Model: f, Acts: f, Health: f, Answers: f, Push: f, History: curves{f.history}, Books: books{f}, Lots: f, Records: f, Metrics: f.metrics, Log: f.log.With("part", "page"), Listen: f.listen(),
		People: f.people, Socket: f.socket(), Open: f.people == nil, Note: f.noteLogin,
		Certificate: f.plan().Page.Certificate, Names: names, Base: linkBase(f.plan().Page, f.listen()), Version: f.o.Version})
	if err != nil {
		return err
	}
	flow := &part{name: "flow", vital: true, quiet: standsStill}
	flow.run = f.runFlow(flow)
	keeper := &part{name: "history", quiet: standsStill}
	keeper.run = f.runKeeper(keeper)
	board := &part{name: "board", quiet: standsStill}
	board.run = f.runBoard(board)
	f.parts = append(f.parts, keeper, flow, board, &part{name: "roll-up", run: f.runRollUp})
	if !f.o.NoPage {
		f.parts = append(f.parts, &part{name: "page", run: f.web.Run})
	}
	return nil
}

// openPeople opens what is known of logins. While nobody can log in it makes the code by which the first owner does.
func (f *Floor) openPeople() (err error) {
	if f.o.Open || f.o.NoPage {
		return nil
	}
	if f.people, err = people.Open(f.o.Data, people.Options{}); err != nil {
		return err
	}
	some, err := f.people.Any()
	if err == nil && !some && f.o.FirstCode != nil {
		f.o.FirstCode(f.people.FirstCode())
	}
	return err
}

// socket is that of the commands on this board.
func (f *Floor) socket() string {
	if f.o.NoPage {
		return ""
	}
	return web.Socket(f.o.Data)
}

func (f *Floor) noteLogin(who, what string) {
	f.write(logbook.Entry{Kind: logbook.Act, Place: "page", Who: who, Text: what})
}

// curves is the history as the page draws it.
type curves struct{ h *history.History }

func (c curves) Curve(ctx context.Context, point string, from, to time.Time, n int) ([]web.Column, error) {
	columns, err := c.h.Pixels(ctx, point, from, to, n)
	if err != nil && len(columns) == 0 {
		return nil, fmt.Errorf("reading the curve of %s: %w", point, err)
	}
	list := make([]web.Column, 0, len(columns))
	for _, col := range columns {
		list = append(list, web.Column{From: col.From, To: col.To, Low: col.Low, High: col.High, Last: col.Last, Readings: col.Readings,
			Uncertain: col.Worst == reading.Uncertain, Bad: col.Readings == col.Bad, Cause: col.Cause})
	}
	return list, nil
}
