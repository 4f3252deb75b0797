package certificate_test

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"millwarden/internal/certificate"
)

var now = time.Now()

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// openssl runs the peer that judges here; it was written by others.
func openssl(t *testing.T, args ...string) (string, error) {
	t.Helper()
	if _, err := exec.LookPath("openssl"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("openssl is not installed")
		}
		t.Skip("openssl is not installed")
	}
	out, err := exec.CommandContext(t.Context(), "openssl", args...).CombinedOutput()
	return string(out), err
}

func keep(t *testing.T, name string, text []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	must(t, os.WriteFile(path, text, 0o600))
	return path
}

// Aim: openssl takes the page's certificate for its names under the site's root, and for no other name; the client's for a client and for no server; and
// a certificate that a stolen root's key issued for another name under no circumstances: that is what the constraint is for.
func TestRoot_openssl(t *testing.T) {
	root, err := certificate.NewRoot("fern-hollow", []string{"mill.estate.example", "192.168.10.2"}, now)
	must(t, err)
	page, err := root.Server([]string{"mill.estate.example", "192.168.10.2", "localhost"}, now)
	must(t, err)
	only, err := root.Server([]string{"192.168.10.2"}, now)
	must(t, err)
	client, err := root.Client("bin-2-stick", now)
	must(t, err)
	anchor, pageFile, clientFile := keep(t, "root.crt", certificate.PEM(root.Certificate)), keep(t, "page.pem", page), keep(t, "client.pem", client)
	verify := func(file string, args ...string) (string, error) {
		return openssl(t, append(append([]string{"verify", "-x509_strict", "-CAfile", anchor}, args...), file)...)
	}
	for _, good := range [][]string{{pageFile, "-purpose", "sslserver", "-verify_hostname", "mill.estate.example"}, {pageFile, "-purpose", "sslserver", "-verify_ip", "192.168.10.2"},
		{keep(t, "only.pem", only), "-purpose", "sslserver", "-verify_ip", "192.168.10.2"}, {clientFile, "-purpose", "sslclient"}} {
		if said, err := verify(good[0], good[1:]...); err != nil {
			t.Errorf("openssl refuses %v: %s", good[1:], said)
		}
	}
	for _, bad := range [][]string{{pageFile, "-verify_hostname", "bank.example"}, {pageFile, "-verify_ip", "192.168.10.3"}, {pageFile, "-purpose", "sslclient"}, {clientFile, "-purpose", "sslserver"}} {
		if _, err := verify(bad[0], bad[1:]...); err == nil {
			t.Errorf("openssl takes %v", bad[1:])
		}
	}
	stolen := keep(t, "stolen.pem", forge(t, root))
	if said, err := verify(stolen, "-purpose", "sslserver"); err == nil || !strings.Contains(said, "permitted subtree violation") {
		t.Errorf("openssl of a certificate for another name by the root's own key: %v, %s", err, said)
	}
}

// forge issues a certificate for a name that the root is not for, by openssl with the root's key, as a thief would.
func forge(t *testing.T, root *certificate.Root) []byte {
	t.Helper()
	secret, err := root.PEM()
	must(t, err)
	file, dir := keep(t, "root.pem", secret), t.TempDir()
	request, key, made, ext := filepath.Join(dir, "r"), filepath.Join(dir, "k"), filepath.Join(dir, "c"), filepath.Join(dir, "e")
	must(t, os.WriteFile(ext, []byte("subjectAltName=DNS:bank.example\nextendedKeyUsage=serverAuth\n"), 0o600))
	for _, args := range [][]string{{"req", "-new", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-keyout", key, "-out", request, "-subj", "/CN=bank.example"},
		{"x509", "-req", "-in", request, "-CA", file, "-CAkey", file, "-CAcreateserial", "-extfile", ext, "-out", made, "-days", "30"}} {
		if said, err := openssl(t, args...); err != nil {
			t.Fatalf("openssl %s: %s", args[0], said)
		}
	}
	text, err := os.ReadFile(made)
	must(t, err)
	return text
}

// Aim: the root is read again as written; a name it is not for is refused with the names it is for; the fingerprint is the one that openssl prints.
func TestRoot_again(t *testing.T) {
	root, err := certificate.NewRoot("fern-hollow", []string{"mill.estate.example"}, now)
	must(t, err)
	text, err := root.PEM()
	must(t, err)
	again, err := certificate.ReadRoot(text)
	must(t, err)
	if _, err := again.Server([]string{"mill.estate.example"}, now); err != nil {
		t.Errorf("issuing with the root read again: %v", err)
	}
	if _, err := again.Server([]string{"other.example"}, now); !errors.Is(err, certificate.ErrNotCovered) || !strings.Contains(err.Error(), "mill.estate.example") {
		t.Errorf("issuing for another name = %v", err)
	}
	if _, err := again.Server(nil, now); err == nil {
		t.Error("issuing for no name succeeded")
	}
	file := keep(t, "root.crt", certificate.PEM(root.Certificate))
	said, err := openssl(t, "x509", "-in", file, "-noout", "-fingerprint", "-sha256")
	must(t, err)
	if want := certificate.Fingerprint(root.Certificate); !strings.Contains(said, want) {
		t.Errorf("openssl prints %s, want %s", said, want)
	}
	for what, bad := range map[string][]byte{"nothing": nil, "no key": certificate.PEM(root.Certificate), "garbage": []byte("-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n")} {
		if _, err := certificate.ReadRoot(bad); err == nil {
			t.Errorf("ReadRoot of %s succeeded", what)
		}
	}
}

// Aim: with a clock that is not set nothing is made, and the clock is named.
func TestRoot_clock(t *testing.T) {
	unset := time.Date(1970, 1, 1, 0, 5, 0, 0, time.UTC)
	if _, err := certificate.NewRoot("mill", nil, unset); !errors.Is(err, certificate.ErrClock) {
		t.Errorf("NewRoot in 1970 = %v", err)
	}
	root, err := certificate.NewRoot("mill", nil, now)
	must(t, err)
	if _, err := root.Server([]string{"localhost"}, unset); !errors.Is(err, certificate.ErrClock) {
		t.Errorf("Server in 1970 = %v", err)
	}
}
