package floor

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"

	"millwarden/drivers"
	"millwarden/gateway/forward"
	"millwarden/gateway/publish"
	"millwarden/gateway/web"
	"millwarden/internal/link"
	"millwarden/rules/check"
	"millwarden/rules/engine"
)

// links are the broker, the store and what is known of them.
type links struct {
	publisher *publish.Publisher
	forwarder *forward.Forwarder // nil: no store
	dial      func(context.Context) (net.Conn, error)
	user      func() (user, password string, err error) // of the broker; nil: none
	woken     chan struct{}

	logbookFault atomic.Bool
	historyBad   atomic.Pointer[string] // why the history cannot be written; nil: it can
	outages      outages
}

// wake tells the publisher that there is something new.
func (l *links) wake() {
	select {
	case l.woken <- struct{}{}:
	default:
	}
}

// historyFault remembers, and logs once, what is wrong with the history. Alarms go on without it.
func (l *links) historyFault(err error, log *slog.Logger) {
	before := l.historyBad.Load()
	if err == nil {
		l.historyBad.Store(nil)
		if before != nil {
			log.Info("history can be written again")
		}
		return
	}
	text := err.Error()
	l.historyBad.Store(&text)
	if before == nil {
		log.Error("history cannot be written", "cause", err)
	}
}

func (f *Floor) buildLinks() error {
	l := &f.links
	l.woken = make(chan struct{}, 1)
	if err := f.buildBroker(); err != nil {
		return err
	}
	l.publisher = publish.New(f.history, publish.Options{Root: rootOf(f.plan().Plan), Site: f.plan().Site.Name, Board: f.plan().Site.Board, Dial: l.dial,
		Credential: l.user, Area: f.areaOf, Own: f.own, Wake: l.woken, LatestEvery: latestEvery(f.plan().Site), Rate: f.o.CatchUp, Log: f.log.With("part", "publish")})
	l.publisher.Rules(f.plan().Rules)
	f.parts = append(f.parts, &part{name: "publish", run: l.publisher.Run})
	if f.plan().Store == nil || f.o.NoForward {
		return nil
	}
	return f.buildForwarder()
}

func rootOf(plan *check.Plan) string { return cmp.Or(plan.Broker.Root, "millwarden") }

// buildBroker takes the site's own broker, or the one inside.
func (f *Floor) buildBroker() error {
	b := f.plan().Broker
	l := &f.links
	if b.Credential != "" {
		l.user = userOf(b.Credential, f.o.Credential)
	}
	if b.Address != "" {
		config, err := brokerTLS(b.Address, b.CA, b.Certificate)
		if err != nil {
			return fmt.Errorf("broker: %w", err)
		}
		if l.dial = f.o.DialBroker; l.dial == nil {
			l.dial = link.Dialer(hostOf(b.Address), config)
		}
		return nil
	}
	serve, err := brokerServes(b)
	if err != nil {
		return fmt.Errorf("broker: %w", err)
	}
	f.broker, err = publish.NewBroker(publish.BrokerOptions{Listen: b.Listen, TLS: serve, Credential: l.user, Password: f.probePassword(b.Credential), Topics: f.probeTopics, Oversized: f.metrics.Oversized.WithLabelValues("broker").Inc,
		Log: f.log.With("part", "broker")})
	if err != nil {
		return err
	}
	l.dial = f.broker.Dial
	l.user = nil // from inside none is asked
	f.parts = append(f.parts, &part{name: "broker", run: f.broker.Run})
	return nil
}

// brokerServes is how the broker inside shows itself: with a ca its clients show certificates of that root too.
func brokerServes(b check.Broker) (*tls.Config, error) {
	if b.Certificate == "" && b.CA == "" {
		return nil, nil
	}
	if b.Certificate == "" {
		return nil, errors.New("with a ca the broker inside asks its clients for certificates, and needs one itself; write: certificate /etc/millwarden/page.pem")
	}
	serve, err := link.TLS(b.CA, b.Certificate)
	if err == nil && b.CA != "" {
		serve.ClientCAs, serve.ClientAuth = serve.RootCAs, tls.RequireAndVerifyClientCert
	}
	return serve, err
}

// probePassword finds the password of a radio probe's user: below its first line the credential of the broker has one line for each, name:password.
func (f *Floor) probePassword(name string) func(user string) (string, error) {
	if name == "" {
		return nil
	}
	return func(user string) (string, error) {
		text, err := f.o.Credential(name)
		if err != nil {
			return "", err
		}
		lines := strings.Split(text, "\n")
		for _, line := range lines[1:] {
			if who, password, found := strings.Cut(strings.TrimSpace(line), ":"); found && who == user {
				return password, nil
			}
		}
		return "", nil
	}
}

// probeTopics are those of the radio probe that a user is named after: of a probe of the rules in force.
func (f *Floor) probeTopics(user string) (topics []string) {
	plan := f.plan()
	for i := range plan.Probes {
		p := &plan.Probes[i]
		if p.Name == user && !p.Remote && f.o.Drivers[p.Part].Bus == drivers.Radio && len(p.Place) > 0 {
			topics = append(topics, p.Place[0].Text)
		}
	}
	return topics
}

// brokerTLS is nil for a broker without encryption, which the checker has warned of.
func brokerTLS(address, ca, certificate string) (*tls.Config, error) {
	if strings.HasPrefix(address, "mqtts://") || strings.HasPrefix(address, "tls://") || strings.HasSuffix(address, ":8883") || ca != "" {
		return link.TLS(ca, certificate)
	}
	return nil, nil
}

// hostOf takes host:port out of an address that may have a scheme.
func hostOf(address string) string {
	if u, err := url.Parse(address); err == nil && u.Host != "" {
		return u.Host
	}
	return address
}

// userOf reads a credential of the form user:password.
func userOf(name string, credential func(string) (string, error)) func() (string, string, error) {
	return func() (string, string, error) {
		text, err := credential(name)
		if err != nil {
			return "", "", err
		}
		first, _, _ := strings.Cut(text, "\n") // below it stand radio probes
		user, password, found := strings.Cut(strings.TrimSpace(first), ":")
		if !found {
			return "", "", fmt.Errorf("credential %s: it has no colon; write user:password", name)
		}
		return user, password, nil
	}
}

func (f *Floor) buildForwarder() (err error) {
	o, err := forwarderOptions(f.plan().Plan, f.o.Credential)
	if err != nil {
		return err
	}
	o.Boards, o.Dial, o.Credential = []string{f.plan().Site.Board}, f.links.dial, f.links.user
	if f.o.Store != nil {
		o.Store.Client = f.o.Store
	}
	o.RejectFile, o.Log = filepath.Join(f.o.Data, "refused-readings.txt"), f.log.With("part", "forward")
	if f.links.forwarder, err = forward.New(o); err != nil {
		return err
	}
	f.parts = append(f.parts, &part{name: "forward", run: f.links.forwarder.Run})
	return nil
}

// forwarderOptions are those that the rules file gives, but for the broker.
func forwarderOptions(plan *check.Plan, credential func(string) (string, error)) (forward.Options, error) {
	s := plan.Store
	o := forward.Options{Root: rootOf(plan), Site: plan.Site.Name,
		Store: forward.Store{Address: s.Address, Org: s.Org, Bucket: s.Bucket, DurableAfter: s.DurableAfter}}
	if s.Credential != "" {
		o.Store.Token = func() (string, error) { return credential(s.Credential) }
	}
	if s.CA == "" && s.Certificate == "" && !strings.HasPrefix(s.Address, "https://") {
		return o, nil
	}
	config, err := link.TLS(s.CA, s.Certificate)
	if err != nil {
		return o, fmt.Errorf("store: %w", err)
	}
	o.Store.Client = forward.Client(config)
	return o, nil
}

// Forwarder is the forwarder as a process of its own: it needs a broker and a store of the site's.
func Forwarder(plan *check.Plan, credential func(string) (string, error), rejects string, log *slog.Logger) (*forward.Forwarder, error) {
	b := plan.Broker
	if plan.Store == nil || b.Address == "" {
		return nil, errors.New("the rules file needs a broker with an address and a store: without them there is nothing to forward between")
	}
	o, err := forwarderOptions(plan, credential)
	if err != nil {
		return nil, err
	}
	config, err := brokerTLS(b.Address, b.CA, b.Certificate)
	if err != nil {
		return nil, fmt.Errorf("broker: %w", err)
	}
	o.Dial, o.RejectFile, o.Log = link.Dialer(hostOf(b.Address), config), rejects, log
	if b.Credential != "" {
		o.Credential = userOf(b.Credential, credential)
	}
	return forward.New(o)
}

// latestEvery is how often the newest readings are told; 0 is as usual.
func latestEvery(site check.Site) time.Duration {
	if site.Hub != "" {
		return hubEvery
	}
	return 0
}

// areaOf files a station under its area. The board itself stands in none: several boards have one called so.
func (f *Floor) areaOf(station string) string {
	if station == ownBoard {
		return ""
	}
	return f.plan().areas[station]
}

// own tells whether a point is for this board to publish. What another board measures, and says of itself, it publishes.
func (f *Floor) own(point string) bool { return !f.plan().foreign[point] }

// publishAlarms tells people's own tools how alarms stand.
func (f *Floor) publishAlarms(transitions []engine.Transition) {
	for i := range transitions {
		t := &transitions[i]
		if t.Alarm.Kind != engine.KindAlarm {
			continue
		}
		if t.Event == engine.Withdraw {
			f.links.publisher.ForgetAlarm(t.Alarm.Place, t.Alarm.Name)
			continue
		}
		f.links.publisher.Alarm(publish.Alarm{Place: t.Alarm.Place, Name: t.Alarm.Name, State: t.To.String(),
			Active:     t.To == engine.Unacknowledged || t.To == engine.Acknowledged,
			Occurrence: t.Occurrence, Priority: t.Alarm.Priority.String(), Class: t.Alarm.Class.String(), Since: t.At.Wall, Because: t.Because, AcknowledgedBy: t.By})
	}
}

func (l *links) storeAnswers() bool {
	return l.forwarder == nil || l.forwarder.Status().StoreTrouble == "" && l.publisher.Status().StoreTrouble == ""
}

// states lists broker, store and outside watcher for the page.
func (l *links) states(f *Floor, list []web.Link) []web.Link {
	status, now := l.publisher.Status(), f.clock.Now()
	broker := web.Link{Kind: "broker", Name: "broker", Title: "Broker", Set: true, Works: status.Connected, Cause: textOf(status.Trouble)}
	list = append(list, l.outages.note(broker, now))
	if l.forwarder != nil {
		waiting := int64(status.Last - min(status.Last, status.Watermark)) //nolint:gosec // a count of readings
		trouble := l.forwarder.Status().StoreTrouble
		if trouble == "" {
			trouble = status.StoreTrouble
		}
		list = append(list, l.outages.note(web.Link{Kind: "store", Name: "store", Title: "Store", Set: true, Works: trouble == "", Cause: trouble, Waiting: waiting}, now))
	} else {
		list = append(list, web.Link{Kind: "store", Name: "store", Title: "Store"})
	}
	if bad := l.historyBad.Load(); bad != nil {
		list = append(list, web.Link{Kind: "history", Name: "history", Title: "History", Set: true, Cause: *bad})
	}
	if step, at, stands := f.wall.stands(now); stands {
		list = append(list, web.Link{Kind: "clock", Name: "clock", Title: "Clock", Set: true, Since: at, Step: step})
	}
	if h := f.hub.Load(); h != nil {
		list = h.links(now, list)
	}
	for _, c := range f.plan().Channels {
		works, cause := f.channelState(c.Name)
		list = append(list, web.Link{Kind: "channel", Name: c.Name, Title: c.Title, Set: true, Works: works, Cause: cause})
	}
	return append(list, f.watcherLink())
}

func textOf(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}
