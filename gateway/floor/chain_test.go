package floor_test

import (
	"bufio"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"io"
	"log/slog"
	"math"
	"math/big"
	"net"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/ads1115/ads1115test"
	"millwarden/drivers/bus"
	"millwarden/drivers/catalog"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/sht4x/sht4xtest"
	"millwarden/gateway/floor"
	"millwarden/gateway/history"
	"millwarden/internal/clock"
	"millwarden/internal/peers"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/rules"
)

// The test binary plays the gateway and the forwarder too: they must be processes, so that kill -9 is one.
const roleKey = "MILLWARDEN_CHAIN_ROLE"

func TestMain(m *testing.M) {
	role := os.Getenv(roleKey)
	if role == "" {
		os.Exit(m.Run())
	}
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	err := play(ctx, role, os.Getenv("MILLWARDEN_CHAIN_FOLDER"))
	stop()
	if err != nil {
		fmt.Fprintln(os.Stderr, role+":", err)
		os.Exit(1)
	}
}

// play runs one part of the chain out of a folder that holds chain.rules, ca.pem and the credentials.
func play(ctx context.Context, role, folder string) error {
	switch role {
	case "bare process":
		return playBare(ctx, folder)
	case "gateway of 64":
		return playSixtyFour(ctx, folder)
	case "gateway of a room":
		return playRoom(ctx, folder)
	}
	words, err := phrase.Parse(catalog.Text() + floor.ChannelDeclares())
	if err != nil {
		return err
	}
	plan, said, sources := rules.Load(os.DirFS(folder), "chain.rules", words)
	if said.HasErrors() {
		_ = said.Print(os.Stderr, sources)
		return fmt.Errorf("the rules of the chain have faults")
	}
	log := slog.New(slog.NewTextHandler(os.Stderr, nil))
	credential := func(name string) (string, error) {
		text, err := os.ReadFile(filepath.Join(folder, name))
		return string(text), err
	}
	if role == "forwarder" {
		f, err := floor.Forwarder(plan, credential, filepath.Join(folder, "rejects.txt"), log)
		if err != nil {
			return err
		}
		return f.Run(ctx)
	}
	if role == "gateway without probes" {
		plan.Probes = nil
	}
	roots := x509.NewCertPool()
	ca, err := os.ReadFile(filepath.Join(folder, "ca.pem"))
	if err != nil {
		return err
	}
	roots.AppendCertsFromPEM(ca)
	mill, err := floor.Open(floor.Options{Plan: plan, Data: filepath.Join(folder, "data"), Drivers: knownDrivers(), OpenBus: buses(), Credential: credential, Log: log,
		NoForward: true, MailRoots: roots, Clock: func(boot uint32) clock.Clock { return &clock.System{Boot: boot, Trust: true} }, BootID: "chain"})
	if err != nil {
		return err
	}
	err = mill.Run(ctx)
	if closed := mill.Close(); err == nil {
		err = closed
	}
	return err
}

// buses are a double of an I2C bus, and the real thing for Modbus.
func buses() floor.BusOpener {
	wire := drivertest.NewI2C("i2c-1")
	electrode, air := ads1115test.New(), sht4xtest.New()
	// pH 4.0 at 24 °C: 59.0 mV a pH (Nernst, from memory), so the alarm below 4.2 stands from the start.
	electrode.SetVoltage(0, 0.05896*3)
	air.Set(24, 60)
	wire.Put(0x48, electrode)
	wire.Put(0x44, air)
	return func(_ context.Context, kind drivers.BusKind, name string, _ phrase.Lines) (drivers.Bus, io.Closer, error) {
		if kind == drivers.I2C {
			return drivers.Bus{Name: name, I2C: wire}, nil, nil
		}
		opened, err := bus.Open(kind, name, bus.Options{})
		if err != nil {
			return drivers.Bus{}, nil, err
		}
		return opened.Bus, opened, nil
	}
}

// process is a part of the chain that can be killed and started again.
type process struct {
	t      *testing.T
	role   string
	folder string
	cmd    *exec.Cmd
	log    *os.File
}

func (p *process) start() {
	p.t.Helper()
	p.cmd = exec.Command(os.Args[0])
	p.cmd.Env = append(os.Environ(), roleKey+"="+p.role, "MILLWARDEN_CHAIN_FOLDER="+p.folder)
	p.cmd.Stdout, p.cmd.Stderr = p.log, p.log
	p.cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := p.cmd.Start(); err != nil {
		p.t.Fatalf("starting the %s: %v", p.role, err)
	}
}

func (p *process) end(signal os.Signal) error {
	_ = p.cmd.Process.Signal(signal)
	return p.cmd.Wait()
}

// kill ends it as kill -9 does; one that had ended before would make the test prove nothing.
func (p *process) kill() {
	p.t.Helper()
	if err := p.end(syscall.SIGKILL); err == nil || p.cmd.ProcessState.Exited() {
		p.t.Fatalf("the %s was not killed: %v", p.role, p.cmd.ProcessState)
	}
}

func newProcess(t *testing.T, role, folder string) *process {
	t.Helper()
	log, err := os.Create(filepath.Join(folder, strings.ReplaceAll(role, " ", "-")+".log"))
	if err != nil {
		t.Fatal(err)
	}
	p := &process{t: t, role: role, folder: folder, log: log}
	p.start()
	t.Cleanup(func() {
		_ = p.end(syscall.SIGKILL)
		if t.Failed() {
			text, _ := os.ReadFile(log.Name())
			t.Logf("%s wrote:\n%s", role, text[max(0, len(text)-6000):])
		}
		_ = log.Close()
	})
	return p
}

// Aim: a probe's raw bytes become a calibrated reading, an alarm, a mail to a person and a point in a real store, through one kill -9 each of broker,
// forwarder and gateway; what the store holds is what the history holds, one for one. pymodbus, mosquitto and mosquitto_pub, the stores and the mail
// server are not ours; the I2C chips are doubles at register level.
func TestChain_realParts(t *testing.T) {
	if testing.Short() {
		t.Skip("starts real servers and runs for a minute")
	}
	t.Run("influxd", func(t *testing.T) { chain(t, peers.StartInflux(t), "0 s") })
	t.Run("victoria-metrics", func(t *testing.T) { chain(t, peers.StartVictoriaMetrics(t), "20 s") })
}

func chain(t *testing.T, store peers.Store, durable string) {
	folder := t.TempDir()
	broker := peers.StartMosquitto(t)
	panel := startPanel(t)
	mails := startMail(t, folder)
	address, org, bucket, token := store.Write()
	writeFiles(t, folder, map[string]string{"PANEL": panel, "MAIL": mails.port, "BROKER": broker.Address, "STORE": address, "ORG": org, "BUCKET": bucket,
		"DURABLE": durable, "PAGE": peers.FreeAddress(t)}, token)
	speak(t, broker.Address)

	gateway := newProcess(t, "gateway", folder)
	forwarder := newProcess(t, "forwarder", folder)
	for _, place := range []string{"TANK 1", "DRYER 1", "BIN 1"} {
		mails.await(t, place)
	}
	for _, victim := range []struct {
		name        string
		kill, start func()
	}{
		{"broker", broker.Kill, broker.Start},
		{"forwarder", forwarder.kill, forwarder.start},
		{"gateway", gateway.kill, gateway.start},
	} {
		victim.kill()
		time.Sleep(3 * time.Second) // real processes, real time: readings gather meanwhile
		victim.start()
		time.Sleep(4 * time.Second)
	}
	if err := gateway.end(syscall.SIGTERM); err != nil {
		t.Fatalf("the gateway did not end well: %v", err)
	}
	kept := entries(t, folder)
	if len(kept) < 60 {
		t.Fatalf("only %d readings in the history", len(kept))
	}
	drain := newProcess(t, "gateway without probes", folder)
	awaitRows(t, store, len(kept))
	if err := drain.end(syscall.SIGTERM); err != nil {
		t.Fatalf("the gateway without probes did not end well: %v", err)
	}
	compare(t, kept, entries(t, folder), store.Rows(t))
}

func writeFiles(t *testing.T, folder string, values map[string]string, token string) {
	t.Helper()
	text, err := os.ReadFile("testdata/chain.rules")
	if err != nil {
		t.Fatal(err)
	}
	filled := string(text)
	for name, value := range values {
		filled = strings.ReplaceAll(filled, name, value)
	}
	if err := os.MkdirAll(filepath.Join(folder, "data"), 0o750); err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string]string{"chain.rules": filled, "store-token": token, "mail-login": "mill:sesame"} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// speak lets mosquitto_pub be the stick in the bin, whether the broker is there or not.
func speak(t *testing.T, broker string) {
	t.Helper()
	program, err := exec.LookPath("mosquitto_pub")
	if err != nil {
		t.Fatalf("mosquitto_pub is needed: %v", err)
	}
	host, port, err := net.SplitHostPort(broker)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	var done sync.WaitGroup
	done.Go(func() {
		for i := 0; ctx.Err() == nil; i++ {
			frame := fmt.Sprintf(`[{"n":"moisture","u":"/","v":%.4f}]`, 0.13+0.0001*float64(i%50))
			_ = exec.CommandContext(ctx, program, "-h", host, "-p", port, "-t", "sticks/bin-1", "-m", frame).Run()
			select {
			case <-ctx.Done():
			case <-time.After(time.Second):
			}
		}
	})
	t.Cleanup(func() { stop(); done.Wait() })
}

// startPanel starts the Modbus server of python3-pymodbus.
func startPanel(t *testing.T) string {
	t.Helper()
	const python = "/usr/bin/python3"
	if out, err := exec.Command(python, "-c", "import pymodbus.server.async_io").CombinedOutput(); err != nil {
		missing(t, "python3-pymodbus: "+string(out))
	}
	address := peers.FreeAddress(t)
	_, port, _ := net.SplitHostPort(address)
	lines := startLines(t, exec.Command(python, "../../drivers/modbus/testdata/server.py", port))
	if line := lines.next(t); line != "ready" {
		t.Fatalf("pymodbus said %q", line)
	}
	return address
}

func missing(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("needed here: %s", what)
	}
	t.Skipf("not installed: %s", what)
}

// lines are what a server prints.
type lines struct{ out chan string }

func startLines(t *testing.T, cmd *exec.Cmd) *lines {
	t.Helper()
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stderr = os.Stderr
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	l := &lines{out: make(chan string, 1000)}
	go func() {
		for s := bufio.NewScanner(out); s.Scan(); {
			l.out <- s.Text()
		}
		close(l.out)
	}()
	t.Cleanup(func() {
		_ = in.Close()
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	return l
}

func (l *lines) next(t *testing.T) string {
	t.Helper()
	select {
	case line, ok := <-l.out:
		if !ok {
			t.Fatal("the server ended")
		}
		return line
	case <-time.After(2 * time.Minute):
		t.Fatal("the server says nothing")
	}
	return ""
}

// mailbox is npm smtp-server, which prints each mail it takes.
type mailbox struct {
	*lines
	port string
	got  []string
}

func startMail(t *testing.T, folder string) *mailbox {
	t.Helper()
	const server = "../callout/mail/testdata/"
	if _, err := os.Stat(server + "node_modules/smtp-server"); err != nil {
		missing(t, "npm smtp-server: run npm ci in gateway/callout/mail/testdata")
	}
	key, cert := certificate(t, folder)
	m := &mailbox{lines: startLines(t, exec.Command("node", server+"server.js", key, cert, "starttls"))}
	var said struct{ Port int }
	if err := json.Unmarshal([]byte(m.next(t)), &said); err != nil {
		t.Fatal(err)
	}
	m.port = strconv.Itoa(said.Port)
	return m
}

// await waits for a mail that names the place.
func (m *mailbox) await(t *testing.T, place string) {
	t.Helper()
	for _, text := range m.got {
		if strings.Contains(text, place) {
			return
		}
	}
	for {
		var mail struct {
			Raw       string
			To        []string
			Encrypted bool
		}
		if err := json.Unmarshal([]byte(m.next(t)), &mail); err != nil {
			t.Fatal(err)
		}
		raw, err := base64.StdEncoding.DecodeString(mail.Raw)
		if err != nil {
			t.Fatal(err)
		}
		m.got = append(m.got, string(raw))
		if len(mail.To) != 1 || mail.To[0] != "ana@fern-hollow.example" || !mail.Encrypted {
			t.Errorf("mail to %v, encrypted %v; want ana alone, encrypted", mail.To, mail.Encrypted)
		}
		if strings.Contains(string(raw), place) {
			return
		}
	}
}

// certificate makes a key and a certificate for localhost that is its own authority, as ca.pem.
func certificate(t *testing.T, folder string) (keyFile, certFile string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "localhost"}, DNSNames: []string{"localhost"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	keyFile, certFile = filepath.Join(folder, "key.pem"), filepath.Join(folder, "ca.pem")
	for file, block := range map[string]*pem.Block{keyFile: {Type: "PRIVATE KEY", Bytes: secret}, certFile: {Type: "CERTIFICATE", Bytes: der}} {
		if err := os.WriteFile(file, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return keyFile, certFile
}

// entries is all that the history holds.
func entries(t *testing.T, folder string) []history.Entry {
	t.Helper()
	h, err := history.Open(filepath.Join(folder, "data"), history.Options{})
	if err != nil {
		t.Fatalf("opening the history: %v", err)
	}
	defer h.Close()
	list, err := h.From(1, math.MaxInt32, nil)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

func awaitRows(t *testing.T, store peers.Store, want int) {
	t.Helper()
	deadline := time.Now().Add(90 * time.Second)
	for {
		have := len(store.Rows(t))
		if have >= want {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("the store holds %d rows after 90 s, want %d", have, want)
		}
		time.Sleep(time.Second)
	}
}

type where struct {
	point  string
	millis int64
}

// compare holds the store to the history: each reading kept before the end is there once, with its value and quality, and nothing is there that the
// history does not know.
func compare(t *testing.T, kept, all []history.Entry, rows []peers.Row) {
	t.Helper()
	stored := map[where]peers.Row{}
	for _, r := range rows {
		k := where{r.Station + "/" + r.Point, r.Millis}
		if r.Station == "" {
			k.point = r.Point
		}
		if _, twice := stored[k]; twice {
			t.Errorf("%v is stored twice", k)
		}
		stored[k] = r
	}
	known, wrong := map[where]bool{}, 0
	for _, e := range all {
		known[where{e.Point, e.Stamp.Wall.UnixMilli()}] = true
	}
	for _, e := range kept {
		k := where{e.Point, e.Stamp.Wall.UnixMilli()}
		r, found := stored[k]
		same := r.Value == e.Value || math.IsNaN(r.Value) && math.IsNaN(e.Value)
		if !found || !same || r.Quality != e.Quality.String() {
			if wrong++; wrong <= 5 {
				t.Errorf("position %d, %v = %v %v; the store has %+v (found %v)", e.Position, k, e.Value, e.Quality, r, found)
			}
		}
	}
	for k := range stored {
		if !known[k] {
			t.Errorf("the store holds %v, which the history does not know", k)
		}
	}
	measured := map[string]int{}
	for _, e := range kept {
		if e.Quality != reading.Bad {
			measured[e.Point]++
		}
	}
	for _, point := range []string{"tank-1/ph", "tank-1/temperature", "dryer-1/air-temperature", "bin-1/moisture"} {
		if measured[point] < 5 {
			t.Errorf("%s was read %d times, want at least 5: the chain was not exercised", point, measured[point])
		}
	}
	t.Logf("%d readings kept, %d rows stored, %d not the same", len(kept), len(rows), wrong)
}
