// Package certificate makes what TLS needs on a site without a public name: a root of the site's own, and certificates issued by it for the page and
// for the clients of the broker. Keys are ECDSA P-256, signatures SHA-256.
//
// A root that people install on their phones could vouch for any page of the world if it were stolen. So it is bound to the site's own names and
// addresses [RFC 5280 section 4.2.1.10], and it may issue no further roots.
//
// Nothing here keeps state: a Root may be used by many goroutines.
package certificate

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"strings"
	"time"
)

const (
	// Lives. Chosen: installing a root is a walk from phone to phone, so it lasts as long as a board; a certificate of the page 397 days, as browsers
	// want it of public ones [CA/Browser Forum baseline requirements 6.3.2, from memory], so that it is renewed once a season.
	rootYears = 10
	leafDays  = 397
	// early lets a phone whose clock is a little behind in on the first day; chosen.
	early = 24 * time.Hour
)

// written is a day on which this code was certainly there already: a clock before it is not set.
var written = time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)

// ErrClock says that the clock of this machine is not set: what would be made now counts at no time at which somebody looks at it.
var ErrClock = errors.New("clock fault: the clock of this machine is not set; set it, or wait for its time server, then make certificates")

// ErrNotCovered says that a root was made for other names.
var ErrNotCovered = errors.New("the root was made for other names and addresses")

// Root is a site's own root with its key.
type Root struct {
	Certificate *x509.Certificate
	key         *ecdsa.PrivateKey
}

// NewRoot makes a root for a site: names are host names and addresses by which its page and broker are asked for. The machine itself is always among them.
func NewRoot(site string, names []string, now time.Time) (*Root, error) {
	if now.Before(written) {
		return nil, ErrClock
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("certificate: making a key: %w", err)
	}
	hosts, addresses := split(append([]string{"localhost", "127.0.0.1", "::1"}, names...))
	t := &x509.Certificate{
		SerialNumber: serial(), Subject: pkix.Name{CommonName: "Root of " + site, Organization: []string{"Millwarden"}},
		NotBefore: now.Add(-early), NotAfter: now.AddDate(rootYears, 0, 0),
		IsCA: true, BasicConstraintsValid: true, MaxPathLenZero: true, KeyUsage: x509.KeyUsageCertSign,
		PermittedDNSDomainsCritical: true, PermittedDNSDomains: hosts, PermittedIPRanges: ranges(addresses),
	}
	made, err := x509.CreateCertificate(rand.Reader, t, t, &key.PublicKey, key)
	if err != nil {
		return nil, fmt.Errorf("certificate: making a root: %w", err)
	}
	c, err := x509.ParseCertificate(made)
	if err != nil {
		return nil, fmt.Errorf("certificate: making a root: %w", err)
	}
	return &Root{c, key}, nil
}

// ReadRoot reads a root as PEM wrote it.
func ReadRoot(text []byte) (*Root, error) {
	r := &Root{}
	for block, rest := pem.Decode(text); block != nil; block, rest = pem.Decode(rest) {
		var err error
		switch block.Type {
		case "CERTIFICATE":
			r.Certificate, err = x509.ParseCertificate(block.Bytes)
		case "EC PRIVATE KEY":
			r.key, err = x509.ParseECPrivateKey(block.Bytes)
		}
		if err != nil {
			return nil, fmt.Errorf("certificate: reading the root: %w", err)
		}
	}
	switch {
	case r.Certificate == nil || r.key == nil:
		return nil, errors.New("certificate: the root's file holds not both certificate and key")
	case !r.Certificate.IsCA || !r.key.PublicKey.Equal(r.Certificate.PublicKey):
		return nil, errors.New("certificate: the root's file holds a certificate and a key that do not belong together as a root")
	}
	return r, nil
}

// PEM is certificate and key: it must be kept from everybody, and is needed only to issue more.
func (r *Root) PEM() ([]byte, error) {
	key, err := keyPEM(r.key)
	return append(certificatePEM(r.Certificate.Raw), key...), err
}

// Server issues a certificate for names. It gives one text with certificate, root and key, as the block page or broker names it.
func (r *Root) Server(names []string, now time.Time) ([]byte, error) {
	hosts, addresses := split(names)
	if len(names) == 0 {
		return nil, errors.New("certificate: it needs a name or an address by which the page is asked for")
	}
	// The subject has no dot: openssl holds one that looks like a host name against the root's names, and an address is never among those.
	return r.issue(&x509.Certificate{Subject: pkix.Name{CommonName: "Millwarden"}, DNSNames: hosts, IPAddresses: addresses,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}, now)
}

// Client issues a certificate that a client of the broker shows; name is its user.
func (r *Root) Client(name string, now time.Time) ([]byte, error) {
	return r.issue(&x509.Certificate{Subject: pkix.Name{CommonName: name}, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth}}, now)
}

func (r *Root) issue(t *x509.Certificate, now time.Time) ([]byte, error) {
	if now.Before(written) {
		return nil, ErrClock
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("certificate: making a key: %w", err)
	}
	t.SerialNumber, t.NotBefore, t.NotAfter = serial(), now.Add(-early), now.AddDate(0, 0, leafDays)
	t.KeyUsage, t.BasicConstraintsValid = x509.KeyUsageDigitalSignature, true
	if t.NotAfter.After(r.Certificate.NotAfter) {
		t.NotAfter = r.Certificate.NotAfter
	}
	made, err := x509.CreateCertificate(rand.Reader, t, r.Certificate, &key.PublicKey, r.key)
	if err != nil {
		return nil, fmt.Errorf("certificate: issuing: %w", err)
	}
	if err := r.covers(made, t.ExtKeyUsage, now); err != nil {
		return nil, err
	}
	secret, err := keyPEM(key)
	return bytes.Join([][]byte{certificatePEM(made), certificatePEM(r.Certificate.Raw), secret}, nil), err
}

// covers asks what a browser will ask, before anybody is sent to one.
func (r *Root) covers(made []byte, usage []x509.ExtKeyUsage, now time.Time) error {
	c, err := x509.ParseCertificate(made)
	if err != nil {
		return fmt.Errorf("certificate: issuing: %w", err)
	}
	roots := x509.NewCertPool()
	roots.AddCert(r.Certificate)
	_, err = c.Verify(x509.VerifyOptions{Roots: roots, CurrentTime: now, KeyUsages: usage})
	var invalid x509.CertificateInvalidError
	if errors.As(err, &invalid) && invalid.Reason == x509.CANotAuthorizedForThisName {
		return fmt.Errorf("certificate: %w: %s", ErrNotCovered, strings.Join(Names(r.Certificate), ", "))
	}
	if err != nil {
		return fmt.Errorf("certificate: issuing: %w", err)
	}
	return nil
}

// Names are those that a root may vouch for.
func Names(root *x509.Certificate) []string {
	names := append([]string(nil), root.PermittedDNSDomains...)
	for _, r := range root.PermittedIPRanges {
		names = append(names, r.IP.String())
	}
	return names
}

// RootOf finds, among the certificates that a server shows, a root of a site's own: one that has signed itself.
func RootOf(chain [][]byte) *x509.Certificate {
	for _, raw := range chain {
		c, err := x509.ParseCertificate(raw)
		if err == nil && c.IsCA && bytes.Equal(c.RawIssuer, c.RawSubject) && c.CheckSignatureFrom(c) == nil {
			return c
		}
	}
	return nil
}

// PEM of one certificate.
func PEM(c *x509.Certificate) []byte { return certificatePEM(c.Raw) }

// Fingerprint is the SHA-256 of a certificate, in pairs, as phones show it.
func Fingerprint(c *x509.Certificate) string {
	sum := sha256.Sum256(c.Raw)
	return strings.ReplaceAll(fmt.Sprintf("% X", sum), " ", ":")
}

func split(names []string) (hosts []string, addresses []net.IP) {
	for _, n := range names {
		if ip := net.ParseIP(strings.Trim(n, "[]")); ip != nil {
			addresses = append(addresses, ip)
		} else {
			hosts = append(hosts, strings.ToLower(n))
		}
	}
	return hosts, addresses
}

// ranges hold one address each.
func ranges(addresses []net.IP) (list []*net.IPNet) {
	for _, ip := range addresses {
		if four := ip.To4(); four != nil {
			ip = four
		}
		list = append(list, &net.IPNet{IP: ip, Mask: net.CIDRMask(8*len(ip), 8*len(ip))})
	}
	return list
}

// serial has 127 random bits [RFC 5280 section 4.1.2.2: at most 20 octets, positive].
func serial() *big.Int {
	var raw [16]byte
	_, _ = rand.Read(raw[:]) // never fails [crypto/rand]
	raw[0] &= 0x7f
	return new(big.Int).SetBytes(raw[:])
}

func certificatePEM(raw []byte) []byte {
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: raw})
}

func keyPEM(key *ecdsa.PrivateKey) ([]byte, error) {
	raw, err := x509.MarshalECPrivateKey(key)
	if err != nil {
		return nil, fmt.Errorf("certificate: writing a key: %w", err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: "EC PRIVATE KEY", Bytes: raw}), nil
}
