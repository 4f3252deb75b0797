package floor_test

import (
	"testing"

	"millwarden/gateway/floor"
	"millwarden/rules/check"
)

// Aim: the link in a message leads to where the page is: by its name, at the port at which it listens or that the name says, and there is none where nothing says how a telephone
// gets there.
func TestLinkBase(t *testing.T) {
	for _, c := range []struct{ listen, name, certificate, want string }{
		{"127.0.0.1:8420", "", "", "http://127.0.0.1:8420"},
		{"192.168.10.2:443", "mill.estate.example", "page.pem", "https://mill.estate.example"},
		{"192.168.10.2:8443", "mill.estate.example", "page.pem", "https://mill.estate.example:8443"},
		{":8443", "mill.estate.example", "page.pem", "https://mill.estate.example:8443"},
		{"192.168.10.2:8443", "mill.estate.example:443", "page.pem", "https://mill.estate.example"},
		{"192.168.10.2:8443", "mill.estate.example:9443", "page.pem", "https://mill.estate.example:9443"},
		{"0.0.0.0:8443", "", "page.pem", ""},
		{":8443", "", "page.pem", ""},
		{"[::]:8443", "", "page.pem", ""},
		{"[2001:db8::2]:443", "", "page.pem", "https://[2001:db8::2]"},
		{"[2001:db8::2]:8443", "", "page.pem", "https://[2001:db8::2]:8443"},
	} {
		if got := floor.LinkBase(check.Page{Name: c.name, Certificate: c.certificate}, c.listen); got != c.want {
			t.Errorf("%+v: %q", c, got)
		}
	}
}
