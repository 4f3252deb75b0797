package forward_test

import (
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"millwarden/internal/peers"
	"millwarden/internal/reading"
	"millwarden/internal/wire"
)

// aloneReadings is how many readings each way of writing sends; chosen: a second or two of a store's work.
const aloneReadings = 480_000

// bodiesOf are readings as the forwarder writes them, so many lines to a request, from one position on.
func bodiesOf(from, lines int) (bodies []string) {
	entries, _ := (&backlog{n: 1 << 40}).From(uint64(from), aloneReadings, nil) //nolint:gosec // a small number
	rs := make([]reading.Reading, 0, lines)
	for i := range entries {
		r := entries[i].Reading
		r.Point = "fern-hollow/mill/" + r.Point
		if rs = append(rs, r); len(rs) == lines || i == len(entries)-1 {
			bodies = append(bodies, linesOf(rs))
			rs = rs[:0]
		}
	}
	return bodies
}

// alone writes bodies made beforehand straight to the store, some requests at once, and gives how long it took.
func alone(b *testing.B, store destination, bodies []string, atOnce int) time.Duration {
	b.Helper()
	address, org, bucket, token := store.Write()
	target := address + "/api/v2/write?precision=ms&org=" + url.QueryEscape(org) + "&bucket=" + url.QueryEscape(bucket)
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: atOnce}}
	defer client.CloseIdleConnections()
	next := make(chan string)
	var writers sync.WaitGroup
	began := time.Now()
	for range atOnce {
		writers.Go(func() {
			for body := range next {
				req, err := http.NewRequestWithContext(b.Context(), http.MethodPost, target, strings.NewReader(body))
				if err != nil {
					b.Error(err)
					continue
				}
				req.Header.Set("Authorization", "Token "+token)
				resp, err := client.Do(req)
				if err != nil {
					b.Error(err)
					continue
				}
				_, _ = io.Copy(io.Discard, resp.Body)
				_ = resp.Body.Close()
				if resp.StatusCode != http.StatusNoContent {
					b.Error(resp.Status)
				}
			}
		})
	}
	for _, body := range bodies {
		next <- body
	}
	close(next)
	writers.Wait()
	return time.Since(began)
}

// BenchmarkStoreAlone is the most that a store takes on this machine: nothing but the store and a client that posts lines made beforehand, in the best of several sizes
// of a request and numbers of requests at once, beside the bare pair of BenchmarkHistoryToStore. What history, broker and forwarder do comes on top of it.
func BenchmarkStoreAlone(b *testing.B) {
	broker := peers.StartMosquitto(b)
	for name, start := range map[string]func() destination{"victoria-metrics": func() destination { return peers.StartVictoriaMetrics(b, "-memory.allowedBytes=0") },
		"influxd": func() destination { return peers.StartInflux(b) }} {
		b.Run(name, func(b *testing.B) {
			store := start()
			for b.Loop() {
				var best float64
				from, how := 1, ""
				for _, lines := range []int{512, 5000, 20000} {
					for _, atOnce := range []int{1, 2, 4} {
						bodies := bodiesOf(from, lines)
						from += aloneReadings
						base := bare(b, broker.Address, aloneReadings/wire.Enough)
						took := alone(b, store, bodies, atOnce)
						b.Logf("%s: %d lines a request, %d at once: %.0f readings/s, %.2f of bare", name, lines, atOnce, aloneReadings/took.Seconds(), base.Seconds()/took.Seconds())
						if ratio := base.Seconds() / took.Seconds(); ratio > best {
							best, how = ratio, fmt.Sprintf("%d lines, %d at once", lines, atOnce)
						}
					}
				}
				b.Logf("%s: the best is %s", name, how)
				b.ReportMetric(0, "ns/op")
				b.ReportMetric(best, "of-bare")
			}
		})
	}
}
