package forward_test

import (
	"context"
	"slices"
	"sync"
	"testing"
	"time"

	"millwarden/gateway/forward"
	"millwarden/gateway/publish"
	"millwarden/internal/link"
	"millwarden/internal/peers"
)

// The cluster as it is shipped, and a user of it.
const clusterConfig, siteUser, sitePassword = "../../deploy/cluster/node.conf", "mill", "of-the-test"

// Aim: an estate that has outgrown one broker runs a cluster that somebody else wrote. Three boards are on one node of nats-server, two forwarders
// share them on the others. Each node is killed in turn while readings come, the board's own too, with kill -9. What is read back from the store is
// the histories, one for one. Configuration: deploy/cluster, as it is shipped.
func TestReal_cluster(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	t.Parallel()
	nodes := peers.StartCluster(t, clusterConfig, siteUser, sitePassword)
	credential := func() (string, string, error) { return siteUser, sitePassword, nil }
	store := peers.StartInflux(t)
	address, org, bucket, token := store.Write()
	for i, boards := range [][]string{{"mill", "deck"}, {"roastery"}} {
		f, err := forward.New(forward.Options{Root: "millwarden", Site: "fern-hollow", Name: "forwarder-" + boards[0], Boards: boards, Credential: credential,
			Dial: link.Dialer(nodes[i+1].Address, nil), Store: forward.Store{Address: address, Org: org, Bucket: bucket, Token: func() (string, error) { return token, nil }}})
		if err != nil {
			t.Fatal(err)
		}
		running := runPart(f.Run)
		defer running.stop(t)
	}
	feeding, stopFeeding := context.WithCancel(t.Context())
	defer stopFeeding()
	var fed sync.WaitGroup
	boards := map[string]*real{}
	for i, name := range []string{"mill", "deck", "roastery"} {
		h := newSliceHistory()
		p := publish.New(h, publish.Options{Root: "millwarden", Site: "fern-hollow", Board: name, Credential: credential, Dial: link.Dialer(nodes[0].Address, nil),
			Area: func(station string) string { return map[bool]string{true: "", false: "mill"}[station == "board"] }, Wake: h.wake})
		boards[name] = &real{t: t, history: h, publisher: p}
		running := runPart(p.Run)
		defer running.stop(t)
		fed.Go(func() { h.feed(feeding, uint64(i)) })
	}
	all := func(n uint64) {
		t.Helper()
		for _, b := range boards {
			b.more(n)
		}
	}
	all(200)
	for _, n := range nodes {
		n.Kill()
		time.Sleep(time.Second) // a hundred readings a board meanwhile
		n.Start()
		all(200)
	}
	stopFeeding()
	fed.Wait()
	var want []peers.Row
	for name, b := range boards {
		b.until(90*time.Second, "the watermark of "+name+" reaches the end", func() bool { return b.history.Watermark().Commit == b.history.Last() })
		want = append(want, b.history.rowsOf(name)...)
	}
	if difference := compare(store.Rows(t), peers.Sort(slices.Clone(want))); difference != "" {
		t.Error(difference)
	}
	t.Logf("%d readings of %d boards through %d killed nodes, each once in the store", len(want), len(boards), len(nodes))
}
