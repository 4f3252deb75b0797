package peers

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Mosquitto is a running mosquitto.
type Mosquitto struct {
	*Server
	Address string // host:port, plain, without password unless the lines given say otherwise
}

// StartMosquitto starts mosquitto with one listener, and further lines of its configuration if given. Persistence is off: what it held is gone
// after a kill.
func StartMosquitto(t testing.TB, lines ...string) *Mosquitto {
	t.Helper()
	program, folder, address := find(t, "mosquitto"), t.TempDir(), FreeAddress(t)
	host, port, _ := strings.Cut(address, ":")
	own := []string{
		fmt.Sprintf("listener %s %s", port, host),
		"allow_anonymous true",
		"max_inflight_messages 0", // no limit: the window is ours
		"set_tcp_nodelay true",    // else a mark behind a PUBACK waits 40 ms for the board's acknowledgement of that
		"max_queued_messages 0",   // no limit: else what a slow reader has not taken yet is thrown away
		"persistence false",
	}
	if os.Geteuid() == 0 {
		own = append([]string{"user root"}, own...) // else it changes to a user who may not read the folder
	}
	config := filepath.Join(folder, "mosquitto.conf")
	if err := os.WriteFile(config, []byte(strings.Join(append(own, lines...), "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return &Mosquitto{start(t, "mosquitto", folder, listens(address), program, "-c", config), address}
}
