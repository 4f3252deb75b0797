package command

import (
	"bytes"
	"strings"
	"testing"
)

// Aim: a release says which it is and until when it is supported, with what deploy/package.sh sets when it is built; what was not released says that it is not supported.
func TestVersion_support(t *testing.T) {
	said := func() string {
		var out bytes.Buffer
		if err := version(t.Context(), IO{In: strings.NewReader(""), Out: &out, Err: &out}, nil); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	if got := said(); !strings.Contains(got, "supported until: no release: not supported\n") {
		t.Errorf("not released: %q", got)
	}
	release, end := Version, SupportEnd
	t.Cleanup(func() { Version, SupportEnd = release, end })
	Version, SupportEnd = "0.1.0", "2028-03-01"
	if got := said(); !strings.HasPrefix(got, "millwarden 0.1.0 ") || !strings.HasSuffix(got, "supported until: 2028-03-01\n") {
		t.Errorf("released: %q", got)
	}
}
