package command

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	lotrecord "millwarden/gateway/record"
)

// recordWait bounds the making of a record; chosen: a season of readings on a small board.
const recordWait = 2 * time.Minute

// makeRecord writes the record of a lot: lot-NAME.html, which prints, and lot-NAME.csv beside it.
func makeRecord(ctx context.Context, std IO, args []string) error {
	var out, data, rules *string
	g, words, err := ask("record", std, args, func(f flagSet) {
		out = f.String("out", ".", "folder to write into")
		data = f.String("data", "", "folder of history and logbook of a board that does not run; without it, the running gateway is asked")
		rules = f.String("rules", defaultRules, "with --data: the rules file")
	})
	if err != nil {
		return err
	}
	if len(words) != 1 {
		return fmt.Errorf("%w: it needs a lot, for example: record 143 --out records", errUse)
	}
	lot := words[0]
	var page, table []byte
	if *data != "" {
		page, table, err = recordFrom(ctx, std, *data, *rules, lot)
	} else {
		page, table, err = g.record(ctx, lot)
	}
	if err != nil {
		return err
	}
	for _, file := range []struct {
		end  string
		text []byte
	}{{".html", page}, {".csv", table}} {
		name := filepath.Join(*out, "lot-"+fileName(lot)+file.end)
		if err := os.WriteFile(name, file.text, 0o600); err != nil {
			return err
		}
		fmt.Fprintln(std.Out, name)
	}
	return nil
}

// fileName is a lot's name as part of a file name.
func fileName(lot string) string { return strings.NewReplacer("/", "-", " ", "-").Replace(lot) }

// record asks the running gateway.
func (g gateway) record(ctx context.Context, lot string) (page, table []byte, err error) {
	path := g.address + "/api/lots/" + pathPart(lot) + "/record"
	if page, err = fetch(ctx, path); err == nil {
		table, err = fetch(ctx, path+".csv")
	}
	return page, table, err
}

func fetch(ctx context.Context, address string) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, recordWait)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		return nil, fmt.Errorf("%w: %s is no address of a page", errUse, address)
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return nil, fmt.Errorf("no gateway answers: is it running? (--at names another address, --data a folder): %w", err)
	}
	defer answer.Body.Close() //nolint:errcheck // it was read to its end or given up
	text, err := io.ReadAll(io.LimitReader(answer.Body, 64<<20))
	if err == nil && answer.StatusCode >= http.StatusBadRequest {
		err = refusedBy(answer.Status, text)
	}
	return text, err
}

// recordFrom makes it from the folder of a board that does not run.
func recordFrom(ctx context.Context, std IO, data, rules, lot string) (page, table []byte, err error) {
	plan, err := goodRules(std, rules)
	if err != nil {
		return nil, nil, err
	}
	if _, err := os.Stat(filepath.Join(data, logbookFile)); err != nil {
		return nil, nil, fmt.Errorf("%s is no data folder: it has no %s", data, logbookFile)
	}
	h, err := history.Open(data, history.Options{})
	if errors.Is(err, history.ErrInUse) {
		return nil, nil, fmt.Errorf("a gateway runs on %s: ask it (without --data), or use a copy of the folder: %w", data, err)
	}
	if err != nil {
		return nil, nil, fmt.Errorf("opening the history: %w", err)
	}
	defer func() { err = errors.Join(err, h.Close()) }()
	book, err := logbook.Open(data)
	if err != nil {
		return nil, nil, fmt.Errorf("opening the logbook: %w", err)
	}
	defer func() { err = errors.Join(err, book.Close()) }()
	all, err := book.Lots(ctx, plan.Site.Zone)
	if err != nil {
		return nil, nil, err
	}
	r, err := lotrecord.Gather(ctx, lotrecord.Sources{Plan: plan, Show: all.Show, History: h, Logbook: book, Version: Version, Now: time.Now()}, lot)
	if err != nil {
		return nil, nil, err
	}
	var html, csv bytes.Buffer
	err = errors.Join(r.HTML(&html), r.CSV(&csv))
	return html.Bytes(), csv.Bytes(), err
}
