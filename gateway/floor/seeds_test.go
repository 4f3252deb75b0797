package floor_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/fstest"
	"testing/synctest"
	"time"

	"millwarden/gateway/callout"
	"millwarden/gateway/floor"
	"millwarden/gateway/publish"
	"millwarden/internal/clock"
	"millwarden/internal/estate"
	"millwarden/rules/engine"
)

// Simulated nights with random faults, judged by truth and phones only: what the gateway thinks of itself is not asked. The seed gives the estate, the
// faults and their times; a night that fails is printed with its seed, and kept in testdata/seeds.
var (
	seeds     = flag.Int("seeds", 2, "how many random nights")
	firstSeed = flag.Int("first-seed", 1, "the first of them")
)

const (
	nightLong = 40 * time.Minute
	quietHead = 3 * time.Minute  // in which nothing befalls, so that windows and forecasts stand
	lastFault = 24 * time.Minute // after it nothing begins, so that each has time to be told
)

// ring is one message that reached a person's phone.
type ring struct {
	at         time.Duration
	channel    string
	person     string
	alarm      string
	place      string
	occurrence int64
	priority   engine.Priority
	text       string
}

func (r ring) String() string {
	return fmt.Sprintf("%v %s to %s: %s %d", r.at.Round(time.Second), r.channel, r.person, r.alarm, r.occurrence)
}

// village is the phones of the crew, by all channels.
type village struct {
	clock clock.Clock

	mu    sync.Mutex // guards what stands below
	rings []ring
	dead  map[string]bool // channels
	off   bool            // the gateway was killed: what its remains send reaches nobody
	deaf  bool            // as the night's
	tries map[string]int  // refused, by channel
}

type villageChannel struct {
	*village
	name string
}

var errChannelDead = errors.New("no carrier")

func (c villageChannel) Send(_ context.Context, m callout.Message) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.off || c.dead[c.name] {
		c.tries[c.name]++
		return errChannelDead
	}
	for _, told := range m.Flood {
		if !c.deaf {
			c.rings = append(c.rings, ring{c.clock.Now().Mono, c.name, m.To.Name, told.Alarm, told.Place, told.Occurrence, told.Priority, m.Text})
		}
	}
	if !c.deaf && len(m.Flood) == 0 {
		c.rings = append(c.rings, ring{c.clock.Now().Mono, c.name, m.To.Name, m.Alarm, m.Place, m.Occurrence, m.Priority, m.Text})
	}
	return nil
}

func (v *village) with(f func()) {
	v.mu.Lock()
	defer v.mu.Unlock()
	f()
}

// shop is a store: it keeps each series and time once.
type shop struct {
	mu     sync.Mutex // guards what stands below
	away   bool
	status int // it answers; 0: as it should
	rows   map[string]bool
	asked  int // writes while it was away or refused
}

func (s *shop) RoundTrip(req *http.Request) (*http.Response, error) {
	var body []byte
	if req.Body != nil {
		body, _ = io.ReadAll(req.Body) // of a request made in memory
		_ = req.Body.Close()
	}
	time.Sleep(2 * time.Millisecond)
	s.mu.Lock()
	defer s.mu.Unlock()
	answer := func(status int, text string) (*http.Response, error) {
		return &http.Response{StatusCode: status, Status: fmt.Sprint(status), Header: http.Header{}, Body: io.NopCloser(strings.NewReader(text))}, nil
	}
	isWrite := strings.HasSuffix(req.URL.Path, "/write")
	switch {
	case s.away:
		s.asked++
		return nil, &net.OpError{Op: "dial", Err: syscall.ECONNREFUSED}
	case s.status != 0 && isWrite:
		s.asked++
		return answer(s.status, "no")
	case !isWrite:
		return answer(200, "process_start_time_seconds 1\n")
	}
	for line := range strings.Lines(string(body)) {
		series, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
		_, millis, found := strings.Cut(rest, " ")
		if found && !strings.HasPrefix(series, "#") {
			s.rows[series+" "+millis] = true
		}
	}
	return answer(204, "")
}

// brokerAlone is the site's own broker: it can go away.
type brokerAlone struct {
	mu   sync.Mutex // guards what stands below
	b    *publish.Broker
	stop context.CancelFunc
	done chan struct{}
}

func (b *brokerAlone) start(t *testing.T) {
	mochi, err := publish.NewBroker(publish.BrokerOptions{})
	if err != nil {
		t.Error(err)
		return
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { _ = mochi.Run(ctx); close(done) }()
	b.mu.Lock()
	defer b.mu.Unlock()
	b.b, b.stop, b.done = mochi, stop, done
}

func (b *brokerAlone) kill() {
	b.mu.Lock()
	stop, done := b.stop, b.done
	b.b = nil
	b.mu.Unlock()
	stop()
	<-done
}

func (b *brokerAlone) dial(ctx context.Context) (net.Conn, error) {
	b.mu.Lock()
	mochi := b.b
	b.mu.Unlock()
	if mochi == nil {
		return nil, syscall.ECONNREFUSED
	}
	return mochi.Dial(ctx)
}

// seededRules are the demo's, with a broker and a store of the site's, a second channel, and electrodes that may be called frozen.
func seededRules(t *testing.T, instead string) fs.FS {
	t.Helper()
	text, err := fs.ReadFile(estate.Files, estate.RulesFile)
	if err != nil {
		t.Fatal(err)
	}
	rules := string(text)
	edit := func(old, now string) {
		if !strings.Contains(rules, old) {
			t.Fatalf("the demo's rules have no %q", old)
		}
		rules = strings.ReplaceAll(rules, old, now)
	}
	edit("    gives           ph at", "    frozen-after    5 min\n    gives           ph at")
	edit("    mail            ana@", "    phone           \"+51 900 000 001\"\n    mail            ana@")
	edit("    mail            ben@", "    phone           \"+51 900 000 002\"\n    mail            ben@")
	edit("ana by mail\n", "ana by mail, text\n")
	edit("ben by mail\n", "ben by mail, text\n")
	rules += "\nchannel text\n    modem           /dev/ttyUSB0\n\nbroker\n    address         127.0.0.1:1883\n\n" +
		"store\n    address         http://127.0.0.1:8086\n    org             estate\n    bucket          mill\n    durable-after   0 s\n"
	if instead != "" { // a control: other built-in alarms, and none of the site's own
		edit("use fermentation, drying, storage, roasting, air, instruments, board", instead)
		from, to := strings.Index(rules, "alarm dryer-runs-away"), strings.Index(rules, "# What comes next")
		rules = rules[:from] + rules[to:]
	}
	return fstest.MapFS{estate.RulesFile: {Data: []byte(rules)}}
}

// seeded is one night of a seed.
type seeded struct {
	t       *testing.T
	seed    uint64
	r       *rand.Rand
	truth   *estate.Truth
	world   *estate.Estate
	clock   *clock.Stepped
	village *village
	shop    *shop
	broker  *brokerAlone
	disk    *disk
	rules   fs.FS
	deaf    bool // a control: channels take everything and pass nothing on

	causes []*cause
	kills  []kill // planned
	down   []span // what came of them: the gateway did not run
	marks  marks
	counts map[string]int
	log    func(string)
}

type span struct{ from, to time.Duration }

type kill struct{ at, lasts time.Duration }

// marks are moments of truth.
type marks struct {
	hot, poisoned, sour time.Duration // dryer above 45 °C without its fan, CO above 200 ppm, tank 1 below pH 4.2; 0: never
	warm                time.Duration // the dryer was above 44 °C last
}

// note looks at the truth. Belongs to the estate's goroutine.
func (m *marks) note(w *estate.Truth) {
	set := func(at *time.Duration, is bool) {
		if is && *at == 0 {
			*at = w.Now
		}
	}
	set(&m.hot, !w.Dryer.Fan && w.Dryer.Air > 45)
	if m.hot > 0 && w.Dryer.Air > 44 {
		m.warm = w.Now
	}
	set(&m.poisoned, w.CO > 200)
	set(&m.sour, w.Tanks[0].Full && w.Tanks[0].PH < 4.2)
}

func newSeeded(t *testing.T, seed uint64, rules fs.FS) *seeded {
	n := &seeded{t: t, seed: seed, r: rand.New(rand.NewPCG(seed, 11)), rules: rules, shop: &shop{rows: map[string]bool{}}, broker: &brokerAlone{}, counts: map[string]int{},
		disk: newDisk(t), log: func(string) {}}
	n.truth = estate.NewTruth(18, seed)
	if seed%4 == 0 { // tank 1 is nearly over-fermented
		for n.truth.Tanks[0].PH > 4.26 {
			n.truth.Advance(time.Minute)
		}
		n.truth.Now = 0
	} else {
		n.truth.Tanks[0].Load()
	}
	n.plan()
	return n
}

// run plays the night.
func (n *seeded) run() {
	bubble(n.t, func(t *testing.T) {
		n.t = t
		n.clock = &clock.Stepped{Scaled: clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}}
		n.village = &village{clock: n.clock.Scaled, deaf: n.deaf, dead: map[string]bool{}, tries: map[string]int{}}
		var faults []estate.Fault
		for _, c := range n.causes {
			faults = append(faults, estate.Fault{At: c.from, Title: c.name, Do: c.begin(n)}, estate.Fault{At: c.to, Title: c.name + " ends", Do: c.end(n)})
		}
		for at := time.Duration(0); at < nightLong; at += 5 * time.Second {
			faults = append(faults, estate.Fault{At: at, Do: func(_ *estate.Estate, w *estate.Truth) { n.marks.note(w) }})
		}
		estate.Sort(faults)
		n.world = estate.New(n.clock.Scaled, n.truth, faults)
		n.broker.start(t)
		folder := n.disk.folder(0)
		if err := estate.Begin(folder, n.clock.Start); err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithTimeout(t.Context(), nightLong)
		defer stop()
		var lives sync.WaitGroup
		lives.Go(func() {
			time.Sleep(500 * time.Millisecond) // so that no probe is read at the moment at which the truth moves
			_ = n.world.Run(ctx)
		})
		n.lives(ctx, folder)
		lives.Wait()
		n.broker.kill()
	})
}

// lives runs the gateway through its kills.
func (n *seeded) lives(ctx context.Context, folder string) {
	for i, k := range append(slices.Clone(n.kills), kill{at: 2 * nightLong}) {
		mill := n.open(ctx, folder)
		if mill == nil {
			return
		}
		own, stop := context.WithCancel(ctx)
		var running sync.WaitGroup
		running.Go(func() {
			if err := mill.Run(own); err != nil && !n.disk.hurt {
				n.t.Errorf("Run() = %v", err)
			}
		})
		wait, full := k.at-n.clock.Now().Mono, false
		select {
		case <-ctx.Done():
		case <-time.After(wait):
			// As kill -9 leaves it: what is on the disk at this moment, and nothing more. Nobody writes: all wait.
			synctest.Wait()
			n.counts["kill"]++
			folder, full = n.disk.copy(folder, i+1)
			n.village.with(func() { n.village.off = true })
		}
		stop()
		running.Wait()
		if err := mill.Close(); err != nil && !n.disk.hurt {
			n.t.Errorf("Close() = %v", err)
		}
		if ctx.Err() != nil {
			return
		}
		n.disk.forget(i)
		if full {
			n.disk.fill()
		}
		from := n.clock.Now().Mono
		time.Sleep(k.lasts)
		n.village.with(func() { n.village.off = false })
		n.down = append(n.down, span{from, n.clock.Now().Mono})
	}
}

// open opens the gateway, again and again as a service manager does, until it runs.
func (n *seeded) open(ctx context.Context, folder string) *floor.Floor {
	plan, said := load(n.t, n.rules)
	if said != "" {
		n.t.Fatal(said)
	}
	for ctx.Err() == nil {
		mill, err := floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), OpenBus: n.world.OpenBus, Radio: n.world.Sticks(), NoPage: true, BootID: "night",
			Log: slog.New(slog.DiscardHandler), Channels: map[string]callout.Channel{"mail": villageChannel{n.village, "mail"}, "text": villageChannel{n.village, "text"}},
			Clock: func(uint32) clock.Clock { return n.clock }, DialBroker: n.broker.dial, Store: &http.Client{Transport: n.shop}})
		if err == nil {
			return mill
		}
		n.counts["would not start"]++
		n.log("the gateway does not start: " + err.Error())
		time.Sleep(5 * time.Second)
	}
	return nil
}

// disk is a small file system of its own where the test may mount one, so that it can be full; else a folder that cannot.
type disk struct {
	t       *testing.T
	at      string
	mounted bool
	hurt    bool // full at this moment or before: errors at the end are its own
}

func newDisk(t *testing.T) *disk {
	d := &disk{t: t, at: memoryFolder(t)}
	if err := syscall.Mount("tmpfs", d.at, "tmpfs", 0, "size=256m"); err == nil {
		d.mounted = true
		t.Cleanup(d.leave)
	}
	return d
}

// leave gives the disk back, as soon as the night is over: it lives in memory, and hundreds of nights are played in one test.
func (d *disk) leave() {
	if !d.mounted {
		return
	}
	d.mounted = false
	if err := syscall.Unmount(d.at, syscall.MNT_DETACH); err != nil {
		d.t.Errorf("unmounting the disk of the night: %v", err)
	}
}

func (d *disk) folder(i int) string {
	folder := filepath.Join(d.at, fmt.Sprint("life-", i))
	if err := os.MkdirAll(folder, 0o750); err != nil {
		d.t.Fatal(err)
	}
	return folder
}

// copy takes the folder as it is on the disk. It makes room first, and tells whether there was none: a copy is the test's
// matter, not the gateway's.
func (d *disk) copy(from string, i int) (to string, full bool) {
	full = d.empty()
	to = d.folder(i)
	if err := os.CopyFS(filepath.Join(d.at, "copy"), os.DirFS(from)); err != nil {
		d.t.Fatal(err)
	}
	_ = os.Remove(to)
	if err := os.Rename(filepath.Join(d.at, "copy"), to); err != nil {
		d.t.Fatal(err)
	}
	return to, full
}

func (d *disk) forget(i int) { _ = os.RemoveAll(filepath.Join(d.at, fmt.Sprint("life-", i))) }

func (d *disk) ballast() string { return filepath.Join(d.at, "ballast") }

// fill leaves no room.
func (d *disk) fill() {
	d.hurt = true
	f, err := os.Create(d.ballast())
	if err != nil {
		d.t.Error(err)
		return
	}
	block := make([]byte, 1<<16)
	for size := len(block); size >= 1; {
		if _, err := f.Write(block[:size]); err != nil {
			size /= 16
		}
	}
	_ = f.Close()
}

func (d *disk) empty() (was bool) {
	was = os.Remove(d.ballast()) == nil
	return was
}

// transcript is what the phones got, in order of time.
func (n *seeded) transcript() string {
	var lines []string
	for _, r := range n.village.rings {
		lines = append(lines, r.String())
	}
	slices.Sort(lines)
	return strings.Join(lines, "\n")
}
