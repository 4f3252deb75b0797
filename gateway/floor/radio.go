package floor

import (
	"context"
	"slices"

	"millwarden/drivers"
	"millwarden/internal/link"
	"millwarden/internal/wire"
)

// radio hears the broker for probes that report by themselves, if the plan has any.
func (f *Floor) radio(plan *planned) []*part {
	topics := f.radioTopics(plan)
	if len(topics) == 0 || f.o.Radio != nil {
		return nil
	}
	name := plan.Site.Board + "-radio" // a board's name with a hyphen more: its state stands beside that of the publisher
	log := f.log.With("part", "radio")
	o := link.Options{Dial: f.links.dial, ClientID: "millwarden-" + plan.Site.Name + "-" + name, Credential: f.links.user, Subscribe: topics, QoS: 1, Receive: f.heard.Deliver,
		Presence: wire.Topics{Root: rootOf(plan.Plan), Site: plan.Site.Name}.State(name),
		Report: func(err error) {
			if err != nil {
				log.Warn("broker does not answer", "cause", err)
			}
		}}
	return []*part{{name: "radio", run: func(ctx context.Context) error {
		return link.Keep(ctx, o, func(ctx context.Context, _ *link.Conn) error {
			<-ctx.Done()
			return nil
		})
	}}}
}

// radioTopics are those of the plan's probes, each once.
func (f *Floor) radioTopics(plan *planned) []string {
	var topics []string
	for i := range plan.Probes {
		p := &plan.Probes[i]
		if p.Remote || f.o.Drivers[p.Part].Bus != drivers.Radio || len(p.Place) == 0 {
			continue
		}
		if topic := p.Place[0].Text; !slices.Contains(topics, topic) {
			topics = append(topics, topic)
		}
	}
	return topics
}
