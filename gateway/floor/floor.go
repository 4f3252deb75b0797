// Package floor joins a checked rules file into running parts: buses and their workers, the engine, history and logbook, the callout, broker,
// publisher and forwarder, the page. It is the one place where sisters meet; it starts them in the order of a slice and stops them in reverse.
//
// Concurrency: Run is one call; it owns every goroutine of the gateway. What the page asks comes by other goroutines and is answered under the
// lock that guards the engine, or done on the flow's goroutine.
package floor

import (
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/bus"
	"millwarden/drivers/scan"
	"millwarden/gateway/callout"
	"millwarden/gateway/callout/push"
	"millwarden/gateway/callout/siren"
	"millwarden/gateway/callout/watcher"
	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	"millwarden/gateway/logbook/lots"
	"millwarden/gateway/people"
	"millwarden/gateway/publish"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/database"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/rules/check"
	"millwarden/rules/engine"
	"millwarden/rules/models"
)

// Options of a Floor. Plan, Data, Clock, Drivers, OpenBus and Log are needed.
type Options struct {
	Plan        *check.Plan
	Data        string                                            // folder of history and logbook
	Clock       func(boot uint32) clock.Clock                     // the board's clock, once the number of its boot is known
	BootID      string                                            // of the kernel; "" counts as a new boot
	Drivers     map[string]drivers.Driver                         // by kind
	Radio       drivers.Feed                                      // simulated sticks, instead of the broker's
	OpenBus     BusOpener                                         // a bus of the host, or a simulated one
	Wires       func() (h scan.Host, notes []string, done func()) // what can be looked at for parts; nil: Wires of this board
	Credential  func(name string) (string, error)                 // secret text of a credential
	Log         *slog.Logger
	Version     string
	Built       time.Time                                                         // of the program: no clock before it is believed; zero: not known
	Listen      string                                                            // page, instead of the address in the rules file
	Rules       RulesFile                                                         // where a changed plan comes from; nil: never
	Warnings    int                                                               // of the rules file at the start, not settled
	NoForward   bool                                                              // the store is served by a forwarder elsewhere
	CatchUp     int                                                               // readings a second to the broker after an outage; 0: as publish has it; below 0: no limit
	Open        bool                                                              // nobody logs in at the page: the demo, on this machine alone
	FirstCode   func(code string)                                                 // told the code of the first start, while nobody can log in; nil: nobody
	NoPage      bool                                                              // the page is not served: tests on fake time have no sockets
	Demo        string                                                            // said on every page of an invented estate
	Speed       float64                                                           // of the demo's clock; 0 is 1
	MailRoots   *x509.CertPool                                                    // whom mail trusts; nil: the system's list
	PushService http.RoundTripper                                                 // way to push services; nil: the system\'s
	Outside     http.RoundTripper                                                 // way to the outside watcher; nil: the system's
	OpenModem   func(path string, speed int) (io.ReadWriteCloser, error)          // line of a channel of text messages; nil: a serial port of the host
	OpenOutput  func(chip string, line int, onWhenLow bool) (siren.Output, error) // line of a siren or a lamp; nil: one of the host
	Channels    map[string]callout.Channel                                        // by name, instead of those of the rules file: the demo's phones
	DialBroker  func(context.Context) (net.Conn, error)                           // line to the site's own broker, instead of a socket: nights on fake time
	Store       *http.Client                                                      // asks the store, instead of the usual client
	Manager     Manager                                                           // who started the gateway; nil: nobody who wants to hear
}

// BusOpener opens the bus of a name ("i2c-1", "onewire", "tcp 192.0.2.20:502", "broker") for a kind of driver. A bus that has a block in the rules
// file comes with the lines of the block.
type BusOpener func(ctx context.Context, kind drivers.BusKind, name string, lines phrase.Lines) (drivers.Bus, io.Closer, error)

// Floor is a gateway ready to run.
type Floor struct {
	o              Options
	current        atomic.Pointer[planned]
	homeless       error // why the data folder is not the one that was given; nil: it is
	log            *slog.Logger
	clock          *clock.Believed
	boot           uint32
	history        *history.History
	hub            atomic.Pointer[hub] // nil: the plan knows no other boards
	heard          *bus.Feed           // what came from the broker for radio probes
	logbook        *logbook.Logbook
	broker         *publish.Broker // nil: the site's own
	links          links
	heardProbes    heardProbes // what each probe said last, for the page
	calibrations   calibrations
	callout        *callout.Callout
	telephones     *push.Store     // nil: there is no channel of push messages
	brokenChannels map[string]bool // could not be set up; not changed after Open
	web            *web.Web
	people         *people.Book // nil: the page is open or not served
	metrics        *web.Metrics
	parts          []*part
	workers        atomic.Pointer[[]*part] // of the buses, for the plan in force
	swapped        chan struct{}           // one slot: other workers are in force
	drills         drills
	backups        backups
	swaps          swaps
	closeOuts      closeOuts
	began          reading.Stamp            // of the record
	started        reading.Stamp            // this run of the gateway
	proven         map[string]reading.Stamp // when each channel last took a message before this start; not changed after Open
	watcher        *watcher.Watcher         // nil: there is none, or it cannot be called
	told           time.Time                // hour of the last daily message; belongs to its part's goroutine
	refused        atomic.Pointer[string]   // why the rules file was refused last; nil: it was not
	requests       chan func()
	incoming       chan []reading.Reading

	scanning  sync.Mutex // held while somebody looks what is wired
	reloading sync.Mutex // guards text, and that one reload ends before the next begins
	text      string     // of the rules file in force; "": as it was at the start

	looking    []engine.Standing // scratch of look; belongs to the flow's goroutine
	entersLots atomic.Bool       // somebody enters which lot stands where
	diskLow    atomic.Bool       // so little room that the logbook may be stuck
	stopping   atomic.Bool       // the end has begun: the page says so

	settled  bool      // the times of an unset clock are; belongs to the keeper's goroutine, as retained does
	retained time.Time // when old readings were looked for, real time
	room     roomKeeper
	tried    time.Time // when the logbook was, real time

	wall    wall
	doubted bool // the clock is, and that was told; belongs to the flow's goroutine

	booking sync.Mutex // guards lots; taken before deciding
	lots    *lots.Book

	busLock sync.Mutex // guards buses
	buses   map[string]openBus

	missed []engine.Transition // that the start found; not used after it

	deciding    sync.Mutex // guards what stands below
	engine      *engine.Engine
	models      *models.Models
	computed    []reading.Reading          // scratch of tickModels
	marks       []models.Mark              // scratch of tickModels
	newest      map[string]reading.Reading // of each point, whatever its quality
	known       map[string]reading.Stamp   // when it was last good or uncertain
	stays       map[string]logbook.Stay    // by station
	hidden      map[string]hiding          // by alarm: who shelved or removed it
	kept        map[string]reading.Reading // last reading of a computed point that went to the history
	derived     []reading.Reading          // scratch of takeDerived
	pending     []reading.Reading          // on their way to the history
	lost        uint64                     // readings that found no room there
	annunciated map[callsOf]time.Duration  // monotonic time at which an occurrence was annunciated, until its first message is handed over
	called      map[callsOf][]callout.Line // tries to call, by occurrence
	doubts      map[string]doubted         // entries that were asked about, by point
	standings   []engine.Standing          // scratch of Snapshot
}

// Sizes of queues.
const (
	// flowQueue is in rounds of a bus. Chosen: a second of a busy bus; past it the worker waits, and its lateness is counted.
	flowQueue = 16
	// pendingMost bounds what waits for the history. Chosen: 17 min at 64 readings a second, about 8 MB.
	pendingMost = 65536
)

// Open opens the data folder and builds all parts; nothing runs yet.
func Open(o Options) (*Floor, error) {
	f := &Floor{o: o, log: o.Log, requests: make(chan func()), swapped: make(chan struct{}, 1), metrics: newMetrics(), brokenChannels: map[string]bool{}, heard: bus.NewFeed(), buses: map[string]openBus{}, incoming: make(chan []reading.Reading, flowQueue),
		called: map[callsOf][]callout.Line{}, doubts: map[string]doubted{}, annunciated: map[callsOf]time.Duration{}, newest: map[string]reading.Reading{}, known: map[string]reading.Stamp{}, stays: map[string]logbook.Stay{}, hidden: map[string]hiding{}, kept: map[string]reading.Reading{}}
	f.current.Store(planOf(o.Plan))
	if err := f.open(); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

func (f *Floor) open() (err error) {
	if err := f.seekRefuge(); err != nil {
		return err
	}
	if f.history, err = history.Open(f.o.Data, history.Options{}); err != nil {
		return err
	}
	if f.logbook, err = logbook.Open(f.o.Data); err != nil {
		return err
	}
	if f.boot, err = f.logbook.NextBoot(f.o.BootID, time.Now()); err != nil {
		return fmt.Errorf("numbering this boot: %w", err)
	}
	f.clock = clock.Believe(f.o.Clock(f.boot), f.lastBelieved(context.Background()), f.o.Built)
	f.tellAside()
	if err := f.begin(); err != nil {
		return err
	}
	for _, build := range []func() error{f.buildWatchdog, f.buildLinks, f.buildCallout, f.buildOutside, f.buildWeb, f.buildWorkers} {
		if err := build(); err != nil {
			return err
		}
	}
	return nil
}

// tellAside says which files were damaged and set aside.
func (f *Floor) tellAside() {
	for _, aside := range []*database.Aside{f.history.Aside(), f.logbook.Aside()} {
		if aside != nil {
			f.log.Error("a damaged file was set aside, a new one is begun", "file", aside.Path, "cause", aside.Cause)
			f.write(logbook.Entry{Kind: logbook.Fault, Text: aside.Error()})
		}
	}
}

// Close closes history and logbook; it is called after Run has ended.
func (f *Floor) Close() error {
	var errs []error
	if f.people != nil {
		errs = append(errs, f.people.Close())
	}
	if f.logbook != nil {
		errs = append(errs, f.logbook.Close())
	}
	if f.history != nil {
		errs = append(errs, f.history.Close())
	}
	return errors.Join(errs...)
}

// Run runs all parts until ctx ends, or until one ends without which nobody would be watched over.
func (f *Floor) Run(ctx context.Context) error {
	f.write(logbook.Entry{Kind: logbook.Start, Text: "gateway started, version " + f.o.Version + ", rules " + short(f.plan().Hash)})
	f.tellLimits()
	f.tellRefuge()
	f.log.Info("gateway started", "site", f.plan().Site.Name, "probes", len(f.plan().Probes), "alarms", len(f.plan().Engine.Alarms), "data", f.o.Data)
	for _, damaged := range f.setAside() {
		f.log.Error("a file was damaged", "cause", damaged)
		f.write(logbook.Entry{Kind: logbook.Fault, Place: "board", Text: damaged.Error()})
	}
	f.follow(f.missed)
	err := f.runParts(ctx)
	f.keep()
	f.write(logbook.Entry{Kind: logbook.Start, Text: "gateway stopped"})
	return err
}

func short(hash string) string { return hash[:min(12, len(hash))] }

// write puts an entry into the logbook. A logbook that cannot write holds nothing back: it is told, and the board's own alarm occurs.
func (f *Floor) write(entries ...logbook.Entry) {
	now := f.clock.Now()
	for i := range entries {
		if entries[i].At.Wall.IsZero() {
			entries[i].At = now
		}
	}
	if _, err := f.logbook.Write(entries...); err != nil {
		f.log.Error("logbook cannot be written", "cause", err)
		f.links.logbookFault.Store(true)
		return
	}
	f.links.logbookFault.Store(false)
}
