//go:build linux

package forward_test

import (
	"flag"
	"math/rand/v2"
	"net"
	"net/url"
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"millwarden/internal/peers"
)

// The kernel's own network, spoiled: the test starts itself in a network namespace of its own, with the four processes of a mill, and there takes the line
// down or has the packet filter throw packets away. What is outside the namespace sees nothing of it.
var links = flag.Int("links", 0, "how many random faults of the network on each store; needs root and iptables")

// network is the line between the processes: one interface, told apart by the servers' ports.
type network struct {
	t             *testing.T
	broker, store string // ports
	done          map[string]int
	dropped       int
}

// inNamespace starts the running test again in a network of its own, and fails as it does there; true: this is that start.
func inNamespace(t *testing.T) bool {
	t.Helper()
	const within = "MILLWARDEN_TEST_NETWORK"
	if *links == 0 {
		t.Skip("needs root, iptables and minutes: -links 20")
	}
	if os.Getenv(within) != "" {
		run(t, "ip", "link", "set", "lo", "up")
		return true
	}
	c := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^"+t.Name()+"$", "-test.v", "-links="+strconv.Itoa(*links)) //nolint:gosec // this program itself
	c.Env = append(os.Environ(), within+"=1")
	c.SysProcAttr = &syscall.SysProcAttr{Cloneflags: syscall.CLONE_NEWNET, Pdeathsig: syscall.SIGKILL}
	said, err := c.CombinedOutput()
	t.Logf("in a network of its own:\n%s", said)
	if err != nil {
		t.Fatal(err)
	}
	return false
}

func run(t *testing.T, words ...string) string {
	t.Helper()
	c := exec.CommandContext(t.Context(), words[0], words[1:]...)
	c.Env = append(os.Environ(), "PATH="+os.Getenv("PATH")+":/usr/sbin:/sbin", "LC_ALL=C")
	out, err := c.CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", strings.Join(words, " "), err, out)
	}
	return string(out)
}

func portOf(t *testing.T, address string) string {
	t.Helper()
	if u, err := url.Parse(address); err == nil && u.Host != "" {
		address = u.Host
	}
	_, port, err := net.SplitHostPort(address)
	if err != nil {
		t.Fatal(err)
	}
	return port
}

// lose throws away a share of the packets to and from a port for a while, and counts them.
func (n *network) lose(what, port string, share float64, lasts time.Duration) {
	n.t.Helper()
	for _, way := range []string{"--dport", "--sport"} {
		run(n.t, "iptables", "-w", "-A", "INPUT", "-i", "lo", "-p", "tcp", way, port, "-m", "statistic", "--mode", "random", "--probability", strconv.FormatFloat(share, 'f', -1, 64), "-j", "DROP")
	}
	time.Sleep(lasts) // a real network needs real time
	before := n.dropped
	for _, count := range regexp.MustCompile(`(?m)^ +(\d+) .*DROP`).FindAllStringSubmatch(run(n.t, "iptables", "-w", "-L", "INPUT", "-v", "-x", "-n"), -1) {
		packets, _ := strconv.Atoi(count[1]) // only figures match
		n.dropped += packets
	}
	if n.dropped > before {
		n.done[what]++
	}
	run(n.t, "iptables", "-w", "-F", "INPUT")
}

// down takes the line down; whoever dials then gets no answer.
func (n *network) down(lasts time.Duration) {
	n.t.Helper()
	run(n.t, "ip", "link", "set", "lo", "down")
	conn, err := net.DialTimeout("tcp", "127.0.0.1:"+n.broker, lasts)
	if err == nil {
		n.t.Error("with the line down, the broker answers a call:", conn.Close())
	}
	n.done["line down"]++
	run(n.t, "ip", "link", "set", "lo", "up")
}

// silence is longer than a dead line may go unnoticed, 25 s.
const silence = 30 * time.Second

// befall spoils the network n times at random.
func (n *network) befall(r *rand.Rand, times int) {
	n.t.Helper()
	for i := range times {
		time.Sleep(time.Duration(500+r.IntN(2000)) * time.Millisecond)
		short := time.Duration(1000+r.IntN(6000)) * time.Millisecond
		switch kind := (i + r.IntN(2)) % 6; kind {
		case 0:
			n.lose("broker lossy", n.broker, 0.3, short)
		case 1:
			n.lose("store lossy", n.store, 0.3, short)
		case 2:
			n.lose("broker silent", n.broker, 1, short)
		case 3:
			n.lose("store silent", n.store, 1, short)
		case 4:
			n.down(short)
		case 5:
			n.lose("broker silent for long", n.broker, 1, silence)
		}
	}
}

// Aim: packets that are lost, lines that fall silent and lines that are down cost nothing but time: what the board has acknowledged is in the store, once each and as it
// was. Counters of the packet filter, and a call that gets no answer, show that each fault took place.
func TestNetwork_losesNothing(t *testing.T) {
	if !inNamespace(t) {
		return
	}
	for _, kind := range []string{"influxd", "victoria-metrics"} {
		t.Run(kind, func(t *testing.T) {
			store, lag := storeOf(t, kind)
			m := openMill(t, "mosquitto", store, lag, board, "")
			n := m.network(store)
			n.befall(rand.New(rand.NewPCG(uint64(*links), 11)), *links) //nolint:gosec // a small number
			acked, last := m.settle()
			if last < acked {
				t.Errorf("%d readings were acknowledged, the history holds %d", acked, last)
			}
			if difference := compare(store.Rows(t), m.want(last)); difference != "" {
				t.Error(difference)
			}
			t.Logf("%d faults %v, %d packets thrown away: %d readings acknowledged, all in the store once", *links, n.done, n.dropped, acked)
			for _, what := range []string{"broker lossy", "store lossy", "broker silent", "store silent", "line down", "broker silent for long"} {
				if *links >= 12 && n.done[what] == 0 {
					t.Errorf("no %s: the test proves less than it says", what)
				}
			}
		})
	}
}

func (m *mill) network(store peers.Store) *network {
	address, _, _, _ := store.Write()
	return &network{t: m.t, broker: portOf(m.t, m.board.s.Broker), store: portOf(m.t, address), done: map[string]int{}}
}

// The control: a board that sends each reading once, and a writer of what comes, through two long silences. It must lose, or the test above proves nothing.
func TestNetwork_sendingOnceLoses(t *testing.T) {
	if !inNamespace(t) {
		return
	}
	store, _ := storeOf(t, "victoria-metrics")
	m := openMill(t, "mosquitto", store, 0, boardOnce, writerOfAll)
	n := m.network(store)
	for range 2 {
		time.Sleep(2 * time.Second)
		n.lose("broker silent for long", n.broker, 1, silence)
		time.Sleep(15 * time.Second) // both have come back
	}
	_, last := m.acks.so()
	lost := m.lost(last)
	t.Logf("%d long silences, %d packets thrown away: of %d readings that counted as stored %d are lost", n.done["broker silent for long"], n.dropped, last, lost)
	if lost == 0 {
		t.Error("the control lost nothing: the test of the real thing proves nothing")
	}
}
