package command

import (
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"millwarden/internal/browser"
	"millwarden/internal/peers"
)

// eventually runs a command until it says something that fits, and gives what the brackets of the pattern hold.
func eventually(t *testing.T, pattern string, args ...string) []string {
	t.Helper()
	fits := regexp.MustCompile(pattern)
	for begun := time.Now(); ; time.Sleep(200 * time.Millisecond) {
		code, out, said := command(t, args...)
		if found := fits.FindStringSubmatch(out); code == exitWell && found != nil {
			return found
		}
		if time.Since(begun) > 2*browser.Patience {
			t.Fatalf("%v never says %q: exit %d\n%s%s", args, pattern, code, out, said)
		}
	}
}

// Aim: by the commands on the board somebody takes another's calls, which is refused where it cannot be, corrected, taken back, and told by `explain` beside
// the roster of the rules file; and after an alarm is over it is listed until somebody says what it was.
func TestCommands_swapAndAfterwards(t *testing.T) {
	if testing.Short() || raced {
		t.Skip("a night is slow")
	}
	folder := t.TempDir()
	startMill(t, peers.FreeAddress(t), folder, 120)
	at := func(args ...string) []string { return append(args, "--data", folder) }
	explain := at("explain", "dryer-runs-away@dryer-1", "--rules", filepath.Join(folder, "fern-hollow.rules"), "--when", "2026-12-24T18:30")

	out, _ := must(t, explain...)
	if strings.Contains(out, "takes the calls") {
		t.Errorf("nobody has arranged anything, and explain says\n%s", out)
	}
	times := []string{"--from", "2026-12-24 18:00", "--to", "2026-12-26 06:00", "--by", "ben"}
	refused(t, "zoe", at(append([]string{"swap", "zoe", "ben"}, times...)...)...)
	refused(t, "", at("swap", "ana", "ben", "--from", "2026-12-26 18:00", "--to", "2026-12-24 06:00", "--by", "ben")...)
	refused(t, "it needs who is away", at("swap", "ana", "--by", "ben")...)
	out, _ = must(t, at(append([]string{"swap", "ana", "ben"}, append(times, "--why", "Christmas")...)...)...)
	var entry int64
	if _, err := fmt.Sscanf(out, "Entry %d:", &entry); err != nil {
		t.Fatalf("swap says %q", out)
	}
	if out, _ = must(t, at("swap")...); !strings.Contains(out, "Ben takes the calls of Ana") || !strings.Contains(out, "Christmas") || strings.Contains(out, "IN FORCE") {
		t.Errorf("the list says\n%s", out)
	}
	if out, _ = must(t, explain...); !strings.Contains(out, fmt.Sprintf("Then Ben takes the calls of Ana from 2026-12-24 18:00 to 2026-12-26 06:00 (entry %d of the logbook, by Ben).", entry)) {
		t.Errorf("explain says\n%s", out)
	}
	corrected, _ := must(t, at("swap", "ana", "ben", "--from", "2026-12-24 19:00", "--to", "2026-12-26 06:00", "--by", "ben", "--correct", fmt.Sprint(entry))...)
	if out, _ = must(t, explain...); strings.Contains(out, "takes the calls") || !strings.Contains(out, "ana by mail, at once") { // half past six lies before it now
		t.Errorf("corrected, and explain says\n%s", out)
	}
	explain[slices.Index(explain, "--when")+1] = "2026-12-24T19:30"
	if out, _ = must(t, explain...); !strings.Contains(out, "from 2026-12-24 19:00") || strings.Contains(out, "ana by mail, at once") || !strings.Contains(out, "ben by mail, at once") {
		t.Errorf("corrected, and at half past seven explain says\n%s", out)
	}
	if _, err := fmt.Sscanf(corrected, "Entry %d:", &entry); err != nil {
		t.Fatalf("the correction says %q", corrected)
	}
	must(t, at("swap", "--withdraw", fmt.Sprint(entry), "--by", "ben")...)
	if out, _ = must(t, explain...); strings.Contains(out, "takes the calls") {
		t.Errorf("taken back, and explain says\n%s", out)
	}

	var alarm []string
	for begun := time.Now(); ; { // on a busy machine one may be over before it is answered
		alarm = eventually(t, `(?m)(dryer-runs-away@dryer-1|fan-stopped[a-z-]*@dryer-1|[a-z-]+@dryer-1)\s+(\d+)`, at("alarms")...)
		code, _, said := command(t, at("acknowledge", alarm[1], alarm[2], "--by", "ben")...)
		if code == exitWell {
			break
		}
		if time.Since(begun) > 2*browser.Patience {
			t.Fatalf("nobody can acknowledge %s: %s", alarm[1], said)
		}
	}
	refused(t, "", at("afterwards", alarm[1], "999", "--was", "x", "--by", "ben")...)
	eventually(t, `(?m)^`+regexp.QuoteMeta(alarm[1])+` `+alarm[2]+`  .*acknowledged by Ben`, at("afterwards")...)
	refused(t, "it needs an alarm", at("afterwards", alarm[1], alarm[2], "--was", "a torn belt")...)
	refused(t, "", at("afterwards", alarm[1], alarm[2], "--was", "a torn belt", "--by", "zoe")...)
	must(t, at("afterwards", alarm[1], alarm[2], "--was", "a torn belt", "--done", "new belt at 19:00", "--by", "ben")...)
	if out, _ = must(t, at("afterwards")...); strings.Contains(out, alarm[1]+" "+alarm[2]+" ") {
		t.Errorf("it is known what it was, and still asked for\n%s", out)
	}
	if out, _ = must(t, at("logbook")...); !strings.Contains(out, "a torn belt") || !strings.Contains(out, "new belt at 19:00") {
		t.Errorf("the logbook says\n%s", out)
	}
}
