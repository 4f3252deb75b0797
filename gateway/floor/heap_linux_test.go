package floor

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
)

// Mappings in the form of proc_pid_smaps(5); addresses and sizes are invented. The third was written before it was closed, as a loader does with what it
// relocates; the fifth lies in swap.
const smapsOfLoader = `00010000-00aa0000 r-xp 00000000 b3:02 1207  /usr/bin/millwarden
Size:              10816 kB
Rss:                8000 kB
Anonymous:             0 kB
Swap:                  0 kB
VmFlags: rd ex mr mw me
00aa0000-01850000 r--p 00a90000 b3:02 1207  /usr/bin/millwarden
Anonymous:             0 kB
Swap:                  0 kB
01850000-01860000 r--p 01840000 b3:02 1207  /usr/bin/millwarden
Anonymous:            64 kB
Swap:                  0 kB
01860000-01907000 rw-p 01850000 b3:02 1207  /usr/bin/millwarden
Anonymous:             0 kB
Swap:                  0 kB
01910000-01920000 r--p 01900000 b3:02 1207  /usr/bin/millwarden
Anonymous:             0 kB
Swap:                 64 kB
7f0000000000-7f0000100000 r-xp 00000000 b3:02 99  /usr/lib/ld.so
Anonymous:             0 kB
Swap:                  0 kB
7f0000100000-7f0000200000 rw-p 00000000 00:00 0
Anonymous:             0 kB
Swap:                  0 kB
`

// Aim: only pages that nobody can have written are let go of, and they go; that the program runs on without them is in the test's own end.
func TestForgetStart_onlyUnwritten(t *testing.T) {
	want := []mapped{{0x10000, 0xaa0000}, {0xaa0000, 0x1850000}}
	if got := unwritten(smapsOfLoader, "/usr/bin/millwarden"); !slices.Equal(got, want) {
		t.Errorf("unwritten() = %x, want %x", got, want)
	}
	before := resident(t)
	forgetStart()
	if after := resident(t); after >= before {
		t.Errorf("%d kB of files are resident, %d kB were before", after, before)
	}
}

// resident is how much of this process's memory is pages of files, in kB [proc_pid_status(5), RssFile].
func resident(t *testing.T) (kB int) {
	t.Helper()
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Fatal(err)
	}
	_, amount, _ := strings.Cut(string(status), "RssFile:")
	if _, err := fmt.Sscan(amount, &kB); err != nil {
		t.Fatal(err)
	}
	return kB
}
