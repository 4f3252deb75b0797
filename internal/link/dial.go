package link

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"os"
	"time"
)

// Dialer dials host:port, with TLS unless config is nil.
func Dialer(address string, config *tls.Config) func(context.Context) (net.Conn, error) {
	return func(ctx context.Context) (net.Conn, error) {
		if config == nil {
			return new(net.Dialer).DialContext(ctx, "tcp", address)
		}
		conn, err := (&tls.Dialer{Config: config}).DialContext(ctx, "tcp", address)
		return conn, Explain(err)
	}
}

// TLS builds the configuration for a broker or a store from the files of its block: ca says whom to trust ("" for the system's list),
// certificate (certificate and key in one file) what to show ("" for nothing).
func TLS(ca, certificate string) (*tls.Config, error) {
	config := &tls.Config{MinVersion: tls.VersionTLS12, Time: func() time.Time { return moment(time.Now(), Built()) }}
	if ca != "" {
		pem, err := os.ReadFile(ca)
		if err != nil {
			return nil, fmt.Errorf("link: reading the ca: %w", err)
		}
		config.RootCAs = x509.NewCertPool()
		if !config.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("link: reading the ca: %s holds no certificate", ca)
		}
	}
	if certificate != "" {
		pair, err := tls.LoadX509KeyPair(certificate, certificate)
		if err != nil {
			return nil, fmt.Errorf("link: reading the certificate: %w", err)
		}
		config.Certificates = []tls.Certificate{pair}
	}
	return config, nil
}
