package link

import (
	"crypto/x509"
	"errors"
	"fmt"
	"net/http"
	"runtime/debug"
	"sync"
	"time"
)

// A board without a battery clock begins in 1970 or at the time at which it was switched off, and no certificate counts then. The program cannot be older
// than itself: certificates are checked against the later of the clock and the time of its sources [standards notes, section 6, rule 9].

// Built is the time of the commit that the program was built from, zero where that is not known.
var Built = sync.OnceValue(func() time.Time {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return time.Time{}
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.time" {
			at, _ := time.Parse(time.RFC3339, s.Value) // zero if it is none
			return at
		}
	}
	return time.Time{}
})

// moment is what certificates are checked against.
func moment(now, built time.Time) time.Time {
	if built.After(now) {
		return built
	}
	return now
}

// Explain tells of a certificate that does not count at this time what a person has to look at first: the clock. Other errors pass as they are.
func Explain(err error) error {
	var invalid x509.CertificateInvalidError
	if !errors.As(err, &invalid) || invalid.Reason != x509.Expired || invalid.Cert == nil {
		return err
	}
	now := time.Now().UTC()
	const day = "2006-01-02 15:04"
	counts := fmt.Sprintf("its certificate counts from %s to %s UTC", invalid.Cert.NotBefore.UTC().Format(day), invalid.Cert.NotAfter.UTC().Format(day))
	if now.Before(invalid.Cert.NotBefore) {
		return fmt.Errorf("clock fault: %s, and the clock here says %s: set the clock, or look at its time server (%w)", counts, now.Format(day), err)
	}
	return fmt.Errorf("%s, and the clock here says %s: the certificate is too old, unless that clock is wrong (%w)", counts, now.Format(day), err)
}

// Explaining is a transport whose errors are explained.
func Explaining(t http.RoundTripper) http.RoundTripper { return explaining{t} }

type explaining struct{ http.RoundTripper }

func (e explaining) RoundTrip(r *http.Request) (*http.Response, error) {
	answer, err := e.RoundTripper.RoundTrip(r)
	return answer, Explain(err)
}
