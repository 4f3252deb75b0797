package floor

import (
	"context"
	"errors"
	"fmt"
	"io"

	"millwarden/gateway/callout"
	"millwarden/gateway/callout/text"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/rules/check"
)

// textMessages builds a channel of text messages, and the part that keeps its modem.
func (f *Floor) textMessages(c *check.Channel) (callout.Channel, error) {
	const usualSpeed = 115200
	speed := usualSpeed
	if line, found := c.Settings.Find("speed"); found && len(line.Slots) > 0 && line.Slots[0].Amount.Value > 0 {
		speed = int(line.Slots[0].Amount.Value)
	}
	path := word(c.Settings, "modem")
	o := text.Options{Open: text.Port(path, speed), Answer: f.answered, Log: f.log.With("channel", c.Name),
		Report: func(r text.Report) { f.reported(c.Name, r) }}
	if f.o.OpenModem != nil {
		o.Open = func() (io.ReadWriteCloser, error) { return f.o.OpenModem(path, speed) }
	}
	if name := word(c.Settings, "credential"); name != "" {
		var err error
		if o.PIN, err = f.o.Credential(name); err != nil {
			return nil, err
		}
	}
	channel, err := text.New(o)
	if err != nil {
		return nil, err
	}
	f.parts = append(f.parts, &part{name: c.Name, run: channel.Run})
	return channel, nil
}

// answered takes an answer by text message. It acknowledges and can do nothing else, for a sender's number can be forged. An error brings it again; all
// that was refused is written down and done with.
func (f *Floor) answered(ctx context.Context, a text.Answer) error {
	refuse := func(who, alarm, why string) error {
		f.log.Warn("answer by text message refused", "occurrence", a.Occurrence, "cause", why)
		f.write(logbook.Entry{Kind: logbook.Act, Alarm: alarm, Occurrence: a.Occurrence, Who: who, Text: "answer by text message refused: " + why})
		return nil
	}
	person, ok := f.personOfNumber(a.From)
	if !ok {
		return refuse("", "", "its number is that of no person, or of several")
	}
	alarm, err := f.alarmOf(ctx, a.Occurrence)
	if err != nil {
		return fmt.Errorf("finding occurrence %d: %w", a.Occurrence, err)
	}
	if alarm == "" {
		return refuse(person, "", "no alarm has that number")
	}
	err = f.Act(ctx, web.Act{Do: web.DoAcknowledge, Alarm: alarm, Occurrence: a.Occurrence, By: person, Via: "text"})
	var refused *web.Refusal
	switch {
	case !errors.As(err, &refused):
		return err
	case refused.Kind == web.RefusedRights: // the engine's own refusals are written down by Act
		return refuse(person, alarm, refused.Says)
	}
	f.log.Info("answer by text message refused", "alarm", alarm, "occurrence", a.Occurrence, "cause", refused.Says)
	return nil
}

// personOfNumber finds the one person of the rules file who has that telephone.
func (f *Floor) personOfNumber(number string) (name string, ok bool) {
	for _, p := range f.plan().People {
		if !text.SameNumber(p.Phone, number) {
			continue
		}
		if name != "" {
			return "", false
		}
		name = p.Name
	}
	return name, name != ""
}

// alarmOf finds the alarm of an occurrence: what stands, else what the logbook knows, so that an older one is refused as superseded.
func (f *Floor) alarmOf(ctx context.Context, occurrence int64) (string, error) {
	if occurrence > drillBase {
		return callout.DrillAlarm, nil
	}
	f.deciding.Lock()
	standings := f.engine.Standings(nil)
	f.deciding.Unlock()
	for i := range standings {
		if standings[i].Occurrence == occurrence {
			return standings[i].Alarm.ID, nil
		}
	}
	asking, cancel := context.WithTimeout(ctx, queryWait)
	defer cancel()
	entries, err := f.logbook.Entries(asking, logbook.Filter{Kinds: []logbook.Kind{logbook.Transition}, Occurrence: occurrence, Limit: 1})
	if err != nil || len(entries) == 0 {
		return "", err
	}
	return entries[0].Alarm, nil
}

// reported writes down what the network says of a message. It is no answer of a person.
func (f *Floor) reported(channel string, r text.Report) {
	m := &r.Message
	f.write(logbook.Entry{Kind: logbook.Receipt, Alarm: m.Alarm, Occurrence: m.Occurrence, Place: m.Place, Who: m.To.Name, Why: "reported",
		Text: channel + " to " + m.To.Title + ": " + r.Says})
}
