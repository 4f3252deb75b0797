package floor

import (
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"millwarden/gateway/callout"
	"millwarden/gateway/web"
	"millwarden/rules/engine"
)

func newMetrics() *web.Metrics {
	r := prometheus.NewRegistry()
	r.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return web.NewMetrics(r)
}

// count counts what is annunciated, and remembers when.
func (f *Floor) count(transitions []engine.Transition) {
	f.deciding.Lock()
	defer f.deciding.Unlock()
	if len(f.annunciated) > annunciatedMost {
		clear(f.annunciated) // a channel that hands nothing over must not fill the memory
	}
	for i := range transitions {
		t := &transitions[i]
		if t.Alarm.Kind != engine.KindAlarm || t.To != engine.Unacknowledged || t.From == t.To {
			continue
		}
		f.metrics.Annunciated.WithLabelValues(t.Alarm.Priority.String()).Inc()
		f.annunciated[callsOf{t.Alarm.ID, t.Occurrence}] = t.At.Mono
	}
}

// countHandOver takes the time from annunciation to the first message that a channel took.
func (f *Floor) countHandOver(l callout.Line) {
	f.deciding.Lock()
	defer f.deciding.Unlock()
	k := callsOf{l.Alarm, l.Occurrence}
	begun, first := f.annunciated[k]
	if !first {
		return
	}
	delete(f.annunciated, k)
	f.metrics.AnnunciationSeconds.Observe(f.clock.Real(l.At.Mono - begun).Seconds())
}
