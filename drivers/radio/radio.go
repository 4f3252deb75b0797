// Package radio reads probes that report by themselves: whatever stands behind a topic of the broker sends either SenML (RFC 8428, JSON) or one bare
// number. Read gives the newest frame that came since the last Read, or says how long there has been none; so a probe that fell silent is found as any other.
//
// Sources: RFC 8428 "Sensor Measurement Lists (SenML)"; RFC 8798 for its secondary units.
//
// Order is that of arrival, and age is by this board's clock: the probe's own time is passed on beside them. Only a frame that the broker had
// kept (retained) has no arrival to go by. Without a time of its own it is not used, with one it is uncertain; and since the broker sends it again
// at every new connection, it counts only if that time is later than any before.
//
// Concurrency: as of drivers.Probe, one goroutine at a time.
package radio

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"millwarden/drivers"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

const kind = "radio"

// Driver is the part for the catalog.
var Driver = drivers.Driver{Kind: kind, Bus: drivers.Radio, Declares: declares, Open: open}

const declares = `part radio
    place on topic TOPIC
    phrase form (senml|number) [x AMOUNT]
    phrase record* NAME is CHANNEL
    reads each record
`

// maxFrame is the longest frame that is looked at. Chosen: a probe of a mill sends a few records; the longest pack of 64 has under 8 KiB.
const maxFrame = 64 << 10

// wanted is one channel and the record that feeds it.
type wanted struct {
	record  string
	channel string
	due     units.Quantity
}

type probe struct {
	topicName string
	topic     drivers.Topic
	bare      bool
	scale     phrase.Slot
	wanted    []wanted
	last      uint64
	lastAt    time.Time // latest time that a frame told of itself
	records   []reading.Record
	values    []drivers.Value
}

var (
	_ drivers.Probe = (*probe)(nil)
	_ io.Closer     = (*probe)(nil)
)

func open(ctx context.Context, site drivers.Site) (drivers.Probe, error) {
	p := &probe{}
	if site.Bus.Radio == nil || len(site.Place.Slots) == 0 {
		return nil, p.fault(drivers.Settings, nil, errors.New("needs the broker and a topic"))
	}
	p.topicName = site.Place.Slots[0].Text
	if p.topicName == "" || strings.ContainsAny(p.topicName, "+#\x00") {
		return nil, p.fault(drivers.Settings, nil, errors.New("the topic of one probe has no wildcards"))
	}
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	if err := p.set(site); err != nil {
		return nil, p.fault(drivers.Settings, nil, err)
	}
	topic, err := site.Bus.Radio.Listen(p.topicName)
	if err != nil {
		return nil, p.fault(drivers.NoAnswer, nil, err)
	}
	p.topic = topic
	return p, nil
}

// set reads the lines form and record. Without record lines each channel is fed by the record of its own name.
func (p *probe) set(site drivers.Site) error {
	if line, ok := site.Lines.Find("form"); ok && len(line.Slots) > 0 {
		p.bare = line.Slots[0].Text == "number"
		if len(line.Slots) > 1 {
			p.scale = line.Slots[1]
		}
	}
	for _, line := range site.Lines {
		if line.Key == "record" && len(line.Slots) >= 2 {
			due, _ := site.Due(line.Slots[1].Text)
			p.wanted = append(p.wanted, wanted{line.Slots[0].Text, line.Slots[1].Text, due})
		}
	}
	if len(p.wanted) == 0 {
		for _, c := range site.Gives {
			p.wanted = append(p.wanted, wanted{c.Name, c.Name, c.Quantity})
		}
	}
	switch {
	case len(p.wanted) == 0:
		return errors.New("gives nothing")
	case p.bare && len(p.wanted) != 1:
		return fmt.Errorf("a bare number feeds one point, not %d", len(p.wanted))
	}
	return nil
}

func (p *probe) String() string { return kind + " on topic " + p.topicName }

func (p *probe) Close() error { return p.topic.Close() }

func (p *probe) Read(ctx context.Context) (drivers.Sample, error) {
	if err := context.Cause(ctx); err != nil {
		return drivers.Sample{}, err
	}
	frame, ok := p.topic.Newest()
	switch {
	case !ok:
		return drivers.Sample{}, p.fault(drivers.NotReady, nil, errors.New("nothing has come yet"))
	case frame.Number == p.last:
		return drivers.Sample{}, p.fault(drivers.NotReady, nil, fmt.Errorf("nothing new since %s ago", frame.Ago.Round(time.Second)))
	}
	p.last = frame.Number
	if len(frame.Payload) > maxFrame {
		return drivers.Sample{}, p.fault(drivers.Garbled, nil, fmt.Errorf("frame of %d bytes, at most %d are read", len(frame.Payload), maxFrame))
	}
	read := p.senml
	if p.bare {
		read = p.number
	}
	if err := read(frame); err != nil {
		return drivers.Sample{}, err
	}
	return drivers.Sample{Values: p.values, Raw: frame.Payload}, nil
}

// number reads a payload that is one number, or on and off for a state.
func (p *probe) number(frame drivers.Frame) error {
	if frame.Retained {
		return p.fault(drivers.NotReady, frame.Payload, errors.New("the broker kept this number, nobody knows how long"))
	}
	w := p.wanted[0]
	scale := drivers.ScaleOf(p.scale, w.due)
	raw, err := bareNumber(string(frame.Payload), w.due)
	if err != nil {
		return p.fault(drivers.Garbled, frame.Payload, err)
	}
	value := scale.Base(raw)
	if math.IsInf(value, 0) {
		return p.fault(drivers.Garbled, frame.Payload, errors.New("number beyond all numbers"))
	}
	p.values = append(p.values[:0], drivers.Value{Channel: w.channel, Quantity: scale.Quantity, Value: value, Raw: raw, Ago: frame.Ago})
	return nil
}

func bareNumber(text string, due units.Quantity) (float64, error) {
	text = strings.TrimSpace(text)
	if due == units.State {
		switch strings.ToLower(text) {
		case "on", "true":
			return 1, nil
		case "off", "false":
			return 0, nil
		}
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(value) || math.IsInf(value, 0) || strings.ContainsAny(text, "xXpP_") {
		return 0, fmt.Errorf("%q is no number", text[:min(len(text), 40)])
	}
	return value, nil
}

// The decoder resolves times that count from "now"; this now lies before every time it takes for absolute, so that what comes out below the
// border was relative, and its age can be told without a clock [RFC 8428 section 4.5.3].
var (
	resolveAt = time.Unix(1<<27, 0)
	border    = time.Unix(1<<28, 0)
)

func (p *probe) senml(frame drivers.Frame) error {
	records, err := reading.DecodeSenML(frame.Payload, resolveAt, p.records[:0])
	if err != nil {
		return p.fault(drivers.Garbled, frame.Payload, err)
	}
	p.records = records
	p.values = p.values[:0]
	before, usable := p.lastAt, false
	for _, w := range p.wanted {
		v := p.channel(w, frame, before)
		usable = usable || v.Fault == nil
		if v.At.After(p.lastAt) {
			p.lastAt = v.At
		}
		p.values = append(p.values, v)
	}
	if frame.Retained && !usable {
		return p.values[0].Fault // nothing was read; what was read before goes on ageing
	}
	return nil
}

// channel is what the frame says of one channel. before is the latest time that an earlier frame told.
func (p *probe) channel(w wanted, frame drivers.Frame, before time.Time) drivers.Value {
	record := newest(p.records, w.record)
	if record == nil {
		return drivers.Failed(w.channel, w.due, p.fault(drivers.NotReady, frame.Payload, fmt.Errorf("the frame has no record %s", w.record)))
	}
	v := p.value(record, w, frame)
	if !frame.Retained || v.Fault != nil {
		return v
	}
	switch {
	case v.At.IsZero():
		return drivers.Failed(w.channel, w.due, p.fault(drivers.NotReady, frame.Payload, errors.New("the broker kept this frame, nobody knows how long")))
	case !v.At.After(before):
		return drivers.Failed(w.channel, w.due, p.fault(drivers.NotReady, frame.Payload, errors.New("the broker kept this frame, it is an old one")))
	}
	v.Quality, v.Cause = reading.Uncertain, "kept by the broker"
	return v
}

// newest finds the record of that name with the latest time, the last of several equal ones. Names of probes often begin with an address
// ("urn:dev:mac:0024befffe804ff1:temperature"), so the end of the name decides.
func newest(records []reading.Record, name string) *reading.Record {
	var best *reading.Record
	for i := range records {
		r := &records[i]
		if !endsIn(r.Name, name) || best != nil && r.Time.Before(best.Time) {
			continue
		}
		best = r
	}
	return best
}

func endsIn(full, name string) bool {
	head, ok := strings.CutSuffix(full, name)
	return ok && (head == "" || strings.ContainsRune("/:._-", rune(head[len(head)-1])))
}

func (p *probe) value(r *reading.Record, w wanted, frame drivers.Frame) drivers.Value {
	v := drivers.Value{Channel: w.channel, Quantity: w.due, Ago: frame.Ago, Kept: frame.Retained}
	if r.Time.Before(border) {
		v.Ago += max(resolveAt.Sub(r.Time), 0)
	} else {
		v.At = r.Time
	}
	switch r.Content {
	case reading.Number:
		v.Raw = r.Value
	case reading.Truth:
		if r.Truth {
			v.Raw = 1
		}
	default:
		return drivers.Failed(w.channel, w.due, p.fault(drivers.Garbled, frame.Payload, fmt.Errorf("record %s has no number", w.record)))
	}
	quantity, value, ok := toBase(r.Unit, v.Raw, w.due)
	if !ok {
		return drivers.Failed(w.channel, w.due, p.fault(drivers.Settings, frame.Payload, fmt.Errorf("record %s is in %q, %s is due", w.record, r.Unit, w.due.Article())))
	}
	v.Quantity, v.Value = quantity, value
	if p.scale.Given && r.Unit == "" {
		scale := drivers.ScaleOf(p.scale, w.due)
		v.Quantity, v.Value = scale.Quantity, scale.Base(v.Raw)
	}
	if math.IsInf(v.Value, 0) {
		return drivers.Failed(w.channel, w.due, p.fault(drivers.Garbled, frame.Payload, errors.New("number beyond all numbers")))
	}
	return v
}

func (p *probe) fault(kindOf drivers.FaultKind, raw []byte, cause error) *drivers.Fault {
	return &drivers.Fault{Kind: kindOf, Part: kind, Place: "topic " + p.topicName, Raw: append([]byte(nil), raw[:min(len(raw), 256)]...), Cause: cause}
}
