package floor

import (
	"context"
	"slices"

	"millwarden/drivers"
	"millwarden/drivers/bus"
	"millwarden/internal/link"
	"millwarden/internal/wire"
)

// buildRadio hears the broker for probes that report by themselves.
func (f *Floor) buildRadio() error {
	topics := f.radioTopics()
	if len(topics) == 0 || f.o.Radio != nil {
		f.feed = f.o.Radio
		return nil
	}
	feed := bus.NewFeed()
	f.feed = feed
	name := f.plan.Site.Board + "-radio" // a board's name with a hyphen more: its state stands beside that of the publisher
	log := f.log.With("part", "radio")
	o := link.Options{Dial: f.links.dial, ClientID: "millwarden-" + f.plan.Site.Name + "-" + name, Credential: f.links.user, Subscribe: topics, Receive: feed.Deliver,
		Presence: wire.Topics{Root: rootOf(f.plan), Site: f.plan.Site.Name}.State(name),
		Report: func(err error) {
			if err != nil {
				log.Warn("broker does not answer", "cause", err)
			}
		}}
	f.parts = append(f.parts, &part{name: "radio", run: func(ctx context.Context) error {
		return link.Keep(ctx, o, func(ctx context.Context, _ *link.Conn) error {
			<-ctx.Done()
			return nil
		})
	}})
	return nil
}

// radioTopics are those of the plan's probes, each once.
func (f *Floor) radioTopics() []string {
	var topics []string
	for i := range f.plan.Probes {
		p := &f.plan.Probes[i]
		if p.Remote || f.o.Drivers[p.Part].Bus != drivers.Radio || len(p.Place) == 0 {
			continue
		}
		if topic := p.Place[0].Text; !slices.Contains(topics, topic) {
			topics = append(topics, topic)
		}
	}
	return topics
}
