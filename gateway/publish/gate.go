package publish

import (
	"crypto/tls"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// gate is the access list of the broker inside. Who comes from this process may everything. From outside the user of the credential may everything; any
// other is the user of a radio probe, who proves itself by password or certificate, publishes to its own topic and below, and hears nothing else. So a
// stick that was stolen out of a bin cannot speak for a tank.
type gate struct {
	mochi.HookBase
	o       *BrokerOptions
	clients *mochi.Clients
	whole   sync.Map // *mochi.Client that may everything
}

// refusedPause slows down who guesses: with maxClients connections at once a password of 40 random bits stands for 17 years on average. Chosen.
const refusedPause = time.Second

// Why somebody is not let in.
var (
	errUser  = errors.New("user or password is wrong, or it is no radio probe of the rules file")
	errOther = errors.New("it shows the certificate of another name than its user's")
	errTaken = errors.New("another user is connected by this client id")
	errWill  = errors.New("its last will is for a topic that is not its own")
)

func (*gate) ID() string { return "gate" }

func (*gate) Provides(b byte) bool {
	return b == mochi.OnConnectAuthenticate || b == mochi.OnACLCheck || b == mochi.OnDisconnect
}

func (g *gate) OnConnectAuthenticate(cl *mochi.Client, pk packets.Packet) bool {
	if cl.Net.Listener == inside {
		return true
	}
	user, whole, err := g.user(cl, pk.Connect)
	if err == nil {
		err = g.fits(user, whole, pk.Connect)
	}
	if err != nil {
		g.o.Log.Warn("client of the broker refused", "user", fmt.Sprintf("%.60q", pk.Connect.Username), "cause", err)
		time.Sleep(refusedPause)
		return false
	}
	cl.Properties.Username = []byte(user)
	if whole {
		g.whole.Store(cl, true)
	}
	return true
}

func (g *gate) OnDisconnect(cl *mochi.Client, _ error, _ bool) { g.whole.Delete(cl) }

// user finds out who comes.
func (g *gate) user(cl *mochi.Client, c packets.ConnectParams) (name string, whole bool, err error) {
	name = string(c.Username)
	if g.o.open() {
		return name, true, nil
	}
	master, password := "", ""
	if g.o.Credential != nil {
		if master, password, err = g.o.Credential(); err != nil {
			return "", false, err
		}
	}
	if g.o.certified() {
		shown := shownBy(cl)
		if shown == "" || name != "" && name != shown {
			return "", false, errOther
		}
		return shown, master != "" && shown == master, nil
	}
	if same(c.Username, master) && same(c.Password, password) {
		return name, true, nil
	}
	if g.o.Password == nil || name == master {
		return "", false, errUser
	}
	password, err = g.o.Password(name)
	if err != nil || password == "" || !same(c.Password, password) {
		return "", false, errors.Join(err, errUser)
	}
	return name, false, nil
}

// shownBy is the name in the certificate that a client showed. The handshake has checked it against the root.
func shownBy(cl *mochi.Client) string {
	conn, ok := cl.Net.Conn.(*tls.Conn)
	if !ok {
		return ""
	}
	if shown := conn.ConnectionState().PeerCertificates; len(shown) > 0 {
		return shown[0].Subject.CommonName
	}
	return ""
}

// fits looks at what a connection would do that the broker's library does not ask OnACLCheck about: the topic of a last will, and throwing out who is
// connected by the same client id, which may be this very process.
func (g *gate) fits(user string, whole bool, c packets.ConnectParams) error {
	if old, connected := g.clients.Get(c.ClientIdentifier); connected && (old.Net.Listener == inside || string(old.Properties.Username) != user) {
		return errTaken
	}
	switch {
	case whole:
		return nil
	case g.o.Topics == nil || len(g.o.Topics(user)) == 0:
		return errUser
	case c.WillFlag && !g.own(user, c.WillTopic):
		return errWill
	}
	return nil
}

// OnACLCheck judges each publish, each subscription's filter, and each delivery.
func (g *gate) OnACLCheck(cl *mochi.Client, topic string, _ bool) bool {
	if cl.Net.Listener == inside {
		return true
	}
	if _, whole := g.whole.Load(cl); whole {
		return true
	}
	return g.own(string(cl.Properties.Username), topic)
}

// own tells whether a topic, or a filter, reaches into a user's own alone.
func (g *gate) own(user, topic string) bool {
	if g.o.Topics == nil {
		return false
	}
	for _, t := range g.o.Topics(user) {
		if topic == t || strings.HasPrefix(topic, t+"/") {
			return true
		}
	}
	return false
}
