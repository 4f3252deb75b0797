package publish

import (
	"context"
	"crypto/tls"
	"errors"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"millwarden/internal/certificate"
	"millwarden/internal/leaks"
	"millwarden/internal/link"
)

// guarded is a running broker with an access list, mosquitto's clients outside, and what this process hears of them.
type guarded struct {
	t     *testing.T
	b     *Broker
	host  string
	port  string
	mu    sync.Mutex // guards heard
	heard map[string]string
}

// topicsOf are the topics of two sticks; the tank's electrode has none, for it is no radio probe.
func topicsOf(user string) []string {
	return map[string][]string{"bin-1-stick": {"sticks/bin-1"}, "bin-2-stick": {"sticks/bin-2"}}[user]
}

func guard(t *testing.T, o BrokerOptions, change ...func(*Broker)) *guarded {
	t.Helper()
	for _, program := range []string{"mosquitto_pub", "mosquitto_sub"} {
		if _, err := exec.LookPath(program); err != nil {
			if os.Getenv("CI") == "true" {
				t.Fatalf("%s is not installed", program)
			}
			t.Skipf("%s is not installed", program)
		}
	}
	o.Listen, o.Topics = "127.0.0.1:0", topicsOf
	b, err := NewBroker(o)
	if err != nil {
		t.Fatal(err)
	}
	for _, do := range change {
		do(b)
	}
	g := &guarded{t: t, b: b, heard: map[string]string{}}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- b.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	<-b.Ready()
	g.host, g.port, _ = net.SplitHostPort(b.Addr().String())
	stands := make(chan error, 1)
	go link.Keep(ctx, link.Options{Dial: b.Dial, ClientID: "inside", Presence: "inside/state", Subscribe: []string{"#"}, QoS: 1, Report: func(err error) {
		select {
		case stands <- err:
		default:
		}
	}, Receive: func(topic string, payload []byte, _ bool) {
		g.mu.Lock()
		defer g.mu.Unlock()
		g.heard[topic] += string(payload)
	}}, func(ctx context.Context, _ *link.Conn) error { <-ctx.Done(); return nil })
	if err := <-stands; err != nil {
		t.Fatal(err)
	}
	return g
}

// run runs one of mosquitto's clients.
func (g *guarded) run(program string, args ...string) (string, error) {
	g.t.Helper()
	ctx, cancel := context.WithTimeout(g.t.Context(), time.Minute)
	defer cancel()
	out, err := exec.CommandContext(ctx, program, append([]string{"-h", g.host, "-p", g.port}, args...)...).CombinedOutput()
	if ctx.Err() != nil {
		g.t.Fatalf("%s %v hangs: %s", program, args, out)
	}
	return string(out), err
}

func (g *guarded) said(topic string) string {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.heard[topic]
}

// waits until a topic said something.
func (g *guarded) waits(topic, want string) {
	g.t.Helper()
	for begun := time.Now(); !strings.Contains(g.said(topic), want); time.Sleep(10 * time.Millisecond) {
		if time.Since(begun) > time.Minute {
			g.t.Fatalf("%s says %q, want %q", topic, g.said(topic), want)
		}
	}
}

func byPassword() BrokerOptions {
	return BrokerOptions{Credential: func() (string, string, error) { return "mill", "whole secret", nil }, Password: func(user string) (string, error) {
		return map[string]string{"bin-1-stick": "one", "bin-2-stick": "two", "tank-1-electrode": "three"}[user], nil
	}}
}

// Aim: a stick, spoken for by mosquitto's clients in both versions of the protocol, publishes to its own topic and below and nowhere else, by no will, no
// alias and no subscription; the master user may everything. What reached the process is compared, not what the client believes.
func TestGate_accessList(t *testing.T) {
	g := guard(t, byPassword())
	stick := func(version, topic string, more ...string) (string, error) {
		return g.run("mosquitto_pub", append([]string{"-V", version, "-u", "bin-1-stick", "-P", "one", "-q", "1", "-t", topic, "-m", version + ";"}, more...)...)
	}
	for _, v := range []string{"311", "5"} {
		for _, topic := range []string{"sticks/bin-1", "sticks/bin-1/battery"} {
			if said, err := stick(v, topic); err != nil {
				t.Errorf("version %s to %s: %v %s", v, topic, err, said)
			}
			g.waits(topic, v)
		}
		for _, topic := range []string{"sticks/bin-2", "sticks/bin-11", "sticks", "sticks/bin-1x/y", "millwarden/mill/board/pack", "inside/state", "/sticks/bin-1"} {
			_, _ = stick(v, topic) // what it believes is its own matter: 3.1.1 has no answer for it
		}
		if _, err := stick(v, "sticks/bin-1", "--will-topic", "sticks/bin-2", "--will-payload", "dead"); err == nil {
			t.Errorf("version %s: a will for another's topic is taken", v)
		}
		for _, filter := range []string{"#", "sticks/+", "sticks/bin-2", "$share/a/#", "$SYS/#"} {
			if said, err := g.run("mosquitto_sub", "-V", v, "-u", "bin-1-stick", "-P", "one", "-q", "1", "-t", filter, "-E"); err == nil && !strings.Contains(said, "denied") {
				t.Errorf("version %s hears %s: %s", v, filter, said)
			}
		}
	}
	if said, err := g.run("mosquitto_pub", "-u", "mill", "-P", "whole secret", "-q", "1", "-t", "sticks/bin-2", "-m", "master"); err != nil {
		t.Errorf("the master: %s", said)
	}
	g.waits("sticks/bin-2", "master") // after all that was refused, so that it would have been heard
	g.mu.Lock()
	defer g.mu.Unlock()
	for topic, said := range g.heard {
		if topic != "sticks/bin-1" && topic != "sticks/bin-1/battery" && topic != "inside/state" && said != "master" || topic == "inside/state" && strings.Trim(said, "onlief") != "" {
			t.Errorf("%s was heard to say %q", topic, said)
		}
	}
}

// Aim: wrong and foreign passwords, no password, a user that is no radio probe, and the client id of somebody else are refused.
func TestGate_refuses(t *testing.T) {
	g := guard(t, byPassword())
	for what, args := range map[string][]string{
		"wrong password": {"-u", "bin-1-stick", "-P", "two"}, "no password": {"-u", "bin-1-stick"}, "nobody": {}, "unknown": {"-u", "ana", "-P", ""}, "no radio probe": {"-u", "tank-1-electrode", "-P", "three"},
		"master with a stick's": {"-u", "mill", "-P", "one"}, "the process's own id": {"-u", "bin-1-stick", "-P", "one", "-i", "inside"}, "and by the master": {"-u", "mill", "-P", "whole secret", "-i", "inside"},
	} {
		if said, err := g.run("mosquitto_pub", append(args, "-t", "sticks/bin-1", "-m", "x")...); err == nil {
			t.Errorf("%s is let in: %s", what, said)
		}
	}
	if said := g.said("sticks/bin-1"); said != "" {
		t.Errorf("the stick was heard to say %q", said)
	}
	if said, err := g.run("mosquitto_pub", "-u", "bin-1-stick", "-P", "one", "-t", "sticks/bin-1", "-m", "x"); err != nil {
		t.Errorf("the right one: %s", said)
	}
	g.waits("sticks/bin-1", "x")
}

// Aim: with a root for clients mosquitto's clients are let in by certificates alone, each as the user that the certificate names; those of another root, none, and
// one that has run out are refused in the handshake; and the clients check the broker's own.
func TestGate_certificates(t *testing.T) {
	now := time.Now()
	root, err := certificate.NewRoot("mill", nil, now)
	if err != nil {
		t.Fatal(err)
	}
	other, err := certificate.NewRoot("mill", nil, now)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	keep := func(name string, text []byte, err error) string {
		t.Helper()
		path := filepath.Join(dir, name)
		if err = errors.Join(err, os.WriteFile(path, text, 0o600)); err != nil {
			t.Fatal(err)
		}
		return path
	}
	anchor, foreign := keep("root.crt", certificate.PEM(root.Certificate), nil), keep("other.crt", certificate.PEM(other.Certificate), nil)
	issue := func(name string, r *certificate.Root, client string, at time.Time) string {
		text, err := r.Client(client, at)
		return keep(name, text, err)
	}
	text, err := root.Server([]string{"127.0.0.1"}, now)
	server := keep("broker.pem", text, err)
	good, master, forged := issue("stick.pem", root, "bin-1-stick", now), issue("mill.pem", root, "mill", now), issue("forged.pem", other, "bin-1-stick", now)
	serve, err := link.TLS(anchor, server)
	if err != nil {
		t.Fatal(err)
	}
	var ahead atomic.Int64 // days
	serve.Time = func() time.Time { return now.AddDate(0, 0, int(ahead.Load())) }
	serve.ClientCAs, serve.ClientAuth = serve.RootCAs, tls.RequireAndVerifyClientCert
	o := byPassword()
	o.TLS = serve
	g := guard(t, o)
	pub := func(ca, file, topic string, more ...string) (string, error) {
		args := []string{"--cafile", ca, "-q", "1", "-t", topic, "-m", "x"}
		if file != "" {
			args = append(args, "--cert", file, "--key", file)
		}
		return g.run("mosquitto_pub", append(args, more...)...)
	}
	if said, err := pub(anchor, good, "sticks/bin-1"); err != nil {
		t.Fatalf("the stick: %s", said)
	}
	g.waits("sticks/bin-1", "x")
	for what, bad := range map[string]func() (string, error){
		"no certificate, but the password": func() (string, error) { return pub(anchor, "", "sticks/bin-1", "-u", "bin-1-stick", "-P", "one") },
		"another root's":                   func() (string, error) { return pub(anchor, forged, "sticks/bin-1") },
		"the master's name and password":   func() (string, error) { return pub(anchor, good, "sticks/bin-2", "-u", "mill", "-P", "whole secret") },
		"a broker that is not ours":        func() (string, error) { return pub(foreign, good, "sticks/bin-1") },
	} {
		if said, err := bad(); err == nil {
			t.Errorf("%s is let in: %s", what, said)
		}
	}
	_, _ = pub(anchor, good, "sticks/bin-2")
	if said, err := pub(anchor, master, "millwarden/all"); err != nil {
		t.Errorf("the master: %s", said)
	}
	g.waits("millwarden/all", "x")
	if g.said("sticks/bin-2") != "" || g.said("sticks/bin-1") != "x" {
		t.Errorf("heard of bin 2 %q, of bin 1 %q", g.said("sticks/bin-2"), g.said("sticks/bin-1"))
	}
	// A certificate that has run out: the broker's clock is set ahead, as the handshake asks for it.
	ahead.Store(398)
	if said, err := pub(anchor, good, "sticks/bin-1"); err == nil {
		t.Errorf("a certificate that has run out is let in: %s", said)
	}
}

// Aim: clients that connect and say nothing, or half of what is needed, do not keep others out for longer than the bound, and are sent away; one that has said
// who it is stays.
func TestGate_slowClients(t *testing.T) {
	const room = 4
	g := guard(t, byPassword(), func(b *Broker) { b.wait, b.room = time.Second, room })
	silent := func(says string) net.Conn {
		conn, err := net.Dial("tcp", net.JoinHostPort(g.host, g.port))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = conn.Close() })
		_, _ = conn.Write([]byte(says)) // it may be closed already
		return conn
	}
	held := []net.Conn{}
	for i := range 3 * room {
		held = append(held, silent([]string{"", "\x10", "\x10\x1e\x00\x04MQ", "GET / HTTP/1.1\r\n"}[i%4]))
	}
	for i, conn := range held {
		_ = conn.SetReadDeadline(time.Now().Add(time.Minute))
		if _, err := io.Copy(io.Discard, conn); errors.Is(err, os.ErrDeadlineExceeded) {
			t.Errorf("silent client %d is still there after a minute", i)
		}
	}
	for begun := time.Now(); ; time.Sleep(100 * time.Millisecond) {
		said, err := g.run("mosquitto_pub", "-u", "bin-1-stick", "-P", "one", "-q", "1", "-t", "sticks/bin-1", "-m", "x")
		if err == nil {
			break
		}
		if time.Since(begun) > time.Minute {
			t.Fatalf("nobody gets in any more: %s", said)
		}
	}
	g.waits("sticks/bin-1", "x")
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	stays := exec.CommandContext(ctx, "mosquitto_pub", "-h", g.host, "-p", g.port, "-u", "bin-2-stick", "-P", "two", "-q", "1", "-t", "sticks/bin-2", "-l")
	in, err := stays.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := stays.Start(); err != nil {
		t.Fatal(err)
	}
	say := func(text string) {
		if _, err := io.WriteString(in, text+"\n"); err != nil {
			t.Fatal(err)
		}
		g.waits("sticks/bin-2", text)
	}
	say("before")
	time.Sleep(2 * time.Second) // longer than the bound for those who say nothing: the thing that is shown
	say("after")
	cancel()
	_ = stays.Wait() // it was killed
}

// Aim: a packet that is too long is refused, before and after somebody has said who it is, is told and counted, and hurts nobody else; one just below the bound
// arrives whole.
func TestGate_oversized(t *testing.T) {
	var counted atomic.Int64
	var log leaks.Log
	o := byPassword()
	o.Oversized, o.Log = func() { counted.Add(1) }, slog.New(slog.NewTextHandler(&log, nil))
	g := guard(t, o)
	file := func(size int) string {
		path := filepath.Join(t.TempDir(), "message")
		if err := os.WriteFile(path, []byte(strings.Repeat("x", size)), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	const head = 64 // topic and header of the packet
	stick := func(version string, size int) (string, error) {
		return g.run("mosquitto_pub", "-V", version, "-u", "bin-1-stick", "-P", "one", "-q", "1", "-t", "sticks/bin-1", "-f", file(size))
	}
	for _, version := range []string{"311", "5"} {
		if said, err := stick(version, maxPacket+1); err == nil {
			t.Errorf("version %s is taken: %s", version, said)
		}
	}
	for begun := time.Now(); counted.Load() < 2 && time.Since(begun) < time.Minute; {
		time.Sleep(10 * time.Millisecond)
	}
	before := counted.Load()
	if before < 2 || !strings.Contains(log.String(), "a packet was too long") {
		t.Errorf("counted %d, the log says %s", before, log.String())
	}
	conn, err := net.Dial("tcp", net.JoinHostPort(g.host, g.port))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	_, _ = conn.Write([]byte("\x10\xff\xff\xff\x7f")) // CONNECT with the greatest length there is [MQTT 3.1.1, table 2.4]
	_ = conn.SetReadDeadline(time.Now().Add(time.Minute))
	if _, err := io.Copy(io.Discard, conn); errors.Is(err, os.ErrDeadlineExceeded) {
		t.Error("the endless first packet is still waited for")
	}
	for begun := time.Now(); counted.Load() == before; time.Sleep(10 * time.Millisecond) {
		if time.Since(begun) > time.Minute {
			t.Fatal("the endless first packet is not counted")
		}
	}
	if said := g.said("sticks/bin-1"); said != "" {
		t.Errorf("%d bytes of what was refused were heard", len(said))
	}
	if said, err := stick("311", maxPacket-head); err != nil {
		t.Errorf("just below the bound: %s", said)
	}
	g.waits("sticks/bin-1", strings.Repeat("x", maxPacket-head))
}
