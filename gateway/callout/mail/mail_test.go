package mail

import (
	"bufio"
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"errors"
	"io"
	"math/big"
	"mime"
	"mime/quotedprintable"
	"net"
	"net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"millwarden/gateway/callout"
	"millwarden/internal/reading"
)

// The judge of these tests is npm's smtp-server, a mail server that we did not write, with a certificate of a certification authority made for the test.

type fixed struct{ stamp reading.Stamp }

func (f fixed) Now() reading.Stamp                 { return f.stamp }
func (f fixed) Real(d time.Duration) time.Duration { return d }

func setClock() fixed {
	return fixed{reading.Stamp{Wall: time.Now().UTC(), Mono: time.Hour, Boot: 1, Set: true}}
}

// authority makes a CA and a server certificate for localhost; it gives the CA and the paths of key and certificate.
func authority(t *testing.T) (roots *x509.CertPool, keyFile, certFile string) {
	t.Helper()
	issue := func(serial int64, name string, isCA bool, parent *x509.Certificate, signer *ecdsa.PrivateKey) (*x509.Certificate, *ecdsa.PrivateKey) {
		key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		c := &x509.Certificate{SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: name}, NotBefore: time.Now().Add(-time.Hour),
			NotAfter: time.Now().Add(time.Hour), IsCA: isCA, BasicConstraintsValid: true, DNSNames: []string{name},
			KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
		if parent == nil {
			parent, signer = c, key
		}
		der, err := x509.CreateCertificate(rand.Reader, c, parent, &key.PublicKey, signer)
		if err != nil {
			t.Fatal(err)
		}
		made, err := x509.ParseCertificate(der)
		if err != nil {
			t.Fatal(err)
		}
		return made, key
	}
	ca, caKey := issue(1, "mill test authority", true, nil, nil)
	leaf, key := issue(2, "localhost", false, ca, caKey)
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	keyFile, certFile = filepath.Join(dir, "key.pem"), filepath.Join(dir, "cert.pem")
	for file, block := range map[string]*pem.Block{keyFile: {Type: "PRIVATE KEY", Bytes: der}, certFile: {Type: "CERTIFICATE", Bytes: leaf.Raw}} {
		if err := os.WriteFile(file, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	roots = x509.NewCertPool()
	roots.AddCert(ca)
	return roots, keyFile, certFile
}

// received is what the server tells of a mail.
type received struct {
	Port      int
	From      string
	To        []string
	Encrypted bool
	User      string
	Greeting  string
	Raw       []byte
}

type server struct {
	address string
	roots   *x509.CertPool
	lines   *bufio.Scanner
}

// start runs the server in a mode until the test ends.
func start(t *testing.T, mode string) *server {
	t.Helper()
	if _, err := os.Stat("testdata/node_modules/smtp-server"); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("smtp-server is not installed: run npm ci in gateway/callout/mail/testdata")
		}
		t.Skip("smtp-server is not installed (npm ci in gateway/callout/mail/testdata)")
	}
	roots, key, cert := authority(t)
	command := exec.CommandContext(t.Context(), "node", "server.js", key, cert, mode)
	command.Dir = "testdata"
	stdin, err := command.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	stdout, err := command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	command.Stderr = os.Stderr
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = stdin.Close()
		_ = command.Wait()
	})
	s := &server{roots: roots, lines: bufio.NewScanner(stdout)}
	s.lines.Buffer(nil, 1<<20)
	s.address = net.JoinHostPort("localhost", strconv.Itoa(s.next(t).Port))
	return s
}

func (s *server) next(t *testing.T) received {
	t.Helper()
	if !s.lines.Scan() {
		t.Fatalf("the server said nothing: %v", s.lines.Err())
	}
	var r received
	if err := json.Unmarshal(s.lines.Bytes(), &r); err != nil {
		t.Fatalf("%s: %v", s.lines.Text(), err)
	}
	return r
}

func (s *server) options(security Security) Options {
	return Options{Server: s.address, Sender: "mill@fern-hollow.example", Security: security, Credential: "mill:sesame", Name: "Molino Ñ", Clock: setClock(),
		Roots: s.roots, Zone: time.FixedZone("", -5*3600)}
}

func message(to string) callout.Message {
	return callout.Message{ID: "q3ZbX0e9", Thread: "0011223344556677", To: callout.Person{Name: "ana", Title: "Ana Quispe, turno\r\nBcc: x@y.example", Mail: to},
		Subject: "SECADORA 1: se pasó de 45 °C\r\nBcc: eve@example.com", Body: "Línea uno — 51.0 °C\n.\nlast = line\n", Priority: 2, Alarm: "dryer-hot@dryer-1", Occurrence: 412}
}

func open(t *testing.T, o Options) *Mail {
	t.Helper()
	m, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestSend_delivers(t *testing.T) {
	for _, c := range []struct {
		mode     string
		security Security
	}{{"starttls", StartTLS}, {"tls", TLS}, {"login", StartTLS}} {
		t.Run(c.mode, func(t *testing.T) {
			s := start(t, c.mode)
			if err := open(t, s.options(c.security)).Send(t.Context(), message("ana@fern-hollow.example")); err != nil {
				t.Fatal(err)
			}
			got := s.next(t)
			if got.From != "mill@fern-hollow.example" || len(got.To) != 1 || got.To[0] != "ana@fern-hollow.example" || !got.Encrypted || got.User != "mill" ||
				got.Greeting != "[127.0.0.1]" {
				t.Errorf("envelope %+v", got)
			}
			checkMail(t, got.Raw)
		})
	}
}

// checkMail reads the mail with Go's net/mail, which did not write it.
func checkMail(t *testing.T, raw []byte) {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Fatalf("%v\n%s", err, raw)
	}
	for name, want := range map[string]string{
		"Message-Id": "<q3ZbX0e9@fern-hollow.example>", "References": "<occurrence.0011223344556677@fern-hollow.example>",
		"In-Reply-To": "<occurrence.0011223344556677@fern-hollow.example>", "Auto-Submitted": "auto-generated", "Importance": "high", "Mime-Version": "1.0",
		"Content-Type": "text/plain; charset=utf-8", "Bcc": "",
	} {
		if got := m.Header.Get(name); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
	subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	if err != nil || subject != "SECADORA 1: se pasó de 45 °C  Bcc: eve@example.com" {
		t.Errorf("subject %q, %v", subject, err)
	}
	to, err := m.Header.AddressList("To")
	if err != nil || len(to) != 1 || to[0].Address != "ana@fern-hollow.example" || to[0].Name != "Ana Quispe, turno  Bcc: x@y.example" {
		t.Errorf("To: %v, %v", to, err)
	}
	if from, err := m.Header.AddressList("From"); err != nil || from[0].Name != "Molino Ñ" {
		t.Errorf("From: %v, %v", from, err)
	}
	if date, err := m.Header.Date(); err != nil || time.Since(date) > time.Minute {
		t.Errorf("Date: %v, %v", date, err)
	}
	body, err := io.ReadAll(quotedprintable.NewReader(m.Body))
	if err != nil || string(body) != "Línea uno — 51.0 °C\r\n.\r\nlast = line\r\n" {
		t.Errorf("body %q, %v", body, err)
	}
	for line := range strings.Lines(string(raw)) {
		if len(strings.TrimRight(line, "\r\n")) > 78 {
			t.Errorf("line of %d characters [RFC 5322 section 2.1.1: 78]: %s", len(line), line)
		}
	}
}

// What each refusal means, by the code of the real server. No error may hold an address: errors go into the logbook.
func TestSend_refused(t *testing.T) {
	s := start(t, "starttls")
	for _, c := range []struct {
		name  string
		to    string
		edit  func(*Options)
		final bool
		says  string
	}{
		{"no such mailbox: 550", "nobody@fern-hollow.example", nil, true, "mail: RCPT: the server answered 550 5.1.1 No such mailbox (address)"},
		{"try later: 451", "later@fern-hollow.example", nil, false, "mail: RCPT: the server answered 451 4.7.1 Try again later"},
		{"wrong login: 535", "ana@fern-hollow.example", func(o *Options) { o.Credential = "mill:wrong" }, true, "mail: login: the server answered 535 5.7.8 Bad login for (address)"},
		{"unknown authority", "ana@fern-hollow.example", func(o *Options) { o.Roots = x509.NewCertPool() }, true, "mail: the server's certificate is not trusted: "},
		{"name not of the certificate", "ana@fern-hollow.example", func(o *Options) { o.Server = strings.Replace(o.Server, "localhost", "127.0.0.1", 1) }, true, "mail: the server's certificate is not trusted: "},
		{"clock not set", "ana@fern-hollow.example", func(o *Options) { o.Clock = fixed{reading.Stamp{Wall: time.Unix(0, 0), Boot: 1}} }, false, "mail: the board's clock is not set, so the server's certificate cannot be judged: "},
		{"login without being asked", "ana@fern-hollow.example", func(o *Options) { o.Credential = "" }, true, "mail: MAIL: the server answered 530 "},
		{"nobody listens", "ana@fern-hollow.example", func(o *Options) { o.Server = "localhost:1" }, false, "mail: connect: "},
		{"TLS from the first byte where it is not", "ana@fern-hollow.example", func(o *Options) { o.Security = TLS }, false, "mail: "},
		{"header in the address", "ana@fern-hollow.example\r\nBcc: eve@example.com", nil, true, "mail: address of "},
		{"two addresses", "ana@fern-hollow.example, eve@example.com", nil, true, "mail: address of "},
		{"no address", "", nil, true, "mail: address of "},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := s.options(StartTLS)
			if c.edit != nil {
				c.edit(&o)
			}
			err := open(t, o).Send(t.Context(), message(c.to))
			if err == nil || !strings.HasPrefix(err.Error(), c.says) {
				t.Fatalf("Send() = %v, want %s", err, c.says)
			}
			var failure *callout.Failure
			if final := errors.As(err, &failure) && failure.Final; final != c.final {
				t.Errorf("%v: final %v, want %v", err, final, c.final)
			}
			if c.to != "" && strings.Contains(err.Error(), "fern-hollow.example") {
				t.Errorf("the error tells an address: %v", err)
			}
		})
	}
	// Not vacuous: the same server takes the same message without the fault.
	if err := open(t, s.options(StartTLS)).Send(t.Context(), message("ana@fern-hollow.example")); err != nil {
		t.Fatal(err)
	}
	s.next(t)
}

// A server without encryption gets nothing, not even the login.
func TestSend_neverInClear(t *testing.T) {
	s := start(t, "clear")
	err := open(t, s.options(StartTLS)).Send(t.Context(), message("ana@fern-hollow.example"))
	var failure *callout.Failure
	if !errors.As(err, &failure) || !failure.Final || !strings.Contains(err.Error(), "offers no STARTTLS") {
		t.Errorf("Send() = %v", err)
	}
}

// A server that accepts the connection and says nothing holds the sender no longer than the context.
func TestSend_ends(t *testing.T) {
	near, far := net.Pipe()
	defer far.Close()
	o := Options{Server: "mail.fern-hollow.example", Sender: "mill@fern-hollow.example", Security: StartTLS, Clock: setClock(),
		Dial: func(context.Context, string, string) (net.Conn, error) { return near, nil }}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := open(t, o).Send(ctx, message("ana@fern-hollow.example")); !errors.Is(err, context.Canceled) {
		t.Errorf("Send() = %v, want the end of the context", err)
	}
}

func TestWrite_clockNotSet(t *testing.T) {
	o := Options{Server: "mail.fern-hollow.example", Sender: "mill@fern-hollow.example", Security: TLS, Clock: fixed{}}
	msg := message("ana@fern-hollow.example")
	m, err := mail.ReadMessage(bytes.NewReader(open(t, o).write(&msg)))
	if err != nil || m.Header.Get("Date") != "" {
		t.Errorf("Date %q, %v; want none while the clock is not set", m.Header.Get("Date"), err)
	}
}

func TestNew(t *testing.T) {
	good := Options{Server: "mail.fern-hollow.example", Sender: "mill@fern-hollow.example", Security: StartTLS}
	for _, c := range []struct {
		name    string
		edit    func(*Options)
		address string
	}{
		{"starttls", func(*Options) {}, "mail.fern-hollow.example:587"},                // [RFC 6409 section 3.1]
		{"tls", func(o *Options) { o.Security = TLS }, "mail.fern-hollow.example:465"}, // [RFC 8314 section 3.3]
		{"own port", func(o *Options) { o.Server = "mail.fern-hollow.example:2525" }, "mail.fern-hollow.example:2525"},
		{"IPv6", func(o *Options) { o.Server = "[2001:db8::1]" }, "[2001:db8::1]:587"},
		{"no encryption", func(o *Options) { o.Security = "none" }, ""},
		{"no server", func(o *Options) { o.Server = "" }, ""},
		{"sender is no address", func(o *Options) { o.Sender = "mill" }, ""},
		{"sender with a name", func(o *Options) { o.Sender = "Mill <mill@fern-hollow.example>" }, ""},
		{"credential without password", func(o *Options) { o.Credential = "mill" }, ""},
		{"credential with a line break", func(o *Options) { o.Credential = "mill:a\nb" }, ""},
	} {
		o := good
		c.edit(&o)
		m, err := New(o)
		if (err == nil) != (c.address != "") || err == nil && m.address != c.address {
			t.Errorf("%s: %+v, %v; want %q", c.name, m, err, c.address)
		}
	}
}

// FuzzWrite: whatever stands in titles and texts, the mail has the header fields that we write and no others.
func FuzzWrite(f *testing.F) {
	f.Add("TANK 1", "Ana", "text")
	f.Add("a\r\nBcc: x", "b\r\n\r\n", ".\r\n.\n\x00é")
	f.Add(strings.Repeat("ñ", 300), "=?utf-8?q?x?=", base64.StdEncoding.EncodeToString(make([]byte, 200)))
	m, err := New(Options{Server: "localhost", Sender: "mill@fern-hollow.example", Security: TLS, Clock: setClock(), Name: "Mill"})
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, subject, title, body string) {
		msg := callout.Message{ID: "a", Thread: "b", To: callout.Person{Title: title, Mail: "ana@fern-hollow.example"}, Subject: subject, Body: body}
		read, err := mail.ReadMessage(bytes.NewReader(m.write(&msg)))
		if err != nil || len(read.Header) != 11 {
			t.Fatalf("%v: %v", err, read)
		}
	})
}
