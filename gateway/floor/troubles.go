package floor

import (
	"strings"
	"sync"

	"millwarden/gateway/web"
	"millwarden/internal/reading"
)

// plain is what an error of a connection means to a person, by a part of its text: much of it comes from other machines as text alone.
// The words are those that the page knows in its languages.
var plain = []struct{ part, means string }{
	{"clock", ""}, // says itself what to do
	{"connection refused", "nothing answers at its address"},
	{"no such host", "its name is not known"},
	{"server misbehaving", "its name is not known"},
	{"unreachable", "the network is away"},
	{"no route to host", "the network is away"},
	{"i/o timeout", "no answer in time"},
	{"timed out", "no answer in time"},
	{"deadline exceeded", "no answer in time"},
	{"no answer within", "no answer in time"},
	{"connection reset", "it ended the connection"},
	{"broken pipe", "it ended the connection"},
	{"EOF", "it ended the connection"},
}

// inWords is a cause as people read it, or as it came where nothing plainer is known. The log keeps it as it came.
func inWords(cause string) string {
	for _, p := range plain {
		if strings.Contains(cause, p.part) {
			if p.means == "" {
				break
			}
			return p.means
		}
	}
	return cause
}

// outages remembers since when each link does not work.
type outages struct {
	mu    sync.Mutex // guards since
	since map[string]reading.Stamp
}

// note puts the beginning of its trouble into the link, and its cause into words.
func (o *outages) note(l web.Link, now reading.Stamp) web.Link {
	l.Cause = inWords(l.Cause)
	o.mu.Lock()
	defer o.mu.Unlock()
	if l.Works {
		delete(o.since, l.Name)
		return l
	}
	if _, known := o.since[l.Name]; !known {
		if o.since == nil {
			o.since = map[string]reading.Stamp{}
		}
		o.since[l.Name] = now
	}
	l.Since = o.since[l.Name]
	return l
}
