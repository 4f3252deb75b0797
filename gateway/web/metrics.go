package web

import (
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Metrics is what the parts count, and the registry of the metrics page. Names: one prefix, base units, as OpenMetrics 1.0 asks.
//
// Concurrency: any goroutine.
type Metrics struct {
	Registry *prometheus.Registry
	// Annunciated counts alarms annunciated, by priority.
	Annunciated *prometheus.CounterVec
	// ReadFailures counts polls of a probe that gave no reading, by probe.
	ReadFailures *prometheus.CounterVec
	// AnnunciationSeconds is the time from occurrence to hand-over to a channel.
	AnnunciationSeconds prometheus.Histogram
	// Oversized counts what was refused for its size: bodies at the "page", packets at the "broker" inside.
	Oversized *prometheus.CounterVec
}

// NewMetrics makes the counters on a registry.
func NewMetrics(r *prometheus.Registry) *Metrics {
	m := &Metrics{
		Registry: r,
		Annunciated: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "millwarden_alarms_annunciated_total",
			Help: "Alarms annunciated since the start, by priority."}, []string{"priority"}),
		ReadFailures: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "millwarden_probe_read_failures_total",
			Help: "Polls of a probe that gave no reading."}, []string{"probe"}),
		AnnunciationSeconds: prometheus.NewHistogram(prometheus.HistogramOpts{Name: "millwarden_annunciation_seconds",
			Help:    "Time from the occurrence of an alarm to its hand-over to a channel.",
			Buckets: []float64{0.1, 0.25, 0.5, 1, 2, 5, 10, 30, 60}}), // chosen: a second is the goal, a minute is a fault
		Oversized: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "millwarden_oversized_refused_total",
			Help: "Bodies of requests and packets of MQTT that were refused for their size."}, []string{"part"}),
	}
	for _, p := range []string{"page", "broker"} {
		m.Oversized.WithLabelValues(p)
	}
	for _, p := range []string{"high", "medium", "low"} {
		m.Annunciated.WithLabelValues(p) // so that a rate can be taken from the first alarm on
	}
	r.MustRegister(m.Annunciated, m.ReadFailures, m.AnnunciationSeconds, m.Oversized)
	return m
}

func (m *Metrics) show(l *live, version string) error {
	build := prometheus.NewGauge(prometheus.GaugeOpts{Name: "millwarden_build_info", Help: "Version of the program; always 1.",
		ConstLabels: prometheus.Labels{"version": version}})
	build.Set(1)
	if err := m.Registry.Register(build); err != nil {
		return err
	}
	return m.Registry.Register(standing{l})
}

// standing gives the gauges that follow from what stands now.
type standing struct{ live *live }

var (
	readingAge = prometheus.NewDesc("millwarden_reading_age_seconds", "Age of the last known reading of a point.", []string{"point"}, nil)
	alarmState = prometheus.NewDesc("millwarden_alarm_state", "State of an alarm that is not normal; the label is 1, others are not exposed.",
		[]string{"alarm", "priority", "state"}, nil)
	outboxReadings = prometheus.NewDesc("millwarden_outbox_readings", "Readings that wait for the store.", nil, nil)
	outboxOldest   = prometheus.NewDesc("millwarden_outbox_oldest_age_seconds", "Age of the oldest reading that waits for the store.", nil, nil)
	clockSet       = prometheus.NewDesc("millwarden_clock_set", "1 while the wall clock is known to be right.", nil, nil)
)

func (s standing) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{readingAge, alarmState, outboxReadings, outboxOldest, clockSet} {
		ch <- d
	}
}

func (s standing) Collect(ch chan<- prometheus.Metric) {
	now := s.live.now()
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	for name, v := range now.frame.Values {
		if v.Known != 0 { // never known: not exposed, for NaN is not "missing"
			gauge(readingAge, float64(now.frame.Now-v.Known)/1000, name)
		}
	}
	for _, a := range *now.frame.Alarms {
		if a.State != stateNormal {
			gauge(alarmState, 1, a.ID, a.Priority, a.State)
		}
	}
	gauge(outboxReadings, float64(now.outbox.Readings))
	gauge(outboxOldest, now.outbox.Oldest.Seconds())
	set := 0.0
	if now.frame.Set {
		set = 1
	}
	gauge(clockSet, set)
}

// scrapeWait bounds one reading of the metrics page: a scraper gives up after 10 s, and should get an answer within one.
const scrapeWait = 5 * time.Second

func (m *Metrics) page() http.Handler {
	return promhttp.HandlerFor(m.Registry, promhttp.HandlerOpts{EnableOpenMetrics: true, Timeout: scrapeWait, MaxRequestsInFlight: 2})
}
