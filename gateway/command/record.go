package command

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	lotrecord "millwarden/gateway/record"
)

// makeRecord writes the record of a lot: lot-NAME.html, which prints, and lot-NAME.csv beside it.
func makeRecord(ctx context.Context, std IO, args []string) error {
	var out, rules, language, in *string
	g, words, err := ask("record", std, args, func(f flagSet) {
		out = f.String("out", ".", "folder to write into")
		rules = f.String("rules", "", "rules file of a board that does not run: the record is made from its data folder; without it, the running gateway is asked")
		language = f.String("language", "", "en or es; without it, that of the site")
		in = f.String("units", "", "metric, or us for °F and lb; without it, those of the site")
	})
	if err != nil {
		return err
	}
	if len(words) != 1 {
		return fmt.Errorf("%w: it needs a lot, for example: record 143 --out records", errUse)
	}
	if !slices.Contains([]string{"", "en", "es"}, *language) || !slices.Contains([]string{"", "metric", "us"}, *in) {
		return fmt.Errorf("%w: --language is en or es, --units metric or us", errUse)
	}
	lot := words[0]
	var page, table []byte
	if *rules != "" {
		page, table, err = recordFrom(ctx, std, g.data, *rules, lot, *language, *in)
	} else {
		page, table, err = g.record(ctx, lot, *language, *in)
	}
	if err != nil {
		return err
	}
	if err := os.MkdirAll(*out, 0o750); err != nil {
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
func (g gateway) record(ctx context.Context, lot, language, in string) (page, table []byte, err error) {
	if language == "" {
		site, err := g.site(ctx)
		if err != nil {
			return nil, nil, err
		}
		language = site.Language
	}
	path := "/api/lots/" + pathPart(lot) + "/record"
	page, err = g.text(ctx, http.MethodGet, path+"?"+url.Values{"language": {language}, "units": {in}}.Encode(), nil)
	if err == nil {
		table, err = g.text(ctx, http.MethodGet, path+".csv", nil)
	}
	return page, table, err
}

// recordFrom makes it from the folder of a board that does not run.
func recordFrom(ctx context.Context, std IO, data, rules, lot, language, in string) (page, table []byte, err error) {
	plan, err := goodRules(std, rules)
	if err != nil {
		return nil, nil, err
	}
	if _, err := os.Stat(filepath.Join(data, logbookFile)); err != nil {
		return nil, nil, fmt.Errorf("%s is no data folder: it has no %s", data, logbookFile)
	}
	h, err := history.Open(data, history.Options{})
	if errors.Is(err, history.ErrInUse) {
		return nil, nil, fmt.Errorf("a gateway runs on %s: ask it (without --rules), or use a copy of the folder: %w", data, err)
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
	r = r.For(cmp.Or(language, plan.Site.Language), plan.Site.Choice.Asked(in))
	var html, csv bytes.Buffer
	err = errors.Join(r.HTML(&html), r.CSV(&csv))
	return html.Bytes(), csv.Bytes(), err
}
