package web

import (
	"maps"
	"net/http"
	"slices"
	"time"

	"millwarden/internal/metrics"
)

// Metrics is what the parts count, and the registry of the metrics page. Names: one prefix, base units, as OpenMetrics 1.0 asks.
//
// Concurrency: any goroutine.
type Metrics struct {
	Registry *metrics.Registry
	// Annunciated counts alarms annunciated, by priority.
	Annunciated *metrics.Family
	// ReadFailures counts polls of a probe that gave no reading, by probe.
	ReadFailures *metrics.Family
	// AnnunciationSeconds is the time from occurrence to hand-over to a channel.
	AnnunciationSeconds *metrics.Series
}

// NewMetrics makes the counters on a registry.
func NewMetrics(r *metrics.Registry) *Metrics {
	m := &Metrics{
		Registry:     r,
		Annunciated:  r.Counter("millwarden_alarms_annunciated_total", "Alarms annunciated since the start, by priority.", "priority"),
		ReadFailures: r.Counter("millwarden_probe_read_failures_total", "Polls of a probe that gave no reading.", "probe"),
		AnnunciationSeconds: r.Histogram("millwarden_annunciation_seconds", "Time from the occurrence of an alarm to its hand-over to a channel.",
			0.1, 0.25, 0.5, 1, 2, 5, 10, 30, 60), // chosen: a second is the goal, a minute is a fault
	}
	for _, p := range []string{"high", "medium", "low"} {
		m.Annunciated.With(p) // so that a rate can be taken from the first alarm on
	}
	return m
}

// show adds the gauges that follow from what stands now.
func (m *Metrics) show(l *live, version string) {
	m.Registry.Show(func(p *metrics.Page) {
		p.Gauge("millwarden_build_info", "Version of the program; always 1.", 1, "version", version)
		now := l.now()
		for _, name := range slices.Sorted(maps.Keys(now.frame.Values)) {
			if v := now.frame.Values[name]; v.Known != 0 { // never known: not exposed, for NaN is not "missing"
				p.Gauge("millwarden_reading_age_seconds", "Age of the last known reading of a point.", float64(now.frame.Now-v.Known)/1000, "point", name)
			}
		}
		for _, a := range *now.frame.Alarms {
			if a.State != stateNormal {
				p.Gauge("millwarden_alarm_state", "State of an alarm that is not normal; the label is 1, others are not exposed.", 1,
					"alarm", a.ID, "priority", a.Priority, "state", a.State)
			}
		}
		p.Gauge("millwarden_outbox_readings", "Readings that wait for the store.", float64(now.outbox.Readings))
		p.Gauge("millwarden_outbox_oldest_age_seconds", "Age of the oldest reading that waits for the store.", now.outbox.Oldest.Seconds())
		set := 0.0
		if now.frame.Set {
			set = 1
		}
		p.Gauge("millwarden_clock_set", "1 while the wall clock is known to be right.", set)
	})
}

// scrapeWait bounds one reading of the metrics page: a scraper gives up after 10 s, and should get an answer within one.
const scrapeWait = 5 * time.Second

func (m *Metrics) page() http.Handler { return m.Registry.Handler(scrapeWait) }
