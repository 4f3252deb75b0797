package floor

import (
	"time"

	"millwarden/drivers"
	"millwarden/drivers/bus"
	"millwarden/gateway/callout"
	"millwarden/gateway/callout/siren"
	"millwarden/gateway/logbook"
	"millwarden/internal/phrase"
	"millwarden/rules/check"
)

// siren builds the channel that sounds and lights here, and the part that keeps its outputs. Lines are opened when the part runs: a wire that is
// missing at the start is told as a channel that does not work, and tried again.
func (f *Floor) siren(c *check.Channel) (callout.Channel, error) {
	o := siren.Options{Clock: f.clock, Log: f.log.With("channel", c.Name), Silenced: func() { f.silenced(c) }}
	if line, found := c.Settings.Find("output"); found {
		o.Sound = gpioOutput(line)
	}
	if line, found := c.Settings.Find("relay"); found && len(line.Slots) > 2 {
		o.Sound = func() (siren.Output, error) {
			return siren.Relay(line.Slots[0].Text, uint8(line.Slots[1].Amount.Value), uint16(line.Slots[2].Amount.Value)) // within their declared ends
		}
	}
	if line, found := c.Settings.Find("lamp"); found {
		o.Lamp = gpioOutput(line)
	}
	if line, found := c.Settings.Find("button"); found {
		o.Button = gpioButton(line)
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
func gpioOutput(line phrase.Line) func() (siren.Output, error) {
	return func() (siren.Output, error) {
		low := len(line.Slots) > 2 && line.Slots[2].Text == "low"
		return bus.Output(line.Slots[0].Text, int(line.Slots[1].Amount.Value), low, bus.Options{})
	}
}

// buttonSettle is how long the contact must stand; chosen: contacts bounce for some milliseconds.
const buttonSettle = 20 * time.Millisecond

func gpioButton(line phrase.Line) func() (siren.Button, error) {
	return func() (siren.Button, error) {
		opened, err := bus.Open(drivers.GPIO, line.Slots[0].Text, bus.Options{})
		if err != nil {
			return nil, err
		}
		defer opened.Close() //nolint:errcheck // the line has a descriptor of its own
		return opened.GPIO.Input(int(line.Slots[1].Amount.Value), buttonSettle)
	}
}

// silenced writes down that somebody pressed the button on the wall. Who it was is not known, so nothing is acknowledged.
func (f *Floor) silenced(c *check.Channel) {
	f.write(logbook.Entry{Kind: logbook.Act, Place: c.Name, Text: c.Title + " silenced by its button: the sound is off, nobody is on it yet, people are called as before"})
}
