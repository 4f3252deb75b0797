package forward_test

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"millwarden/gateway/forward"
	"millwarden/gateway/history"
	"millwarden/gateway/publish"
	"millwarden/internal/link"
	"millwarden/internal/peers"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/internal/wire"
)

// backlog is a history of n readings over 64 points, one of each a second.
type backlog struct {
	n    uint64
	mark history.Mark
}

var backlogPoints = func() (names [64]string) {
	for i := range names {
		names[i] = fmt.Sprintf("tank-%d/p%d", i/8+1, i%8)
	}
	return names
}()

func (b *backlog) From(position uint64, limit int, into []history.Entry) ([]history.Entry, error) {
	for ; position <= b.n && limit > 0; position, limit = position+1, limit-1 {
		into = append(into, history.Entry{Position: position, Reading: reading.Reading{Point: backlogPoints[position%64], Quantity: units.Temperature,
			Value: float64(position*7919%60000) / 1000, Stamp: reading.Stamp{Wall: time.Unix(1.75e9+int64(position/64), int64(position%64)*1e6), Set: true}}})
	}
	return into, nil
}

func (b *backlog) Last() uint64                      { return b.n }
func (b *backlog) Watermark() history.Mark           { return b.mark }
func (b *backlog) SetWatermark(m history.Mark) error { b.mark = m; return nil }

// bare sends n packs of 64 from one paho client to another, QoS 1, 16 on the way: the baseline, with nothing of ours in it but the payload.
func bare(b *testing.B, broker string, n int) time.Duration {
	b.Helper()
	return across(b, broker, broker, n)
}

// across is bare from one node of a broker to another.
func across(b *testing.B, here, there string, n int) time.Duration {
	b.Helper()
	var entries []reading.Reading
	for _, e := range must((&backlog{n: 64}).From(1, 64, nil)) {
		entries = append(entries, e.Reading)
	}
	payload, _, err := wire.NewEncoder("fern-hollow", "hub", areaOf).Append(nil, wire.Header{Stream: "bare", From: 1, To: 64}, entries)
	if err != nil {
		b.Fatal(err)
	}
	came := make(chan struct{}, n)
	client := func(id, broker string) mqtt.Client {
		c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + broker).SetClientID(id).SetUsername(siteUser).SetPassword(sitePassword).SetDefaultPublishHandler(func(mqtt.Client, mqtt.Message) { came <- struct{}{} }))
		if t := c.Connect(); t.Wait() && t.Error() != nil {
			b.Fatal(t.Error())
		}
		return c
	}
	from, to := client("bare-from", here), client("bare-to", there)
	defer from.Disconnect(100)
	defer to.Disconnect(100)
	to.Subscribe("bare/pack", 1, nil).Wait()
	began := time.Now()
	var out []mqtt.Token
	for range n {
		if len(out) == 16 {
			out[0].Wait()
			out = out[1:]
		}
		out = append(out, from.Publish("bare/pack", 1, false, payload))
	}
	for range n {
		<-came
	}
	return time.Since(began)
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// whole sends as many readings from a history to the answer of the store. So many may be ahead of the store that its marks, 20 ms apart, hold nothing up.
func whole(b *testing.B, broker string, store destination, n uint64) time.Duration {
	b.Helper()
	address, org, bucket, token := store.Write()
	f, err := forward.New(forward.Options{Root: "m", Site: "fern-hollow", Dial: link.Dialer(broker, nil),
		Store: forward.Store{Address: address, Org: org, Bucket: bucket, Token: func() (string, error) { return token, nil }}})
	if err != nil {
		b.Fatal(err)
	}
	p := publish.New(&backlog{n: n}, publish.Options{Root: "m", Site: "fern-hollow", Board: "hub", Dial: link.Dialer(broker, nil), Area: areaOf, Rate: -1, Ahead: 1 << 18})
	forwarding := runPart(f.Run)
	time.Sleep(200 * time.Millisecond) // it subscribes: the first pack should not wait 3 s
	began := time.Now()
	publishing := runPart(p.Run)
	for p.Status().Watermark < n {
		if time.Since(began) > 2*time.Minute {
			b.Fatalf("%+v %+v", p.Status(), f.Status())
		}
		time.Sleep(2 * time.Millisecond)
	}
	took := time.Since(began)
	publishing.stop(b)
	forwarding.stop(b)
	return took
}

// nothing is a store that takes everything and keeps nothing: what is left is our own way, and the broker's.
type nothing struct{ url string }

func (n nothing) Write() (address, org, bucket, token string) { return n.url, "estate", "mill", "" }

type destination interface {
	Write() (address, org, bucket, token string)
}

// processor is the processor time of this process: publisher and forwarder, or the bare pair; not broker and store.
func processor() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// Goal: at least 0.5 of the readings a second of a bare pair with packs of 64, measured in turns in the same run, the median of 5 pairs; and no
// more than 1.5 times its processor time, which a busy machine does not distort. A backlog travels in packs of wire.Most. Run it with -benchtime 1x
// on an idle machine: on two processors the two clients, the broker and the store share them. What a store costs (five tags and two
// fields a reading) is in all but the last.
func BenchmarkHistoryToStore(b *testing.B) {
	// With the memory that it takes by itself: held to the 256 MB of the other tests it works half as long again on a reading.
	b.Run("victoria-metrics", func(b *testing.B) {
		store := peers.StartVictoriaMetrics(b, "-memory.allowedBytes=0")
		pairs(b, store)
		b.ReportMetric(float64(store.Processor().Nanoseconds())/(5*toStore), "store-ns/reading")
	})
	// influxd spends a third of its time on collecting garbage, which a machine with memory to spare may put off.
	for _, gogc := range []string{"100", "400"} { // as it comes, and put off
		b.Run("influxd-GOGC-"+gogc, func(b *testing.B) {
			store := peers.StartInflux(b, "GOGC="+gogc)
			pairs(b, store)
			b.ReportMetric(float64(store.Processor().Nanoseconds())/(5*toStore), "store-ns/reading")
		})
	}
	b.Run("nothing", func(b *testing.B) {
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
			io.Copy(io.Discard, req.Body)
			w.WriteHeader(http.StatusNoContent)
		}))
		defer server.Close()
		pairs(b, nothing{server.URL})
	})
}

// toStore is how many readings go to the store in each of five rounds: as many as in the measurement that the goal was set by.
const toStore = 3_000_000

func pairs(b *testing.B, store destination) {
	const readings = toStore
	broker := peers.StartMosquitto(b)
	for b.Loop() {
		var ratios, speeds, bares, cpus []float64
		for range 5 {
			c0 := processor()
			base := bare(b, broker.Address, readings/wire.Enough)
			c1 := processor()
			took := whole(b, broker.Address, store, readings)
			c2 := processor()
			ratios = append(ratios, base.Seconds()/took.Seconds())
			speeds = append(speeds, readings/took.Seconds())
			bares = append(bares, readings/base.Seconds())
			cpus = append(cpus, float64(c2-c1)/float64(c1-c0))
		}
		for _, list := range [][]float64{ratios, speeds, bares, cpus} {
			slices.Sort(list)
		}
		b.ReportMetric(0, "ns/op")
		b.ReportMetric(ratios[2], "of-bare")
		b.ReportMetric(ratios[4], "of-bare-most")
		b.ReportMetric(speeds[2], "readings/s")
		b.ReportMetric(bares[2], "bare-readings/s")
		b.ReportMetric(cpus[2], "times-bare-processor")
	}
}

// BenchmarkCluster tells what a pack costs a broker of three nodes, each of which keeps it, beside one that keeps nothing: for the reckoning of how far
// a cluster carries. It has no goal.
func BenchmarkCluster(b *testing.B) {
	const packs = 20_000
	nodes := peers.StartCluster(b, clusterConfig, siteUser, sitePassword)
	single := peers.StartMosquitto(b)
	time.Sleep(10 * time.Second) // until the nodes have found each other
	for b.Loop() {
		one, three := bare(b, single.Address, packs), across(b, nodes[0].Address, nodes[1].Address, packs)
		var busy time.Duration
		for _, n := range nodes {
			busy += n.Processor()
		}
		b.ReportMetric(0, "ns/op")
		b.ReportMetric(packs/three.Seconds(), "packs/s")
		b.ReportMetric(one.Seconds()/three.Seconds(), "of-one-broker")
		b.ReportMetric(float64(busy.Microseconds())/packs, "µs-of-all-nodes/pack")
		b.ReportMetric(float64(single.Processor().Microseconds())/packs, "µs-of-one-broker/pack")
	}
}
