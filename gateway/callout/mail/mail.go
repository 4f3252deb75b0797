// Package mail hands messages to the site's mail server: submission with STARTTLS (RFC 6409, RFC 3207) or over TLS from the first byte (RFC 8314).
// Nothing is ever sent in clear: a server without encryption is a failure, not a fallback.
//
// Mail seldom wakes anybody; it comes on top of channels that do.
//
// Concurrency: a Mail is used by one goroutine at a time, the worker of its channel.
package mail

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/mail"
	"net/smtp"
	"net/textproto"
	"slices"
	"strings"
	"time"

	"millwarden/gateway/callout"
	"millwarden/internal/clock"
)

// Declares is what the rules file may say of the channel.
const Declares = `channel mail
    phrase server HOST
    phrase sender MAIL
    phrase security (starttls|tls)
    phrase credential CREDENTIAL
    needs server
    needs sender
`

// Security is how the connection is encrypted.
type Security string

const (
	StartTLS Security = "starttls" // plain greeting, then TLS before anything is said; port 587 unless given
	TLS      Security = "tls"      // TLS from the first byte; port 465 unless given
)

// Options of a Mail. Server, Sender, Security and Clock are needed.
type Options struct {
	Server   string // host, or host:port
	Sender   string // address from which the mill writes
	Security Security
	// Credential is the credential's text: user:password. "": the server takes mail without a login.
	Credential string
	Name       string // of the sender, as people read it: the site's title
	Zone       *time.Location
	Clock      clock.Clock
	Roots      *x509.CertPool // whom to trust; nil: the system's
	// Dial opens the connection; nil: the network.
	Dial func(ctx context.Context, network, address string) (net.Conn, error)
}

// Mail is the channel.
type Mail struct {
	o              Options
	host, address  string
	sender         mail.Address
	user, password string
}

var _ callout.Channel = (*Mail)(nil)

// Ports of submission. [RFC 6409 section 3.1; RFC 8314 section 3.3]
const (
	portStartTLS = "587"
	portTLS      = "465"
)

// patience bounds one try; the worker's own bound is longer. Chosen: a modem link needs some seconds for each of the ten exchanges.
const patience = 25 * time.Second

// New checks the settings; nothing is sent yet.
func New(o Options) (*Mail, error) {
	m := &Mail{o: o}
	port := map[Security]string{StartTLS: portStartTLS, TLS: portTLS}[o.Security]
	if port == "" {
		return nil, fmt.Errorf("mail: security is %s or %s, not %q", StartTLS, TLS, o.Security)
	}
	host, given, err := net.SplitHostPort(o.Server)
	if err != nil {
		host, given = strings.Trim(o.Server, "[]"), port
	}
	if host == "" {
		return nil, errors.New("mail: the server has no name")
	}
	m.host, m.address = host, net.JoinHostPort(host, given)
	if err := checkAddress(o.Sender); err != nil {
		return nil, fmt.Errorf("mail: sender: %w", err)
	}
	m.sender = mail.Address{Name: o.Name, Address: o.Sender}
	if o.Credential != "" {
		user, password, ok := strings.Cut(strings.TrimRight(o.Credential, "\r\n"), ":")
		if !ok || user == "" || password == "" || strings.ContainsAny(user+password, "\r\n\x00") {
			return nil, errors.New("mail: the credential is not of the form user:password")
		}
		m.user, m.password = user, password
	}
	if m.o.Zone == nil {
		m.o.Zone = time.UTC
	}
	if m.o.Dial == nil {
		m.o.Dial = (&net.Dialer{}).DialContext
	}
	return m, nil
}

// checkAddress takes one bare address of ASCII letters: no name, no list, nothing that could begin another header or command.
func checkAddress(text string) error {
	parsed, err := mail.ParseAddress(text)
	if err != nil || parsed.Address != text {
		return errors.New("it is no mail address")
	}
	for _, c := range text {
		if c <= ' ' || c > '~' || c == '<' || c == '>' {
			return errors.New("it holds a character that no mail address has")
		}
	}
	return nil
}

// Reaches tells whether a person can be reached by mail.
func Reaches(p *callout.Person) bool { return p.Mail != "" }

// Send makes one try.
func (m *Mail) Send(ctx context.Context, msg callout.Message) error {
	if err := checkAddress(msg.To.Mail); err != nil {
		return final(fmt.Errorf("mail: address of %s: %w", msg.To.Title, err))
	}
	text := m.write(&msg)
	ctx, stop := context.WithTimeout(ctx, patience)
	defer stop()
	client, err := m.open(ctx)
	if err != nil {
		return err
	}
	defer client.Close() //nolint:errcheck // what matters was answered before
	if err := m.submit(client, msg.To.Mail, text); err != nil {
		return m.judge(ctx, err)
	}
	_ = client.Quit() // the message is theirs already
	return nil
}

func final(err error) error { return &callout.Failure{Final: true, Err: err} }

// open connects, encrypts and logs in.
func (m *Mail) open(ctx context.Context) (*smtp.Client, error) {
	conn, err := m.o.Dial(ctx, "tcp", m.address)
	if err != nil {
		return nil, fmt.Errorf("mail: connect: %w", plain(err))
	}
	context.AfterFunc(ctx, func() { _ = conn.Close() }) // net/smtp knows no context
	client, err := m.greet(conn)
	if err != nil {
		_ = conn.Close()
		return nil, m.judge(ctx, err)
	}
	return client, nil
}

func (m *Mail) greet(conn net.Conn) (*smtp.Client, error) {
	local := literal(conn.LocalAddr())
	if m.o.Security == TLS {
		conn = tls.Client(conn, m.tls())
	}
	client, err := smtp.NewClient(conn, m.host)
	if err != nil {
		return nil, &stage{"greeting", err}
	}
	if err := client.Hello(local); err != nil {
		return nil, &stage{"EHLO", err}
	}
	if m.o.Security == StartTLS {
		if ok, _ := client.Extension("STARTTLS"); !ok {
			return nil, final(errors.New("mail: the server offers no STARTTLS, and nothing is sent in clear"))
		}
		if err := client.StartTLS(m.tls()); err != nil {
			return nil, &stage{"STARTTLS", err}
		}
	}
	if m.user == "" {
		return client, nil
	}
	auth, err := m.auth(client)
	if err != nil {
		return nil, err
	}
	if err := client.Auth(auth); err != nil {
		return nil, &stage{"login", err}
	}
	return client, nil
}

// literal is how a host without a name of its own introduces itself. [RFC 5321 section 4.1.3]
func literal(address net.Addr) string {
	host, _, err := net.SplitHostPort(address.String())
	switch ip := net.ParseIP(host); {
	case err != nil || ip == nil:
		return "localhost"
	case ip.To4() == nil:
		return "[IPv6:" + host + "]"
	}
	return "[" + host + "]"
}

// tls checks the server's certificate against its name. While the board's clock is not set it counts as no earlier than this program, or every
// certificate would be "not yet valid".
func (m *Mail) tls() *tls.Config {
	return &tls.Config{ServerName: m.host, RootCAs: m.o.Roots, MinVersion: tls.VersionTLS12, Time: func() time.Time {
		now := m.o.Clock.Now()
		if !now.Set && now.Wall.Before(written) {
			return written
		}
		return now.Wall
	}}
}

// written is a day on which this code was certainly there already.
var written = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

func (m *Mail) submit(client *smtp.Client, to string, text []byte) error {
	if err := client.Mail(m.sender.Address); err != nil {
		return &stage{"MAIL", err}
	}
	if err := client.Rcpt(to); err != nil {
		return &stage{"RCPT", err}
	}
	w, err := client.Data()
	if err != nil {
		return &stage{"DATA", err}
	}
	if _, err := w.Write(text); err != nil {
		return &stage{"message", err}
	}
	if err := w.Close(); err != nil {
		return &stage{"message", err}
	}
	return nil
}

// stage is where an exchange broke off.
type stage struct {
	at  string
	err error
}

func (s *stage) Error() string { return "mail: " + s.at + ": " + s.err.Error() }

func (s *stage) Unwrap() error { return s.err }

// judge says what to do: 4yz is worth another try, 5yz is not [RFC 5321 section 4.2.1], nor is a certificate that does not fit; the rest is the network.
func (m *Mail) judge(ctx context.Context, err error) error {
	var failure *callout.Failure
	if errors.As(err, &failure) {
		return err
	}
	at := ""
	var where *stage
	if errors.As(err, &where) {
		at = where.at + ": "
	}
	var answer *textproto.Error
	if errors.As(err, &answer) {
		said := fmt.Errorf("mail: %sthe server answered %d %s", at, answer.Code, m.withoutAddresses(answer.Msg))
		if answer.Code >= 500 && answer.Code <= 599 {
			return final(said)
		}
		return said
	}
	if ctx.Err() != nil {
		return fmt.Errorf("mail: %sno answer in time: %w", at, ctx.Err())
	}
	if untrusted(err) {
		if now := m.o.Clock.Now(); !now.Set {
			return fmt.Errorf("mail: the board's clock is not set, so the server's certificate cannot be judged: %w", plain(err))
		}
		return final(fmt.Errorf("mail: the server's certificate is not trusted: %w", plain(where.err)))
	}
	return fmt.Errorf("mail: %s%w", at, plain(errors.Unwrap(err)))
}

func untrusted(err error) bool {
	var verification *tls.CertificateVerificationError
	var unknown x509.UnknownAuthorityError
	var name x509.HostnameError
	var invalid x509.CertificateInvalidError
	return errors.As(err, &verification) || errors.As(err, &unknown) || errors.As(err, &name) || errors.As(err, &invalid)
}

// plain drops addresses of the network from an error: it goes into the logbook.
func plain(err error) error {
	var op *net.OpError
	if errors.As(err, &op) {
		return op.Err
	}
	return err
}

// withoutAddresses keeps mail addresses out of what goes into the logbook: servers like to repeat them.
func (m *Mail) withoutAddresses(text string) string {
	words := strings.FieldsFunc(text, func(c rune) bool { return c == ' ' || c == '\n' || c == '\r' || c == '\t' })
	for i, word := range words {
		if strings.Contains(word, "@") {
			words[i] = "(address)"
		}
	}
	const most = 120 // chosen: enough for a server's reason
	short := strings.Join(words, " ")
	if m.user != "" {
		short = strings.ReplaceAll(short, m.user, "(user)")
	}
	if len(short) > most {
		short = strings.ToValidUTF8(short[:most], "")
	}
	return short
}

// auth chooses PLAIN [RFC 4616], or LOGIN, which some servers offer alone. Both go over TLS only.
func (m *Mail) auth(client *smtp.Client) (smtp.Auth, error) {
	ok, offered := client.Extension("AUTH")
	ways := strings.Fields(strings.ToUpper(offered))
	switch {
	case ok && slices.Contains(ways, "PLAIN"):
		return smtp.PlainAuth("", m.user, m.password, m.host), nil
	case ok && slices.Contains(ways, "LOGIN"):
		return &login{user: m.user, password: m.password}, nil
	}
	return nil, final(errors.New("mail: the server offers no login that is known here (PLAIN, LOGIN)"))
}

// login is the LOGIN mechanism: it asks for user and password in turn. [draft-murchison-sasl-login-00]
type login struct {
	user, password string
	asked          int
}

func (l *login) Start(server *smtp.ServerInfo) (string, []byte, error) {
	if !server.TLS {
		return "", nil, errors.New("not over an encrypted connection")
	}
	l.asked = 0
	return "LOGIN", nil, nil
}

func (l *login) Next(_ []byte, more bool) ([]byte, error) {
	if !more {
		return nil, nil
	}
	l.asked++
	switch l.asked {
	case 1:
		return []byte(l.user), nil
	case 2:
		return []byte(l.password), nil
	}
	return nil, errors.New("the server asks for more than user and password")
}
