package floor

import (
	"context"
	"errors"
	"fmt"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/bus"
	"millwarden/gateway/callout"
	"millwarden/gateway/callout/siren"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/internal/phrase"
	"millwarden/rules/check"
)

// siren builds the channel that sounds and lights here, and the part that keeps its outputs. Lines are opened when the part runs: a wire that is
// missing at the start is told as a channel that does not work, and tried again.
func (f *Floor) siren(c *check.Channel) (callout.Channel, error) {
	o := siren.Options{Clock: f.clock, Log: f.log.With("channel", c.Name), Silenced: func() { f.silenced(c) }}
	o.Answered = func(ctx context.Context, person, alarm string, occurrence int64) {
		f.answeredAtWall(ctx, c, person, alarm, occurrence)
	}
	if line, found := c.Settings.Find("output"); found {
		o.Sound = f.gpioOutput(line)
	}
	if line, found := c.Settings.Find("relay"); found && len(line.Slots) > 2 {
		o.Sound = func() (siren.Output, error) {
			return siren.Relay(line.Slots[0].Text, uint8(line.Slots[1].Amount.Value), uint16(line.Slots[2].Amount.Value)) // within their declared ends
		}
	}
	if line, found := c.Settings.Find("lamp"); found {
		o.Lamp = f.gpioOutput(line)
	}
	if line, found := c.Settings.Find("button"); found {
		o.Button = f.gpioButton(line)
	}
	for _, line := range c.Settings {
		if line.Key == "answer" && len(line.Slots) > 2 {
			o.Answers = append(o.Answers, siren.Answering{Person: line.Slots[2].Text, Open: f.gpioButton(line)})
		}
	}
	if line, found := c.Settings.Find("longest"); found && len(line.Slots) > 0 {
		o.Longest = time.Duration(line.Slots[0].Amount.Value * float64(time.Second))
	}
	channel, err := siren.New(o)
	if err != nil {
		return nil, err
	}
	f.parts = append(f.parts, &part{name: c.Name, run: channel.Run})
	return channel, nil
}

// gpioOutput reads "gpiochip0 line 12 [on-when (high|low)]".
func (f *Floor) gpioOutput(line phrase.Line) func() (siren.Output, error) {
	return func() (siren.Output, error) {
		low := len(line.Slots) > 2 && line.Slots[2].Text == "low"
		if f.o.OpenOutput != nil {
			return f.o.OpenOutput(line.Slots[0].Text, int(line.Slots[1].Amount.Value), low)
		}
		return bus.Output(line.Slots[0].Text, int(line.Slots[1].Amount.Value), low, bus.Options{})
	}
}

// buttonSettle is how long the contact must stand; chosen: contacts bounce for some milliseconds.
const buttonSettle = 20 * time.Millisecond

func (f *Floor) gpioButton(line phrase.Line) func() (siren.Button, error) {
	return func() (siren.Button, error) {
		opened, closer, err := f.o.OpenBus(context.Background(), drivers.GPIO, line.Slots[0].Text, nil)
		if err != nil {
			return nil, err
		}
		defer closer.Close() //nolint:errcheck // the line has a descriptor of its own
		if opened.GPIO == nil {
			return nil, fmt.Errorf("%s has no lines", line.Slots[0].Text)
		}
		return opened.GPIO.Input(int(line.Slots[1].Amount.Value), buttonSettle)
	}
}

// answeredAtWall takes the answer of a button on the wall. It acknowledges and can do nothing else, for whoever stands there may press it; what was
// refused is written down.
func (f *Floor) answeredAtWall(ctx context.Context, c *check.Channel, person, alarm string, occurrence int64) {
	says := fmt.Sprintf("%s: the button of %s on the wall was held: I am on it", c.Title, f.personTitle(person))
	var refused *web.Refusal
	switch err := f.Act(ctx, web.Act{Do: web.DoAcknowledge, Alarm: alarm, Occurrence: occurrence, By: person, Via: "wall"}); {
	case err != nil && !errors.As(err, &refused):
		f.log.Warn("answer at the wall not taken", "alarm", alarm, "occurrence", occurrence, "cause", err)
		return
	case refused != nil:
		says += ". Refused: " + refused.Says
	}
	f.write(logbook.Entry{Kind: logbook.Act, Place: c.Name, Alarm: alarm, Occurrence: occurrence, Who: person, Text: says})
}

// silenced writes down that somebody pressed the button on the wall. Who it was is not known, so nothing is acknowledged.
func (f *Floor) silenced(c *check.Channel) {
	f.write(logbook.Entry{Kind: logbook.Act, Place: c.Name, Text: c.Title + " silenced by its button: the sound is off, nobody is on it yet, people are called as before"})
}
