package web

import (
	"context"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"millwarden/internal/certificate"
)

// servedTLS runs the page over TLS with a certificate of a site's own root, until the test ends.
func servedTLS(t *testing.T, g *gated, root *certificate.Root) (address, file string) {
	t.Helper()
	text, err := root.Server([]string{"localhost", "127.0.0.1"}, time.Now())
	must(t, err)
	file = filepath.Join(t.TempDir(), "page.pem")
	must(t, os.WriteFile(file, text, 0o600))
	g.config.Certificate = file
	l, err := new(net.ListenConfig).Listen(t.Context(), "tcp", "127.0.0.1:0")
	must(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- g.Serve(ctx, l) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return l.Addr().String(), file
}

// curl is the peer, written by others.
func curl(t *testing.T, args ...string) (string, error) {
	t.Helper()
	if _, err := exec.LookPath("curl"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("curl is not installed")
		}
		t.Skip("curl is not installed")
	}
	out, err := exec.CommandContext(t.Context(), "curl", append([]string{"-sS", "--max-time", "60"}, args...)...).CombinedOutput()
	return string(out), err
}

// Aim: curl takes the page under the site's root that the page itself hands out, not without it, not for another name and not below TLS 1.2; HSTS is sent
// under TLS alone; a renewed certificate is taken without a restart, and a broken one leaves the old one in place.
func TestServe_ownRoot(t *testing.T) {
	g := newGated(t, true)
	root, err := certificate.NewRoot("fern-hollow", []string{"mill.example"}, time.Now())
	must(t, err)
	address, file := servedTLS(t, g, root)
	_, port, _ := net.SplitHostPort(address)
	base := "https://localhost:" + port
	anchor := filepath.Join(t.TempDir(), "site-root.crt")
	if said, err := curl(t, "--retry", "20", "--retry-all-errors", "--retry-delay", "1", "-k", "-o", anchor, base+"/site-root.crt"); err != nil {
		t.Fatalf("the root: %s", said)
	}
	said, err := curl(t, "-i", "--cacert", anchor, base+"/trust")
	if err != nil || !strings.Contains(said, certificate.Fingerprint(root.Certificate)) || !strings.Contains(strings.ToLower(said), "strict-transport-security: max-age=31536000") {
		t.Errorf("with the root: %v\n%s", err, said)
	}
	for what, args := range map[string][]string{"without the root": {base + "/trust"}, "TLS 1.1": {"--cacert", anchor, "--tls-max", "1.1", base + "/trust"},
		"another name": {"--cacert", anchor, "--resolve", "other.example:" + port + ":127.0.0.1", "https://other.example:" + port + "/trust"}} {
		if said, err := curl(t, args...); err == nil {
			t.Errorf("curl takes the page %s: %s", what, said)
		}
	}
	if got := ask(t, newGated(t, true).Web, request("GET", "/trust", "")); got.Header().Get("Strict-Transport-Security") != "" {
		t.Error("HSTS without TLS")
	}
	other, err := certificate.NewRoot("fern-hollow", nil, time.Now())
	must(t, err)
	text, err := other.Server([]string{"localhost"}, time.Now())
	must(t, err)
	must(t, os.WriteFile(file, []byte("half a fi"), 0o600))
	if said, err := curl(t, "--cacert", anchor, base+"/health"); err != nil {
		t.Errorf("with a broken file the old certificate is gone: %s", said)
	}
	must(t, os.WriteFile(file, text, 0o600))
	must(t, os.WriteFile(anchor, certificate.PEM(other.Certificate), 0o600))
	if said, err := curl(t, "--cacert", anchor, base+"/health"); err != nil {
		t.Errorf("the renewed certificate is not shown: %s", said)
	}
	if log := g.log.String(); !strings.Contains(log, "goes on with the certificate it had") || strings.Contains(log, "PRIVATE KEY") {
		t.Errorf("log: %s", log)
	}
}

// Aim: a certificate that does not count at the clock's time is told of as a fault of the clock, where the clock may be why; a key that others may read is refused.
func TestServe_wrongClock(t *testing.T) {
	g := newGated(t, true)
	root, err := certificate.NewRoot("mill", nil, time.Now())
	must(t, err)
	text, err := root.Server([]string{"localhost"}, time.Now())
	must(t, err)
	file := filepath.Join(t.TempDir(), "page.pem")
	must(t, os.WriteFile(file, text, 0o600))
	s, err := showing(file, g.config.Log)
	must(t, err)
	if g.log.String() != "" {
		t.Errorf("of a good one is said: %s", g.log)
	}
	for at, want := range map[time.Time]string{time.Unix(300, 0): "clock fault", time.Now().AddDate(2, 0, 0): "has run out, unless the clock", time.Now().AddDate(0, 0, 380): "runs out soon"} {
		before := len(g.log.String())
		s.judge(s.pair.Leaf, at)
		if said := g.log.String()[before:]; !strings.Contains(said, want) {
			t.Errorf("at %v is said %q, want %q", at, said, want)
		}
	}
	must(t, os.Chmod(file, 0o644))
	if _, err := showing(file, g.config.Log); err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("a key that others may read: %v", err)
	}
}
