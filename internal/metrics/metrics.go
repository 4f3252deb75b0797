// Package metrics counts, and shows what it counted as a page for a scraper: the text format 0.0.4 of Prometheus, and OpenMetrics 1.0 to who asks for it. It is written here because the
// usual library brings the whole of protocol buffers with it: 2.1 MB of the program on arm64, for a page of text.
//
// Source: OpenMetrics 1.0 (github.com/prometheus/OpenMetrics, specification) and "Exposition formats" of Prometheus, version 0.0.4.
//
// Concurrency: any goroutine.
package metrics

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// Registry is all that stands on one page.
type Registry struct {
	mu       sync.Mutex // guards families and all that they count
	families []*Family
	shown    []func(*Page)
}

// Family is all that is counted under one name, by the values of its labels.
type Family struct {
	registry   *Registry
	name, help string
	kind       string // "counter", "histogram"
	labels     []string
	bounds     []float64 // of a histogram, rising
	series     map[string]*Series
}

// Series is one counter, or one histogram.
type Series struct {
	family  *Family
	values  []string
	sum     float64 // of a counter, its count
	count   uint64
	buckets []uint64 // by the family's bounds, each for itself
}

// Counter makes a family of counters. Its name ends in _total.
func (r *Registry) Counter(name, help string, labels ...string) *Family {
	return r.add(&Family{name: name, help: help, kind: "counter", labels: labels})
}

// Histogram makes a histogram without labels. bounds rise; what is beyond the last is counted too.
func (r *Registry) Histogram(name, help string, bounds ...float64) *Series {
	return r.add(&Family{name: name, help: help, kind: "histogram", bounds: bounds}).With()
}

func (r *Registry) add(f *Family) *Family {
	f.registry, f.series = r, map[string]*Series{}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.families = append(r.families, f)
	return f
}

// Show has gauges written by a function at each look at the page.
func (r *Registry) Show(write func(*Page)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.shown = append(r.shown, write)
}

// With gives the series of those values of the labels, in the order of the labels. It stands on the page from then on, at 0.
func (f *Family) With(values ...string) *Series {
	if len(values) != len(f.labels) {
		panic(fmt.Sprintf("metrics: %s has %d labels, not %d", f.name, len(f.labels), len(values)))
	}
	key := strings.Join(values, "\x00")
	f.registry.mu.Lock()
	defer f.registry.mu.Unlock()
	s := f.series[key]
	if s == nil {
		s = &Series{family: f, values: slices.Clone(values), buckets: make([]uint64, len(f.bounds))}
		f.series[key] = s
	}
	return s
}

// Add counts n more; a counter never falls, so less than 0 is not counted.
func (s *Series) Add(n float64) {
	s.family.registry.mu.Lock()
	defer s.family.registry.mu.Unlock()
	s.sum += max(0, n)
}

// Inc counts one more.
func (s *Series) Inc() { s.Add(1) }

// Observe puts a value into a histogram.
func (s *Series) Observe(v float64) {
	s.family.registry.mu.Lock()
	defer s.family.registry.mu.Unlock()
	s.count++
	s.sum += v
	for i, bound := range s.family.bounds {
		if v <= bound {
			s.buckets[i]++
			break
		}
	}
}

// Page is the text being written.
type Page struct {
	text bytes.Buffer
	open bool // OpenMetrics
	last string
}

// Gauge writes one value under a name; labels are pairs of name and value. All values of a name are written one after another.
func (p *Page) Gauge(name, help string, value float64, labels ...string) {
	p.head(name, help, "gauge")
	p.line(name, value, labels...)
}

// Counter is Gauge for what never falls. The name ends in _total.
func (p *Page) Counter(name, help string, value float64, labels ...string) {
	p.head(name, help, "counter")
	p.line(name, value, labels...)
}

// head names a family once. In OpenMetrics a family of counters has no _total.
func (p *Page) head(name, help, kind string) {
	if name == p.last {
		return
	}
	p.last = name
	if p.open && kind == "counter" {
		name = strings.TrimSuffix(name, "_total")
	}
	escape := escapeHelp
	if p.open {
		escape = escapeLabel
	}
	fmt.Fprintf(&p.text, "# HELP %s %s\n# TYPE %s %s\n", name, escape.Replace(help), name, kind)
}

var (
	escapeHelp  = strings.NewReplacer(`\`, `\\`, "\n", `\n`)
	escapeLabel = strings.NewReplacer(`\`, `\\`, "\n", `\n`, `"`, `\"`)
)

func (p *Page) line(name string, value float64, labels ...string) {
	p.text.WriteString(name)
	for i := 0; i+1 < len(labels); i += 2 {
		between := byte(',')
		if i == 0 {
			between = '{'
		}
		p.text.WriteByte(between)
		p.text.WriteString(labels[i])
		p.text.WriteString(`="`)
		p.text.WriteString(escapeLabel.Replace(strings.ToValidUTF8(labels[i+1], "�")))
		p.text.WriteByte('"')
	}
	if len(labels) > 0 {
		p.text.WriteByte('}')
	}
	p.text.WriteByte(' ')
	p.text.WriteString(number(value))
	p.text.WriteByte('\n')
}

func number(v float64) string {
	switch {
	case math.IsInf(v, 1):
		return "+Inf"
	case math.IsInf(v, -1):
		return "-Inf"
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}

// bound is a bound of a bucket. OpenMetrics wants it to look like a fraction always.
func (p *Page) bound(v float64) string {
	text := number(v)
	if p.open && !strings.ContainsAny(text, ".eI") {
		text += ".0"
	}
	return text
}

// write gives the whole page.
func (r *Registry) write(open bool) []byte {
	p := &Page{open: open}
	r.mu.Lock()
	for _, f := range r.families {
		p.family(f)
	}
	shown := slices.Clone(r.shown)
	r.mu.Unlock()
	for _, write := range shown { // without the lock: they ask others
		write(p)
	}
	if open {
		p.text.WriteString("# EOF\n")
	}
	return p.text.Bytes()
}

func (p *Page) family(f *Family) {
	if len(f.series) == 0 {
		return
	}
	p.head(f.name, f.help, f.kind)
	all := make([]*Series, 0, len(f.series))
	for _, s := range f.series {
		all = append(all, s)
	}
	slices.SortFunc(all, func(a, b *Series) int { return slices.Compare(a.values, b.values) })
	for _, s := range all {
		if f.kind == "histogram" {
			p.histogram(f, s)
			continue
		}
		labels := make([]string, 0, 2*len(f.labels))
		for i, name := range f.labels {
			labels = append(labels, name, s.values[i])
		}
		p.line(f.name, s.sum, labels...)
	}
}

// histogram writes the buckets, each with all below it.
func (p *Page) histogram(f *Family, s *Series) {
	var below uint64
	for i, bound := range f.bounds {
		below += s.buckets[i]
		p.line(f.name+"_bucket", float64(below), "le", p.bound(bound))
	}
	p.line(f.name+"_bucket", float64(s.count), "le", "+Inf")
	p.line(f.name+"_sum", s.sum)
	p.line(f.name+"_count", float64(s.count))
}
