package floor_test

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/influxdata/influxdb-client-go/v2/api"
	influxhttp "github.com/influxdata/influxdb-client-go/v2/api/http"
	"github.com/influxdata/influxdb-client-go/v2/api/write"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"millwarden/drivers"
	"millwarden/drivers/modbus/modbustest"
	"millwarden/gateway/floor"
	"millwarden/gateway/history"
	"millwarden/gateway/publish"
	"millwarden/internal/clock"
	"millwarden/internal/link"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// settled is how long a process runs before its memory is read.
const settled = 30 * time.Second

// BenchmarkMemory gives the resident memory of the whole gateway at 64 points a second, everything embedded, against a bare process that holds the same
// libraries and passes as many readings through them: broker, MQTT client, database, metrics page, HTTP server, store client.
func BenchmarkMemory(b *testing.B) {
	for b.Loop() {
		bare, whole := resident(b, "bare process"), resident(b, "gateway of 64")
		b.ReportMetric(bare/1024, "bare-MB")
		b.ReportMetric(whole/1024, "gateway-MB")
		b.ReportMetric(whole/bare, "ratio")
	}
}

// resident is the memory in kB of a role after it has settled.
func resident(b *testing.B, role string) float64 {
	b.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), roleKey+"="+role, "MILLWARDEN_CHAIN_FOLDER="+b.TempDir())
	cmd.Stderr = os.Stderr
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	time.Sleep(settled)
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", cmd.Process.Pid))
	_ = cmd.Process.Signal(syscall.SIGTERM)
	if ended := cmd.Wait(); ended != nil || err != nil {
		b.Fatalf("%s: %v, %v", role, ended, err)
	}
	for line := range strings.Lines(string(status)) {
		if fields := strings.Fields(line); fields[0] == "VmRSS:" {
			kb, err := strconv.ParseFloat(fields[1], 64)
			if err != nil {
				b.Fatal(err)
			}
			return kb
		}
	}
	b.Fatalf("%s: its status has no VmRSS", role)
	return 0
}

// sixtyFour is rules of 64 points on 8 panels, each read once a second, and the panels.
func sixtyFour() (string, *modbustest.Device) {
	var text strings.Builder
	text.WriteString("site big-mill\n    timezone        America/Lima\n    altitude        1450 m\n\n")
	panel := modbustest.New()
	for i := range 8 {
		fmt.Fprintf(&text, "station tank-%d is tank\n\nprobe panel-%d\n    part            modbus on tcp 127.0.0.1:502 unit %d\n", i+1, i+1, i+1)
		names := []string{}
		for j := range 8 {
			fmt.Fprintf(&text, "    register        input %d as int16 x 0.1 °C is t%d\n", j, j)
			names = append(names, fmt.Sprintf("t%d", j))
			panel.SetInteger(uint8(i+1), drivers.InputRegisters, uint16(j), 1, int64(200+10*j)) //nolint:gosec // small numbers
		}
		fmt.Fprintf(&text, "    gives           %s at tank-%d\n    every           1 s\n\n", strings.Join(names, ", "), i+1)
	}
	text.WriteString("use fermentation, instruments, board\n\nperson ana\n    mail            ana@fern-hollow.example\n\n" +
		"channel mail\n    server          localhost:2525\n    sender          mill@fern-hollow.example\n\npage\n    listen          127.0.0.1:0\n")
	return text.String(), panel
}

// playSixtyFour is the gateway with 64 points.
func playSixtyFour(ctx context.Context, folder string) error {
	text, panel := sixtyFour()
	if err := os.WriteFile(filepath.Join(folder, "demo.rules"), []byte(text), 0o600); err != nil {
		return err
	}
	plan, said := loadFolder(os.DirFS(folder))
	if said != "" {
		return fmt.Errorf("the rules of 64 points: %s", said)
	}
	mill, err := floor.Open(floor.Options{Plan: plan, Data: folder, Drivers: knownDrivers(), Log: slog.New(slog.DiscardHandler),
		OpenBus: func(context.Context, drivers.BusKind, string, phrase.Lines) (drivers.Bus, io.Closer, error) {
			return drivers.Bus{Name: "tcp", Modbus: panel}, nil, nil
		}, Clock: func(boot uint32) clock.Clock { return &clock.System{Boot: boot, Trust: true} }})
	if err != nil {
		return err
	}
	go floor.KeepSmall(ctx)
	err = mill.Run(ctx)
	if closed := mill.Close(); err == nil {
		err = closed
	}
	return err
}

// playBare holds what the gateway holds and does the least with it: once a second 64 readings go into the database in one commit, through the broker and
// back.
func playBare(ctx context.Context, folder string) error {
	h, err := history.Open(folder, history.Options{})
	if err != nil {
		return err
	}
	broker, err := publish.NewBroker(publish.BrokerOptions{})
	if err != nil {
		return err
	}
	go broker.Run(ctx)
	registry := prometheus.NewRegistry()
	registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	go http.Serve(listener, promhttp.HandlerFor(registry, promhttp.HandlerOpts{}))
	store := api.NewWriteAPIBlocking("mill", "readings", influxhttp.NewService("http://127.0.0.1:1/", "", influxhttp.DefaultOptions()), write.DefaultOptions())
	defer store.Flush(context.Background())
	got := 0
	o := link.Options{Dial: broker.Dial, ClientID: "bare", Presence: "bare/state", Subscribe: []string{"bare/pack"}, Receive: func(string, []byte, bool) { got++ }}
	return link.Keep(ctx, o, func(ctx context.Context, c *link.Conn) error {
		tick := time.NewTicker(time.Second)
		defer tick.Stop()
		for n := 0; ; n++ {
			select {
			case <-ctx.Done():
				return h.Close()
			case now := <-tick.C:
				if err := passOn(h, c, n, now); err != nil {
					return err
				}
			}
		}
	})
}

func passOn(h *history.History, c *link.Conn, n int, now time.Time) error {
	rs := make([]reading.Reading, 64)
	for i := range rs {
		rs[i] = reading.Reading{Point: fmt.Sprintf("tank-%d/t%d", i/8, i%8), Quantity: units.Temperature, Value: float64(200+n%50) / 10,
			Stamp: reading.Stamp{Wall: now.UTC(), Mono: time.Duration(n) * time.Second, Boot: 1, Set: true}}
	}
	if _, err := h.Append(rs); err != nil {
		return err
	}
	pack, err := reading.AppendReadings(nil, rs)
	if err != nil {
		return err
	}
	return c.Publish(link.Message{Topic: "bare/pack", Payload: pack, QoS: 1})
}
