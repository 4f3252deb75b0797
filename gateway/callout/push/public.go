package push

import (
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"syscall"
	"time"
)

// publicOnly reaches push services and nothing nearer: the address of a subscription comes from a browser, and must not lead the board to a machine of
// the mill's own network or to itself.
func publicOnly() http.RoundTripper {
	dialer := &net.Dialer{Timeout: patience, Control: func(_, address string, _ syscall.RawConn) error {
		at, err := netip.ParseAddrPort(address)
		if err != nil {
			return fmt.Errorf("reading the address: %w", err)
		}
		if ip := at.Addr().Unmap(); !ip.IsGlobalUnicast() || ip.IsPrivate() {
			return fmt.Errorf("%s is no public address: no push service stands there", ip)
		}
		return nil
	}}
	return &http.Transport{DialContext: dialer.DialContext, ForceAttemptHTTP2: true, MaxIdleConnsPerHost: 1, IdleConnTimeout: time.Minute}
}
