package link

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"millwarden/internal/clock/clocktest"
)

// certificate makes one that counts in 2020 to 2040, as files.
func certificate(t *testing.T) (ca, both string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	c := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "broker"}, DNSNames: []string{"broker"}, IsCA: true, BasicConstraintsValid: true,
		NotBefore: time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC), NotAfter: time.Date(2040, 1, 1, 0, 0, 0, 0, time.UTC)}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	ca, both = filepath.Join(folder, "ca.pem"), filepath.Join(folder, "broker.pem")
	public := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	for name, text := range map[string][]byte{ca: public, both: append(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret}), public...)} {
		if err := os.WriteFile(name, text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return ca, both
}

// Aim: with a clock that says 2000, as fake time does, a good certificate is refused, and the words say clock; checked against the time of the sources
// it is taken.
func TestTLS_wrongClock(t *testing.T) {
	ca, both := certificate(t)
	for _, c := range []struct {
		built time.Time
		taken bool
	}{{time.Time{}, false}, {time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), true}, {time.Date(2050, 1, 1, 0, 0, 0, 0, time.UTC), false}} {
		clocktest.Bubble(t, func(t *testing.T) {
			ours, err := TLS(ca, "")
			if err != nil {
				t.Fatal(err)
			}
			theirs, err := TLS("", both)
			if err != nil {
				t.Fatal(err)
			}
			ours.ServerName, ours.Time = "broker", func() time.Time { return moment(time.Now(), c.built) }
			near, far := net.Pipe()
			for _, end := range []net.Conn{near, far} { // a pipe holds nothing: two that write at once, as at a refusal, would wait for ever
				if err := end.SetDeadline(time.Now().Add(time.Minute)); err != nil {
					t.Fatal(err)
				}
			}
			go func() {
				_ = tls.Server(far, theirs).Handshake()
				far.Close()
			}()
			err = Explain(tls.Client(near, ours).Handshake())
			near.Close()
			if c.taken != (err == nil) {
				t.Errorf("sources of %v: %v", c.built, err)
			}
			if err != nil && !strings.HasPrefix(err.Error(), "clock fault: its certificate counts from 2020-01-01 00:00 to 2040-01-01 00:00 UTC, and the clock here says 2000-01-01") {
				t.Errorf("it says %q", err)
			}
		})
	}
}
