package command

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math"
	"net/url"
	"strconv"
	"strings"
	"time"

	"millwarden/drivers"
	"millwarden/gateway/web"
	"millwarden/internal/calibration"
	"millwarden/internal/units"
)

// Waiting for a reading to stand still. Chosen: a look as often as a quick probe is read, and longer than the slowest electrode takes in a fresh buffer.
const (
	lookAgain    = 2 * time.Second
	patienceMost = 10 * time.Minute
)

// reference is one thing that is held to the probe.
type reference struct {
	say    string // what the technician does
	buffer string // of an electrode
	amount string // "9.5 %wb"
	point  string // "ice", "boiling"
}

// references collects flags that may stand several times, in the order in which they are written.
type references struct {
	list *[]reference
	of   func(text string) reference
	bare bool
}

func (r references) String() string   { return "" }
func (r references) IsBoolFlag() bool { return r.bare }

func (r references) Set(text string) error {
	*r.list = append(*r.list, r.of(text))
	return nil
}

// calibrate holds references to a probe of the running gateway, waits until each stands still, and has the result judged and written.
func calibrate(ctx context.Context, std IO, args []string) error {
	var list []reference
	var by, note, channel, warm *string
	g, words, err := ask("calibrate", std, args, func(f flagSet) {
		by = f.String("by", "", "who does it: a person of the rules file")
		note = f.String("note", "", "what else is to be kept: lot of the buffer, cleaning")
		channel = f.String("channel", "", "which of the probe's channels or points; without it, the first")
		warm = f.String("temperature", "", "of the buffers, where no probe tells it, for example \"21 °C\"")
		f.Var(references{&list, func(t string) reference {
			return reference{say: "Rinse the electrode, put it into fresh buffer " + t + ".", buffer: t}
		}, false}, "buffer", "a pH buffer by its bottle (4.01, 7.00, 6.86, 9.18, 10.01); its pH at its temperature is looked up. May stand several times")
		f.Var(references{&list, func(t string) reference { return reference{say: "Bring the probe to " + t + ".", amount: t} }, false}, "true",
			"a reference of known value, with its unit: \"9.5 %wb\". May stand several times")
		f.Var(references{&list, func(string) reference {
			return reference{say: "Stir the probe in crushed ice with a little clean water.", point: "ice"}
		}, true}, "ice", "melting ice: 0 °C")
		f.Var(references{&list, func(string) reference {
			return reference{say: "CAUTION: Burns. Boiling water and its steam scald. Use a stand and gloves, keep others away.\nHold the probe in water that boils hard, off the bottom.", point: "boiling"}
		}, true}, "boiling", "boiling water, at what it boils at by the site's altitude")
	})
	if err != nil {
		return err
	}
	if len(words) != 1 || *by == "" {
		return fmt.Errorf("%w: it needs a probe, --by and its references, for example: tank-1-electrode --buffer 7.00 --buffer 4.01 --by ana", errUse)
	}
	c := calibrating{gateway: g, probe: words[0], channel: *channel, out: std.Out, in: bufio.NewReader(std.In)}
	if *warm != "" {
		amount, err := units.Parse(*warm, units.Temperature)
		if err != nil {
			return fmt.Errorf("%w: --temperature needs a temperature, for example \"21 °C\"", errUse)
		}
		c.celsius = &amount.Value
	}
	if len(list) == 0 {
		return c.show(ctx)
	}
	body := web.Calibrate{Probe: words[0], Channel: *channel, By: *by, Note: *note}
	for _, r := range list {
		p, err := c.take(ctx, r)
		if err != nil {
			return err
		}
		body.Points = append(body.Points, p)
	}
	return c.finish(ctx, body)
}

// calibrating is one walk through the references of a probe.
type calibrating struct {
	gateway
	probe, channel string
	celsius        *float64
	out            io.Writer
	in             *bufio.Reader
}

func (c *calibrating) now(ctx context.Context) (web.Calibrating, error) {
	var now web.Calibrating
	err := c.get(ctx, "/api/calibration?"+url.Values{"probe": {c.probe}, "channel": {c.channel}}.Encode(), &now)
	return now, err
}

// show says how the probe stands, without touching anything.
func (c *calibrating) show(ctx context.Context) error {
	now, err := c.now(ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "%s gives %s: %s\n", now.Probe, now.Point, standing(now))
	if now.Last != 0 {
		at, err := c.times(ctx)
		if err != nil {
			return err
		}
		fmt.Fprintf(c.out, "calibrated %s\n", at.minute(now.Last))
	}
	for _, line := range []string{now.Doubt, now.Drift} {
		if line != "" {
			fmt.Fprintln(c.out, line)
		}
	}
	fmt.Fprintln(c.out, map[string]string{"electrode": "Take two buffers: --buffer 7.00 --buffer 4.01", "scale": "Take it empty and with a known mass: --true \"0 kg\" --true \"50 kg\"",
		"line": "Take one or two references: --true VALUE; a thermometer: --ice --boiling"}[now.Method])
	return nil
}

// take waits for the technician, then until the reading stands still.
func (c *calibrating) take(ctx context.Context, r reference) (web.CalibratePoint, error) {
	fmt.Fprintf(c.out, "%s\nThen press Enter.\n", r.say)
	if _, err := c.in.ReadString('\n'); err != nil {
		return web.CalibratePoint{}, fmt.Errorf("nobody pressed Enter; nothing was written: %w", err)
	}
	begun, told := time.Now(), ""
	for time.Since(begun) < patienceMost {
		now, err := c.now(ctx)
		if err != nil {
			return web.CalibratePoint{}, err
		}
		if now.Stands {
			return c.point(r, now)
		}
		if now.Why != told {
			told = now.Why
			fmt.Fprintf(c.out, "  %s, waiting: %s\n", standing(now), now.Why)
		}
		if err := drivers.Wait(ctx, lookAgain); err != nil {
			return web.CalibratePoint{}, err
		}
	}
	return web.CalibratePoint{}, fmt.Errorf("after %s it still does not stand: clean the probe, stir, keep it out of draughts; nothing was written", patienceMost)
}

// standing is what a probe gives: what is made of it, or while nothing can be, what it reads.
func standing(now web.Calibrating) string {
	if now.Blind {
		return fmt.Sprintf("%.0f counts, not calibrated yet", now.Read)
	}
	return fmt.Sprintf("%.4g %s", now.Shown, now.Unit)
}

// point makes the point of what stands.
func (c *calibrating) point(r reference, now web.Calibrating) (web.CalibratePoint, error) {
	p := web.CalibratePoint{Read: now.Read, Shown: now.Shown, Blind: now.Blind}
	if c.celsius == nil {
		c.celsius = now.Celsius
	}
	if c.celsius != nil {
		p.Celsius = *c.celsius
	}
	var err error
	switch {
	case r.point == "boiling":
		p.Reference = now.Boiling
	case r.buffer != "":
		p.Reference, err = c.buffer(r.buffer, now)
	case r.amount != "":
		p.Reference, err = amountIn(r.amount, now.Unit)
	}
	if err != nil {
		return p, err
	}
	if p.Blind {
		fmt.Fprintf(c.out, "  taken: %s, %.4g %s is right\n", standing(now), p.Reference, now.Unit)
		return p, nil
	}
	fmt.Fprintf(c.out, "  taken: %.4g %s shown, %.4g is right, %+.2g off\n", p.Shown, now.Unit, p.Reference, p.Shown-p.Reference)
	return p, nil
}

// buffer is the pH of a buffer at its temperature: by the table, or the number itself where the bottle has a table of its own.
func (c *calibrating) buffer(name string, now web.Calibrating) (float64, error) {
	if ph, known := now.Buffers[name]; known {
		return ph, nil
	}
	ph, err := strconv.ParseFloat(name, 64)
	if err != nil || !(ph > 0 && ph < 14) {
		return 0, fmt.Errorf("%w: %q is no buffer; write what stands on its bottle, for example 7.00", errUse, name)
	}
	if c.celsius == nil {
		return 0, fmt.Errorf("%w: of what temperature is the buffer? No probe tells it: --temperature \"21 °C\"", errUse)
	}
	if table, err := calibration.Buffer(name, *c.celsius); err == nil {
		return table, nil
	}
	return ph, nil
}

// amountIn reads an amount that must be of the quantity of a base unit.
func amountIn(text, unit string) (float64, error) {
	for _, u := range units.Lookup(unit) {
		if amount, err := units.Parse(text, u.Quantity); err == nil && !math.IsNaN(amount.Value) {
			return amount.Value, nil
		}
	}
	return 0, fmt.Errorf("%w: %q is none of its values; it reads %s", errUse, text, unit)
}

func (c *calibrating) finish(ctx context.Context, body web.Calibrate) error {
	var done web.Calibrated
	if err := c.postFor(ctx, "/api/calibration", body, &done); err != nil {
		return err
	}
	found := make([]string, 0, len(done.Found))
	for _, e := range done.Found {
		found = append(found, fmt.Sprintf("%+.3g", e))
	}
	fmt.Fprintf(c.out, "as found: off by %s\n", strings.Join(found, ", "))
	if !done.Accepted {
		fmt.Fprintf(c.out, "REFUSED: %s\nWhat held before holds on; readings are uncertain until a calibration is accepted. It was written down.\n", done.Left.Refused)
		return errFaults
	}
	switch {
	case done.Left.Slope != 0:
		fmt.Fprintf(c.out, "as left: slope %.1f %%, zero %.4g in the part's own unit\n", done.Left.Slope, done.Left.Offset)
	case done.Left.Gain != 0:
		fmt.Fprintf(c.out, "as left: x %.4f %+.3g\n", done.Left.Gain, done.Left.Shift)
	}
	for _, line := range []string{done.Left.Warning, done.Drift} {
		if line != "" {
			fmt.Fprintln(c.out, line)
		}
	}
	if done.Due != 0 {
		at, err := c.times(ctx)
		if err != nil {
			return err
		}
		fmt.Fprintf(c.out, "next due %s\n", at.in(done.Due, "2006-01-02"))
	}
	return nil
}
