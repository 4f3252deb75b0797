package forward

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"
)

const (
	pollEvery = time.Second     // chosen: the mark moves in steps of it
	pollLimit = 5 * time.Second // chosen: a metrics page answers in under 1 s
	// pollPatience polls may fail before it is told: a store that restarts is no news; chosen.
	pollPatience = 10
	pageLimit    = 8 << 20 // bytes of it that are read; chosen: ten times the largest seen
)

// errNoBoot: the page is there and says nothing of a start.
var errNoBoot = errors.New("store: its metrics page tells no start of its process, so nothing can be counted as safe: write durable-after 0 s if the store syncs its log before it answers")

// startNames are the metrics that name a start of the store's process, the better first. They count seconds (one of them hundredths): a store
// that starts twice within one is taken for one start.
var startNames = [...]string{"vm_app_start_timestamp", "process_start_time_seconds"}

// watchBoot asks the store again and again which start of its process answers. It has a goroutine of its own, so that a slow write never
// holds it up: a start that is noticed late is a start that is counted as safe too early.
func (f *Forwarder) watchBoot(ctx context.Context) {
	ticker := time.NewTicker(pollEvery)
	defer ticker.Stop()
	failed := 0
	for {
		asked := time.Now()
		boot, err := f.askBoot(ctx)
		if ctx.Err() != nil {
			return
		}
		if err == nil {
			f.books.confirmed(asked, boot)
			f.books.unsure("")
			failed = 0
		} else if failed++; failed == pollPatience || errors.Is(err, errNoBoot) && failed == 1 {
			f.books.unsure(err.Error())
			f.o.Log.Warn("nothing can be counted as safe", "cause", err)
		}
		f.once.Do(func() { close(f.asked) })
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
	}
}

func (f *Forwarder) askBoot(ctx context.Context) (string, error) {
	ctx, cancel := context.WithTimeout(ctx, pollLimit)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, f.o.Store.Metrics, nil)
	if err != nil {
		return "", fmt.Errorf("store: asking its metrics page: %w", err)
	}
	resp, err := f.client.Do(req)
	if err != nil {
		return "", fmt.Errorf("store: asking its metrics page: %w", err)
	}
	defer resp.Body.Close() //nolint:errcheck // read only
	if resp.StatusCode != http.StatusOK {
		return "", fmt.Errorf("store: asking its metrics page: %s", resp.Status)
	}
	return readBoot(io.LimitReader(resp.Body, pageLimit))
}

// readBoot finds the start of the process on a metrics page (lines "name value", comments after #).
func readBoot(page io.Reader) (string, error) {
	var found [len(startNames)]string
	scanner := bufio.NewScanner(page)
	for scanner.Scan() {
		name, value, _ := strings.Cut(scanner.Text(), " ")
		for i, want := range startNames {
			if name == want {
				found[i] = strings.TrimSpace(value)
			}
		}
	}
	if err := scanner.Err(); err != nil {
		return "", fmt.Errorf("store: reading its metrics page: %w", err)
	}
	for _, boot := range found {
		if boot != "" {
			return boot, nil
		}
	}
	return "", errNoBoot
}
