package floor_test

import (
	"context"
	"io"
	"io/fs"
	"log/slog"
	"math"
	"net"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/catalog"
	"millwarden/drivers/radio/radiotest"
	"millwarden/gateway/callout"
	"millwarden/gateway/floor"
	"millwarden/gateway/logbook/lots"
	"millwarden/gateway/publish"
	"millwarden/gateway/web"
	"millwarden/internal/clock"
	"millwarden/internal/link"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/wire"
	"millwarden/rules"
	"millwarden/rules/check"
)

// estateOf are the boards of one estate at one broker, each with doubles for its probes.
type estateOf struct {
	t      *testing.T
	clock  clock.Clock
	dial   func(context.Context) (net.Conn, error)
	says   map[string]*atomic.Int32
	boards map[string]*runningBoard
	ctx    context.Context
	others sync.WaitGroup // the broker, and who listens to it
	stop   func()
}

// newEstate begins with the broker.
func newEstate(t *testing.T) *estateOf {
	t.Helper()
	broker, err := publish.NewBroker(publish.BrokerOptions{})
	if err != nil {
		t.Fatal(err)
	}
	e := &estateOf{t: t, dial: broker.Dial, says: map[string]*atomic.Int32{}, boards: map[string]*runningBoard{},
		clock: clock.Scaled{Start: time.Date(2026, 6, 10, 23, 0, 0, 0, time.UTC), Begun: time.Now(), Speed: 1, Boot: 1}}
	e.ctx, e.stop = context.WithCancel(context.Background())
	e.others.Go(func() { _ = broker.Run(e.ctx) })
	return e
}

// end stops all of it.
func (e *estateOf) end() {
	for _, board := range e.boards {
		board.stop()
	}
	e.stop()
	e.others.Wait()
}

type runningBoard struct {
	*floor.Floor
	data string
	stop func()
}

// planFor loads a board's rules, at a broker that is not the one inside.
func planFor(t *testing.T, files fs.FS, name string) *check.Plan {
	t.Helper()
	words, err := phrase.Parse(catalog.Text() + floor.ChannelDeclares())
	if err != nil {
		t.Fatal(err)
	}
	plan, list, _ := rules.Load(files, name+".rules", words)
	if plan == nil {
		t.Fatal(list)
	}
	plan.Broker, plan.Store, plan.Watcher, plan.Page = check.Broker{Address: "broker.example:1883"}, nil, nil, check.Page{}
	return plan
}

// start starts a board on its own data folder; again on the same one.
func (e *estateOf) start(files fs.FS, name string) {
	e.t.Helper()
	plan := planFor(e.t, files, name)
	if e.says[name] == nil {
		e.says[name] = new(atomic.Int32)
	}
	data := e.t.TempDir()
	if before := e.boards[name]; before != nil {
		data = before.data
	}
	phones := map[string]callout.Channel{}
	for _, channel := range plan.Channels {
		phones[channel.Name] = &phone{clock: e.clock}
	}
	board, err := floor.Open(floor.Options{Plan: plan, Data: data, Drivers: doublesOf(plan, e.says[name]), Radio: radiotest.New(), NoPage: true, Channels: phones, DialBroker: e.dial,
		OpenBus: func(_ context.Context, _ drivers.BusKind, name string, _ phrase.Lines) (drivers.Bus, io.Closer, error) {
			return drivers.Bus{Name: name}, nil, nil
		}, Log: slog.New(slog.DiscardHandler), Clock: func(uint32) clock.Clock { return e.clock }})
	if err != nil {
		e.t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	var lives sync.WaitGroup
	lives.Go(func() {
		if err := board.Run(ctx); err != nil {
			e.t.Errorf("%s: Run() = %v", name, err)
		}
	})
	e.boards[name] = &runningBoard{board, data, func() {
		cancel()
		lives.Wait()
		if err := board.Close(); err != nil {
			e.t.Error(err)
		}
	}}
}

// rings are the alarms of a board that stand.
func (e *estateOf) rings(name string) []string {
	var s web.Snapshot
	e.boards[name].Snapshot(&s)
	var list []string
	for _, a := range s.Alarms {
		if a.Active {
			list = append(list, a.ID)
		}
	}
	slices.Sort(list)
	return list
}

func (e *estateOf) want(after string, id string, rings bool) {
	e.t.Helper()
	if list := e.rings("hub"); slices.Contains(list, id) != rings {
		e.t.Errorf("%s: %s at the hub rings: %v, want %v; what stands: %s", after, id, !rings, rings, strings.Join(list, ", "))
	}
}

// Aim: the hub of three boards judges what they measure, and calls for what they have no alarm for. It knows each value of theirs, hears when one falls silent
// and when it comes back, and tells when one judges by another file than the hub's copy. It sends nothing of theirs to the store a second time.
func TestHub_threeBoards(t *testing.T) {
	bubble(t, func(t *testing.T) {
		files := os.DirFS("../../testdata/rules/good/three-boards")
		e := newEstate(t)
		plan, compared := planFor(t, files, "hub"), 0
		sent := listenToPacks(e.ctx, &e.others, e.dial, plan, "office")
		for _, name := range []string{"mill", "deck-house", "roastery", "hub"} {
			e.start(files, name)
		}
		time.Sleep(3 * time.Minute)

		for _, p := range plan.Points {
			if p.How != check.Remote {
				continue
			}
			compared++
			if got, want := value(e.boards["hub"].Floor, p.Name), usual[p.Quantity]; got.Quality == reading.Bad || math.Abs(got.Value-want) > 1e-9 {
				t.Errorf("%s at the hub is %v (%s), want %v", p.Name, got.Value, got.Cause, want)
			}
		}
		if compared < 15 {
			t.Errorf("%d points of other boards compared", compared)
		}
		if free := value(e.boards["hub"].Floor, "roastery/disk-free"); free.Quality == reading.Bad || free.Value <= 0 {
			t.Errorf("what the roastery's board says of itself: %+v", free)
		}
		for _, quiet := range []string{"board-not-heard@mill", "boards-differ@mill", "board-not-heard@roastery"} {
			e.want("all well", quiet, false)
		}

		e.says["roastery"].Store(saysHighest)
		time.Sleep(3 * time.Minute)
		e.want("the roastery's probes say their highest", "co-leave-now@roast-room", true)

		e.boards["mill"].stop()
		time.Sleep(3 * time.Minute)
		e.want("the mill's board is off", "board-not-heard@mill", true)
		e.want("the mill's board is off", "board-not-heard@deck-house", false)
		e.start(files, "mill")
		time.Sleep(5 * time.Minute)
		e.want("it is on again", "board-not-heard@mill", false)

		e.boards["mill"].stop()
		text, err := fs.ReadFile(files, "mill.rules")
		if err != nil {
			t.Fatal(err)
		}
		e.start(fstest.MapFS{"mill.rules": {Data: append(text, "\n# changed on the board alone\n"...)}}, "mill")
		time.Sleep(15 * time.Minute)
		e.want("the mill judges by another file", "boards-differ@mill", true)
		e.want("the mill judges by another file", "boards-differ@roastery", false)

		e.end()
		if own, foreign := sent.count(); own == 0 || foreign > 0 {
			t.Errorf("the hub sent %d readings of its own and %d of other boards", own, foreign)
		}
	})
}

// Aim: what people of a board enter is known at the hub too, and owed there as at the board: of a station with a lot, by the lots that are entered at the hub; where none are, as written.
func TestHub_entries(t *testing.T) {
	bubble(t, func(t *testing.T) {
		files := fstest.MapFS{}
		for _, name := range []string{"hub", "mill", "deck-house", "roastery"} {
			text, err := os.ReadFile("../../testdata/rules/good/three-boards/" + name + ".rules")
			if err != nil {
				t.Fatal(err)
			}
			files[name+".rules"] = &fstest.MapFile{Data: text}
		}
		const wired = "    part            ads1115 on i2c-1 at 0x48\n    channel         ain1\n    electrode       compensated by tank-2/temperature\n"
		mill := string(files["mill.rules"].Data)
		if !strings.Contains(mill, wired) {
			t.Fatal("the example has changed")
		}
		files["mill.rules"].Data = []byte(strings.NewReplacer(wired, "    part            by-hand\n    every           10 min\n", "use board", "use board, instruments").Replace(mill))
		e := newEstate(t)
		e.start(files, "mill")
		e.start(files, "hub")
		const point, overdue = "tank-2/ph", "measurement-overdue@tank-2/ph"
		stands := func(when, board, cause string, rings bool) {
			t.Helper()
			v, list := value(e.boards[board].Floor, point), e.rings(board)
			if v.Cause != cause || slices.Contains(list, overdue) != rings {
				t.Errorf("%s: at %s %s is %v %s (%s), and there stand %v", when, board, point, v.Value, v.Quality, v.Cause, list)
			}
		}
		enter := func(s lots.Step) {
			t.Helper()
			if _, err := e.boards["hub"].Enter(e.ctx, web.Entering{By: "lani", Step: s}); err != nil {
				t.Fatal(err)
			}
		}
		read := func() {
			t.Helper()
			if err := e.boards["mill"].Act(e.ctx, web.Act{Do: web.DoEnter, Point: point, Value: "4.9 pH", By: "lani"}); err != nil {
				t.Fatal(err)
			}
			time.Sleep(time.Minute)
		}
		time.Sleep(time.Minute)
		read()
		stands("read", "mill", "", false)
		stands("read", "hub", "", false)
		time.Sleep(40 * time.Minute)
		stands("nobody enters lots", "mill", "not entered", true)
		stands("nobody enters lots", "hub", "overdue", true)
		enter(lots.Step{Do: lots.Load, Station: "tank-1", Lot: "7", Kg: 300})
		time.Sleep(40 * time.Minute)
		stands("the tank is empty", "hub", "nowhere", false)
		read()
		enter(lots.Step{Do: lots.Load, Station: "tank-2", Lot: "8", Kg: 300})
		time.Sleep(time.Minute)
		stands("a lot came", "hub", "", false)
		time.Sleep(40 * time.Minute)
		stands("nobody read of it", "hub", "overdue", true)
		e.end()
	})
}

// packsHeard counts what a board sends to the store, and stands for that store.
type packsHeard struct {
	own, foreign atomic.Int64
}

func (p *packsHeard) count() (own, foreign int64) { return p.own.Load(), p.foreign.Load() }

func listenToPacks(ctx context.Context, running *sync.WaitGroup, dial func(context.Context) (net.Conn, error), plan *check.Plan, board string) *packsHeard {
	heard, topics := &packsHeard{}, wire.Topics{Root: "millwarden", Site: plan.Site.Name}
	theirs := map[string]bool{}
	for _, p := range plan.Points {
		theirs[p.Name] = p.How == check.Remote || p.Station == "mill" && p.Short == "disk-free"
	}
	var decoder wire.Decoder
	var pack wire.Pack
	marks := make(chan wire.Mark, 64)
	receive := func(_ string, payload []byte, _ bool) {
		if decoder.Decode(payload, &pack) != nil {
			return
		}
		for _, r := range pack.Readings {
			if _, _, point, _ := wire.Split(r.Point); theirs[point] {
				heard.foreign.Add(1)
			} else {
				heard.own.Add(1)
			}
		}
		select {
		case marks <- wire.Mark{Stream: pack.Stream, Store: "store", Commit: pack.To, Next: pack.To}:
		default: // it comes again
		}
	}
	running.Go(func() {
		_ = link.Keep(ctx, link.Options{Dial: dial, ClientID: "listener", Subscribe: []string{topics.Pack(board)}, Receive: receive, Presence: topics.State("listener")},
			func(ctx context.Context, c *link.Conn) error {
				for {
					select {
					case <-ctx.Done():
						return nil
					case m := <-marks:
						c.Send(link.Message{Topic: topics.Mark(board), Payload: m.Append(nil)})
					}
				}
			})
	})
	return heard
}
