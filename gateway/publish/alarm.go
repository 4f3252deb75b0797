package publish

import (
	"encoding/json"
	"time"

	"millwarden/internal/link"
)

// Alarm is the state of an alarm as people's own tools see it.
type Alarm struct {
	Place          string    `json:"place"` // "tank-1"; may be a full point
	Name           string    `json:"name"`  // "over-fermented"
	State          string    `json:"state"` // one of the nine, in words
	Active         bool      `json:"active"`
	Occurrence     int64     `json:"occurrence"`
	Priority       string    `json:"priority"`
	Class          string    `json:"class"`
	Since          time.Time `json:"since"`
	Because        string    `json:"because,omitempty"`
	AcknowledgedBy string    `json:"acknowledged-by,omitempty"`
}

// shown is what stands, or is to stand, at a topic: the state of an alarm, or the rules.
type shown struct {
	payload []byte // empty: the topic is to be cleared
	dirty   bool
}

// Alarm publishes the state of an alarm, retained, now and again after each reconnect. It keeps the newest and never blocks.
func (p *Publisher) Alarm(a Alarm) {
	payload, err := json.Marshal(a)
	if err != nil {
		p.o.Log.Error("alarm not published", "alarm", a.Name, "place", a.Place, "cause", err)
		return
	}
	p.show(p.topics.Alarm(a.Place, a.Name), payload)
}

// ForgetAlarm takes the record of an alarm that is no more away from the broker.
func (p *Publisher) ForgetAlarm(place, name string) { p.show(p.topics.Alarm(place, name), nil) }

// Rules tells by which rules the board judges, for its hub.
func (p *Publisher) Rules(hash string) { p.show(p.topics.Rules(p.o.Board), []byte(hash)) }

func (p *Publisher) show(topic string, payload []byte) {
	p.mu.Lock()
	p.shown[topic] = &shown{payload: payload, dirty: true}
	p.mu.Unlock()
	select {
	case p.alarms <- struct{}{}:
	default:
	}
}

func (p *Publisher) showAllAgain() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, a := range p.shown {
		a.dirty = true
	}
}

// showAlarms publishes what changed. Their tokens need no look: what a lost connection takes with it is shown again after the next.
func (p *Publisher) showAlarms(c *link.Conn) {
	p.mu.Lock()
	var changed []link.Message
	for topic, a := range p.shown {
		if a.dirty {
			changed = append(changed, link.Message{Topic: topic, Payload: a.payload, QoS: 1, Retain: true})
			a.dirty = false
		}
	}
	p.mu.Unlock()
	for _, m := range changed {
		c.Send(m)
	}
}
