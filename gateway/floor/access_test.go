package floor_test

import (
	"log/slog"
	"net"
	"os"
	"os/exec"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/gateway/floor"
	"millwarden/internal/clock"
	"millwarden/internal/peers"
	"millwarden/internal/reading"
)

const accessRules = `site small-mill
    timezone        UTC
    altitude        1450 m

station bin-1 is bin
station bin-2 is bin

probe bin-1-stick
    part            radio on topic sticks/bin-1
    form            number
    gives           temperature at bin-1
    every           5 s

probe bin-2-stick
    part            radio on topic sticks/bin-2
    form            number
    gives           temperature at bin-2
    every           5 s

broker
    listen          LISTEN
    credential      broker

person ana
    mail            ana@estate.example
`

// Aim: from rules file and credential to the reading: a stick's user, by mosquitto_pub, gives its own bin's temperature and cannot give that of the other bin.
func TestAccess_sticks(t *testing.T) {
	program, err := exec.LookPath("mosquitto_pub")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("mosquitto_pub is not installed")
		}
		t.Skip("mosquitto_pub is not installed")
	}
	address := peers.FreeAddress(t)
	plan, said := load(t, fstest.MapFS{"demo.rules": {Data: []byte(strings.Replace(accessRules, "LISTEN", address, 1))}})
	if plan == nil || said != "" {
		t.Fatal(said)
	}
	b := &bench{}
	b.Floor, err = floor.Open(floor.Options{Plan: plan, Data: t.TempDir(), Drivers: knownDrivers(), NoPage: true, Log: slog.New(slog.DiscardHandler), Clock: func(boot uint32) clock.Clock { return &clock.System{Boot: boot, Trust: true} },
		Credential: func(string) (string, error) {
			return "mill:whole secret\nbin-1-stick:one\nbin-2-stick:two\n", nil
		}})
	if err != nil {
		t.Fatal(err)
	}
	defer b.run(t)()
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		t.Fatal(err)
	}
	send := func(user, password, topic, value string) {
		_ = exec.CommandContext(t.Context(), program, "-h", host, "-p", port, "-u", user, "-P", password, "-q", "1", "-t", topic, "-m", value).Run() // it may be refused, or come too early
	}
	for begun := time.Now(); value(b.Floor, "bin-2/temperature").Quality != reading.Good; time.Sleep(time.Second) {
		if time.Since(begun) > 90*time.Second {
			t.Fatalf("bin 2 says %+v", value(b.Floor, "bin-2/temperature"))
		}
		send("bin-2-stick", "two", "sticks/bin-1", "99") // first the wrong one, so that it would have come first
		send("bin-1-stick", "two", "sticks/bin-1", "99")
		send("bin-2-stick", "two", "sticks/bin-2", "21.5")
	}
	if got := value(b.Floor, "bin-2/temperature"); got.Value != 21.5 {
		t.Errorf("bin 2 says %+v, want 21.5", got)
	}
	if got := value(b.Floor, "bin-1/temperature"); got.Quality == reading.Good {
		t.Errorf("the other stick spoke for bin 1: %+v", got)
	}
	for begun := time.Now(); value(b.Floor, "bin-1/temperature").Quality != reading.Good; time.Sleep(time.Second) {
		if time.Since(begun) > 90*time.Second {
			t.Fatalf("bin 1 says %+v", value(b.Floor, "bin-1/temperature"))
		}
		send("bin-1-stick", "one", "sticks/bin-1", "19")
	}
}
