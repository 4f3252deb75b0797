package peers

import (
	"strings"
	"testing"
)

// Node is one of the three of a cluster of brokers.
type Node struct {
	*Server
	Address string // of MQTT
}

// Nodes is how many a cluster has: with three, one may be away.
const Nodes = 3

// StartCluster starts three nodes of nats-server with the configuration at path, which takes what differs from the environment
// (see deploy/cluster). They may need some seconds more until two of them have found each other: a client tries again.
func StartCluster(t testing.TB, path, user, password string) [Nodes]*Node {
	t.Helper()
	program := find(t, "nats-server")
	var routes [Nodes]string
	for i := range routes {
		routes[i] = FreeAddress(t)
	}
	var nodes [Nodes]*Node
	for i := range nodes {
		folder, address := t.TempDir(), FreeAddress(t)
		env := []string{"NODE=node-" + string(rune('a'+i)), "MQTT=" + address, "CLUSTER=" + routes[i], "PEER_A=nats-route://" + routes[(i+1)%Nodes],
			"PEER_B=nats-route://" + routes[(i+2)%Nodes], "STORE=" + folder, "SITE_USER=" + user, "SITE_PASSWORD=" + password}
		host, port, _ := strings.Cut(FreeAddress(t), ":") // of its own protocol, which nobody here speaks
		nodes[i] = &Node{startIn(t, env, "nats-server", folder, listens(address), program, "-c", path, "-a", host, "-p", port), address}
	}
	return nodes
}
