package check

import (
	"slices"
	"strings"
	"time"

	"millwarden/internal/diag"
	"millwarden/internal/phrase"
	"millwarden/internal/units"
	"millwarden/rules/syntax"
)

// bus is a bus of the file, or one of the host's own that something hangs on.
type bus struct {
	*block // nil: the host's own
	name   string
	word   string // the slot it fills
	kind   *phrase.Declaration
	plan   Bus
}

// probe is one probe on the way to the plan.
type probe struct {
	*block
	name        string
	part        *phrase.Declaration
	plan        Probe
	lines       map[string]*syntax.Line // declared lines that stood
	compensated []found                 // POINT slots
	channels    []channelRead
}

// channelRead is one channel of a part as set up by its lines.
type channelRead struct {
	name     string
	quantity units.Quantity
	any      bool
	rng      *Range
	aside    bool
}

func (c *checker) checkBuses() {
	for _, b := range c.of("bus") {
		name := busKey(b.board, b.Name.Word())
		if c.buses[name] != nil || !b.Name.Given() {
			continue
		}
		d := c.words.busKinds[b.Kind.Word()]
		n := &bus{block: b, name: name, kind: d, plan: Bus{Name: name, Title: titleOf(b), Kind: b.Kind.Word(), Note: text(b, "note"), Remote: b.board != ""}}
		if d != nil {
			n.word = d.Word
		} else if b.Kind.Given() {
			nearKind := near(b.Kind.Word(), c.words.busNames)
			c.say("22", b.Kind.Where(), facts{"what": "kind of bus", "name": b.Kind.Text(), "near": nearKind,
				"why": orElse(nearKind, "Kinds: "+strings.Join(c.words.busNames, ", ")+". The host's own buses need no block.")})
		}
		c.buses[name] = n
	}
	for _, b := range c.of("bus") {
		n := c.buses[busKey(b.board, b.Name.Word())]
		if n == nil || n.block != b {
			continue
		}
		if n.kind != nil {
			n.plan.Settings = c.settings(b, n.kind, n.kind.Name, nil)
		}
		c.plan.Buses = append(c.plan.Buses, n.plan)
	}
}

// busNamed checks that a bus of that name is there and fills the slot. Wrong ones are said about what needs it.
func (c *checker) busNamed(t syntax.Token, word, needs, board string) bool {
	name := t.Word()
	key := busKey(board, name)
	have := c.words.hostWord(name)
	if b := c.buses[key]; b != nil {
		if b.word == "" {
			return false // its kind is unknown, which was said
		}
		have = b.word
	}
	switch have {
	case word:
		c.hostBus(key, word)
		return true
	case "":
		var names []string
		for _, n := range sortedKeys(c.buses) {
			names = append(names, strings.TrimPrefix(n, busKey(board, "")))
		}
		n := near(name, names)
		c.say("22", t.Where(), facts{"what": "bus", "name": name, "near": n, "why": orElse(n, sentence(needs+" needs "+busExample(word)))})
	default:
		c.say("29", t.Where(), facts{"part": needs, "bus": name, "list": busExample(word)})
	}
	return false
}

// busExample names the buses that fill a slot.
func busExample(word string) string {
	switch word {
	case "I2C":
		return "an I2C bus, for example i2c-1"
	case "SPI":
		return "an SPI bus, for example spi-0"
	case "GPIO":
		return "a line of a GPIO chip, for example gpiochip0"
	case "IIO":
		return "iio"
	case "HWMON":
		return "hwmon"
	default:
		return "a bus block of kind serial"
	}
}

// busKey is the name of a bus in the plan: those of other boards carry the board's.
func busKey(board, name string) string {
	if board == "" {
		return name
	}
	return board + "/" + name
}

// hostBus notes one of a host's own buses.
func (c *checker) hostBus(key, kind string) {
	if c.buses[key] == nil {
		c.buses[key] = &bus{name: key, word: kind, plan: Bus{Name: key, Title: key, Kind: kind, Host: true, Remote: strings.Contains(key, "/")}}
		c.plan.Buses = append(c.plan.Buses, c.buses[key].plan)
	}
}

func (c *checker) checkProbes() {
	for _, b := range c.of("probe") {
		name := b.Name.Word()
		if c.probes[name] != nil || !b.Name.Given() {
			continue
		}
		p := &probe{block: b, name: name, lines: map[string]*syntax.Line{}}
		p.plan = Probe{Name: name, Title: titleOf(b), Every: 10 * time.Second, Slope: 1, Mounted: text(b, "mounted"), Note: text(b, "note"),
			Remote: b.board != "", File: b.Name.File(), Line: b.Name.Line()}
		c.probes[name] = p
		c.probeList = append(c.probeList, p)
		c.probeTimes(p)
		wants := c.wanted(p)
		c.probePart(p, wants)
		c.probeGives(p)
		c.probeCorrections(p)
	}
}

// farOverdue is the least for a point of another board, whose newest readings come by the broker every 5 s at most. Chosen: three of them.
const farOverdue = 15 * time.Second

func (c *checker) probeTimes(p *probe) {
	if d, ok := c.duration(p.block, "every"); ok {
		p.plan.Every = d
	}
	p.plan.OverdueAfter = max(3*p.plan.Every, 2*time.Second)
	if d, ok := c.duration(p.block, "overdue-after"); ok {
		l := line(p.block, "overdue-after")
		if d <= p.plan.Every {
			c.wrong(l, amountOf(l).Where(), "")
		} else {
			p.plan.OverdueAfter = d
		}
	}
	if p.board != "" {
		p.plan.OverdueAfter = max(p.plan.OverdueAfter, farOverdue)
	}
	p.plan.FrozenAfter = c.perhaps(p.block, "frozen-after")
	p.plan.CalibrateEvery = c.perhaps(p.block, "calibrate-every")
}

// wanted are the quantities that the kinds ask for at the points this probe feeds.
func (c *checker) wanted(p *probe) []units.Quantity {
	var wants []units.Quantity
	for _, l := range p.Find("gives") {
		g, ok := l.Value.(*syntax.Gives)
		if !ok {
			continue
		}
		s := c.stations[g.Station.Word()]
		if s == nil || s.kind == nil {
			continue
		}
		for _, t := range g.Points {
			if k, ok := s.kind.Point(t.Word()); ok && !k.Any {
				wants = append(wants, k.Quantity)
			}
		}
	}
	return wants
}

func (c *checker) probePart(p *probe, wants []units.Quantity) {
	l := line(p.block, "part")
	if l == nil {
		return
	}
	pieces, ok := l.Value.(*syntax.Pieces)
	if !ok || len(pieces.List) == 0 {
		return
	}
	head := pieces.List[0]
	d := c.words.parts[head.Word()]
	if d == nil {
		n := near(head.Word(), c.words.partNames)
		c.say("22", head.Where(), facts{"what": "part", "name": head.Text(), "near": n, "why": orElse(n, "Parts: "+strings.Join(c.words.partNames, ", ")+".")})
		return
	}
	p.part, p.plan.Part = d, d.Name
	written := strings.TrimSpace("part " + d.Name + " " + d.Place.String())
	m := &matcher{c: c, name: "part " + d.Name, owner: d.Name, key: head, tokens: pieces.List[1:], written: written}
	placed := m.matchLine(d.Place)
	p.plan.Place = m.slots
	for _, f := range m.found {
		placed = c.placeSlot(p, d, f) && placed
	}
	p.plan.Settings = c.settingsFound(p.block, d, d.Name, wants, func(_ string, f found) {
		if f.element.Text == "POINT" {
			p.compensated = append(p.compensated, f)
		}
	})
	for _, l := range p.Lines {
		if _, declared := d.Phrase(l.Key.Word()); declared && p.lines[l.Key.Word()] == nil {
			p.lines[l.Key.Word()] = l
		}
	}
	if p.plan.Bus == "" && len(d.Place) == 0 {
		p.plan.Bus = ByHand
	}
	if placed {
		c.readTwice(p, d, pieces)
	}
	p.channels = c.channelsOf(p, d)
}

func (c *checker) placeSlot(p *probe, d *phrase.Declaration, f found) bool {
	var kind string
	switch word := f.element.Text; word {
	case "I2C", "SPI", "GPIO", "IIO", "HWMON", "BUS":
		p.plan.Bus = busKey(p.board, f.token.Word())
		return c.busNamed(f.token, word, d.Name, p.board)
	case "HOST":
		p.plan.Bus, kind = tcpBus(f.token.Text()), "tcp"
	case "TOPIC":
		p.plan.Bus, kind = "broker", "broker"
	case "ID":
		id, ok := c.wireID(d.Name, f.token)
		if !ok {
			return false
		}
		p.plan.Place[f.index].Text = id
		p.plan.Bus, kind = "onewire", "onewire"
	default:
		return true
	}
	p.plan.Bus = busKey(p.board, p.plan.Bus)
	if c.buses[p.plan.Bus] == nil {
		c.hostBus(p.plan.Bus, kind)
		if kind == "tcp" {
			c.plan.Buses[len(c.plan.Buses)-1].Address = f.token.Text()
		}
	}
	return true
}

// tcpBus is the name of the bus that a device on the network is: "tcp-192-0-2-20-502", fit to be a topic level.
func tcpBus(host string) string {
	return "tcp-" + strings.Trim(strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, strings.ToLower(host)), "-")
}

// ByHand stands in place of a bus where people are the probe, and is the name of that part.
const ByHand = "by-hand"

// readTwice says if another probe reads the same input.
func (c *checker) readTwice(p *probe, d *phrase.Declaration, pieces *syntax.Pieces) {
	if len(d.Place) == 0 {
		return
	}
	address := placeText(p.plan)
	input, at := d.Name, pieces.List[0].Where()
	where := p.board + "|" + address
	for _, key := range d.Shares {
		found, ok := p.plan.Settings.Find(key)
		if !ok || len(found.Slots) == 0 {
			return // refused, which was said
		}
		where += "|" + found.Slots[0].Text
		input = found.Slots[0].Text + " of " + d.Name
		if l := p.lines0(key); l != nil && len(l.Tokens()) > 0 {
			at = l.Tokens()[0].Where()
		}
	}
	// one part at one place may serve several probes, but two parts cannot stand at one place
	if other := c.inputs[p.board+"|"+address]; other != nil && other.part != d {
		c.say("31", pieces.List[0].Where(), facts{"input": d.Name, "address": address, "other": other.name, "place": other.Name.Where().Position.String()})
		return
	}
	if other := c.inputs[where]; other != nil {
		c.say("31", at, facts{"input": input, "address": address, "other": other.name, "place": other.Name.Where().Position.String()})
		return
	}
	c.inputs[where] = p
	if c.inputs[p.board+"|"+address] == nil {
		c.inputs[p.board+"|"+address] = p
	}
}

func (p *probe) lines0(key string) *syntax.Line {
	if found := p.Find(key); len(found) > 0 {
		return found[0]
	}
	return nil
}

// placeText writes the place of a part: "i2c-1 0x48".
func placeText(p Probe) string {
	var words []string
	for _, s := range p.Place {
		if s.Given && !slices.Contains(words, s.Text) {
			words = append(words, s.Text)
		}
	}
	return strings.Join(words, " ")
}

// channelsOf lists what a part reads as its lines set it up.
func (c *checker) channelsOf(p *probe, d *phrase.Declaration) []channelRead {
	var list []channelRead
	for _, r := range d.Reads {
		switch {
		case r.Each != "":
			list = append(list, eachChannel(p, d, r.Each)...)
			if p.lines[r.Each] == nil && !slices.ContainsFunc(d.Phrases, func(f phrase.Phrase) bool { return hasChannel(f.Pattern) && p.lines[f.Key] != nil }) {
				list = append(list, wholeChannel(p, d))
			}
		case r.Ends != "":
			if l, ok := p.plan.Settings.Find(r.Ends); ok && p.lines[r.Ends] != nil {
				if ch := endsChannel(r.Channel, l); ch.quantity != units.None { // else the line was refused
					list = append(list, ch)
				}
			}
		case r.With == "" || p.lines[r.With] != nil:
			ch := channelRead{name: r.Channel, quantity: r.Quantity, any: r.Any, aside: r.Aside}
			if r.Bounded {
				ch.rng = &Range{r.Low, r.High}
			}
			list = append(list, ch)
		}
	}
	return list
}

func hasChannel(p phrase.Pattern) bool {
	for i := range p {
		if p[i].Text == "CHANNEL" || hasChannel(p[i].Inner) {
			return true
		}
	}
	return false
}

// eachChannel gives one channel for each line that names one: `register … x 0.1 °C is temperature`. A line other than the one of `reads each`, without
// an amount, is a contact.
func eachChannel(p *probe, d *phrase.Declaration, each string) []channelRead {
	var list []channelRead
	for _, l := range p.plan.Settings {
		f, ok := d.Phrase(l.Key)
		if !ok || !hasChannel(f.Pattern) || len(l.Slots) == 0 {
			continue
		}
		ch := channelRead{name: l.Slots[len(l.Slots)-1].Text, any: true}
		if worth, has := amountSlot(f.Pattern, l); !has && l.Key != each {
			ch.quantity, ch.any, ch.rng = units.State, false, &Range{0, 1} // a contact
		} else if worth.Given && worth.Unit != "" {
			ch.quantity, ch.any = worth.Amount.Quantity, false
		}
		list = append(list, ch)
	}
	return list
}

// amountSlot finds the slot of AMOUNT in a line; has tells whether its pattern has one.
func amountSlot(p phrase.Pattern, l phrase.Line) (s phrase.Slot, has bool) {
	index := 0
	var walk func(phrase.Pattern)
	walk = func(p phrase.Pattern) {
		for i := range p {
			switch e := &p[i]; {
			case e.Kind == phrase.SlotOf:
				if e.Text == "AMOUNT" && index < len(l.Slots) {
					s, has = l.Slots[index], true
				}
				index++
			case e.Kind == phrase.Choice:
				index++
				for _, o := range e.Options {
					walk(o)
				}
			case e.Kind == phrase.Optional && e.Bare():
				index++
			default:
				walk(e.Inner)
			}
		}
	}
	walk(p)
	return s, has
}

// wholeChannel is what a part reads that names no channels itself: a radio probe's own names, or the one number it sends.
func wholeChannel(p *probe, d *phrase.Declaration) channelRead {
	for _, l := range p.plan.Settings {
		f, ok := d.Phrase(l.Key)
		if !ok {
			continue
		}
		if worth, has := amountSlot(f.Pattern, l); has && worth.Given && worth.Unit != "" {
			return channelRead{name: "", quantity: worth.Amount.Quantity}
		}
	}
	return channelRead{any: true}
}

// endsChannel takes quantity and range from the amounts of a line: `loop 4-20 mA is 5 %wb .. 25 %wb`, `table 400 mV is 8 %wb, …`,
// `pulse 0.2 mm`.
func endsChannel(name string, l phrase.Line) channelRead {
	ch := channelRead{name: name}
	var ends []float64
	for _, s := range l.Slots {
		q := s.Amount.Quantity
		if !s.Given || q == units.None || s.Unit == "" && q != units.Count {
			continue // not one of the ends
		}
		ch.quantity = q
		ends = append(ends, s.Amount.Value)
	}
	if len(ends) >= 2 {
		ch.rng = &Range{slices.Min(ends), slices.Max(ends)}
	}
	return ch
}

func (c *checker) probeGives(p *probe) {
	taken := map[string]bool{}
	for _, l := range p.Find("gives") {
		g, ok := l.Value.(*syntax.Gives)
		if !ok || !g.Station.Given() {
			continue
		}
		s, ok := c.stationNamed(g.Station)
		if !ok {
			continue
		}
		for _, t := range g.Points {
			c.give(p, s, t, g.As, taken)
		}
	}
}

// give joins one point to the channel that feeds it.
func (c *checker) give(p *probe, s *station, t, as syntax.Token, taken map[string]bool) {
	name := t.Word()
	full := s.name + "/" + name
	if other := c.points[full]; other != nil {
		if other.probe != nil {
			c.say("32", t.Where(), facts{"point": full, "other": other.probe.name, "place": other.at.String(), "y": "second-" + name})
		}
		return
	}
	pt := &point{full: full, short: name, station: s, at: t.Where().Position, how: Measured, probe: p, keep: true}
	if p.board != "" {
		pt.how = Remote
	}
	if s.kind == nil || p.part == nil || p.part != nil && len(p.channels) == 0 {
		pt.unsure = true // its kind or part is unknown, which was said
		c.addPoint(pt)
		return
	}
	known, isKnown := s.kind.Point(name)
	if isKnown && known.Computed {
		c.say("23", t.Where(), facts{"name": name, "y": "measured-" + name})
		return
	}
	if !isKnown {
		c.misspelt(s, t)
	}
	ch, ok := c.channelFor(p, s, t, as, known, isKnown, taken)
	if !ok {
		pt.unsure = true
		c.addPoint(pt)
		return
	}
	taken[ch.name] = true
	switch {
	case isKnown:
		pt.quantity = known.Quantity
	case ch.any:
		pt.quantity = c.ownQuantity(p, name)
	default:
		pt.quantity = ch.quantity
	}
	pt.rng = ch.rng
	if pt.rng == nil && isKnown && known.Bounded {
		pt.rng = &Range{known.Low, known.High}
	}
	if pt.quantity == units.State {
		pt.rng = &Range{0, 1}
	}
	c.addPoint(pt)
	if ch.name == "" {
		ch.name = name
	}
	give := Give{Point: full, Station: s.name, Channel: ch.name, Quantity: pt.quantity}
	if pt.rng != nil {
		give.Range = *pt.rng
	}
	p.plan.Gives = append(p.plan.Gives, give)
}

// ownQuantity is what a point is of whose name the kind of its station does not know, where the part reads anything: what the name is of at all kinds that know
// it, else what the probe's range is of, else a plain number.
func (c *checker) ownQuantity(p *probe, name string) units.Quantity {
	elsewhere := map[units.Quantity]bool{}
	for _, kind := range c.words.kinds {
		if known, is := kind.Point(name); is && !known.Any {
			elsewhere[known.Quantity] = true
		}
	}
	for q := range elsewhere {
		if len(elsewhere) == 1 {
			return q
		}
	}
	if l := line(p.block, "range"); l != nil {
		if v, ok := l.Value.(*syntax.Between); ok {
			if meant := units.Lookup(v.High.Measures[0].Unit.Text()); len(meant) > 0 {
				return meant[0].Quantity
			}
		}
	}
	return units.Count
}

// misspelt is message 81: a name so near to one that models look for is probably meant for it.
func (c *checker) misspelt(s *station, t syntax.Token) {
	var names []string
	for _, k := range s.kind.Points {
		if !k.Computed {
			names = append(names, k.Name)
		}
	}
	if known := diag.Near(t.Word(), names); known != "" {
		c.say("81", t.Where(), facts{"name": t.Text(), "known": known, "kind": s.kind.Name})
	}
}

// channelFor finds the channel of a point: the one named by `as`, else by quantity, else by name.
func (c *checker) channelFor(p *probe, s *station, t, as syntax.Token, known phrase.Point, isKnown bool, taken map[string]bool) (channelRead, bool) {
	fitting := func(ch channelRead) bool { return ch.any || !isKnown || known.Any || ch.quantity == known.Quantity }
	if as.Given() {
		i := slices.IndexFunc(p.channels, func(ch channelRead) bool { return ch.name == as.Word() })
		if i < 0 {
			n := near(as.Word(), channelNames(p.channels))
			c.say("22", as.Where(), facts{"what": "channel", "name": as.Word(), "near": n, "why": orElse(n, p.part.Name+" reads "+readsList(p.channels)+".")})
			return channelRead{}, false
		}
		if !fitting(p.channels[i]) {
			c.cannotGive(p, s, t, known)
			return channelRead{}, false
		}
		return resolved(p.channels[i], t, known, isKnown), true
	}
	var fit []channelRead
	for _, ch := range p.channels {
		if fitting(ch) && !ch.aside && (ch.any || !taken[ch.name]) {
			fit = append(fit, ch)
		}
	}
	for _, ch := range fit {
		if ch.name == t.Word() {
			return resolved(ch, t, known, isKnown), true
		}
	}
	switch {
	case len(fit) == 0:
		c.cannotGive(p, s, t, known)
		return channelRead{}, false
	case len(fit) > 1:
		c.say("35", t.Where(), facts{"point": t.Word(), "part": p.part.Name, "list": readsList(fit), "y": fit[0].name})
		return channelRead{}, false
	}
	return resolved(fit[0], t, known, isKnown), true
}

// resolved gives a channel of any quantity that of its point.
func resolved(ch channelRead, t syntax.Token, known phrase.Point, isKnown bool) channelRead {
	if ch.any && isKnown {
		ch.quantity = known.Quantity
	}
	if ch.any && ch.name == "" {
		ch.name = t.Word()
	}
	if ch.any && ch.quantity == units.None {
		ch.quantity = units.Count
	}
	return ch
}

func channelNames(list []channelRead) []string {
	var names []string
	for _, ch := range list {
		names = append(names, ch.name)
	}
	return names
}

func (c *checker) cannotGive(p *probe, s *station, t syntax.Token, known phrase.Point) {
	quantity := known.Quantity.Article()
	if known.Quantity == units.None {
		quantity = "not known"
	}
	c.say("33", t.Where(), facts{"part": p.part.Name, "point": t.Word(), "kind": article(s.kind.Name), "quantity": quantity, "list": readsList(p.channels)})
}

// readsList names what a part reads: "a temperature", or with several channels "temperature (a temperature), junction (…)".
func readsList(list []channelRead) string {
	var words []string
	for _, ch := range list {
		if ch.any {
			words = append(words, "anything")
			continue
		}
		if word := ch.quantity.Article(); !slices.Contains(words, word) {
			words = append(words, word)
		}
	}
	if len(words) == 0 {
		return "nothing"
	}
	return strings.Join(words, ", ")
}

// probeCorrections reads range, rate-limit, offset and slope, which are of the quantity that the probe gives.
func (c *checker) probeCorrections(p *probe) {
	q := units.None
	if len(p.plan.Gives) > 0 {
		q = p.plan.Gives[0].Quantity
	}
	c.probeRange(p)
	if l := line(p.block, "rate-limit"); l != nil && q != units.None {
		if a := amountOf(l); a != nil {
			p.plan.RateLimit = c.amountFor(a, q.Rate(), "rate-limit")
		}
	}
	if l := line(p.block, "offset"); l != nil && q != units.None {
		if a := amountOf(l); a != nil && !(a.Plain() && c.plainIn(a, q.Step(), &p.plan.Offset)) {
			p.plan.Offset = c.amountFor(a, q.Step(), "offset")
		}
	}
	if l := line(p.block, "slope"); l != nil {
		t, ok := valueToken(l)
		if a := amountOf(l); a != nil && a.Plain() {
			t, ok = a.Measures[0].Number, true
		}
		if ok {
			if n, isNumber := c.number(t); isNumber && c.inside(l, t, n, units.Count) {
				p.plan.Slope = n
			}
		}
	}
	c.compareEvery(p)
}

// plainIn takes a number without a unit in the base unit of q.
func (c *checker) plainIn(a *syntax.Amount, q units.Quantity, into **units.Amount) bool {
	n, ok := c.number(a.Measures[0].Number)
	if ok {
		*into = &units.Amount{Value: n, Quantity: q}
	}
	return ok
}

func (c *checker) amountFor(a *syntax.Amount, q units.Quantity, key string) *units.Amount {
	value, ok := c.convert(a, q, key)
	if !ok {
		return nil
	}
	return &units.Amount{Value: value, Quantity: q}
}

// probeRange narrows what the channels can read. A probe of several quantities is narrowed where the unit fits.
func (c *checker) probeRange(p *probe) {
	l := line(p.block, "range")
	if l == nil {
		return
	}
	v, ok := l.Value.(*syntax.Between)
	if !ok || len(p.plan.Gives) == 0 {
		return
	}
	unit := v.High.Measures[0].Unit.Text()
	i := slices.IndexFunc(p.plan.Gives, func(g Give) bool {
		_, fits := units.Choose(unit, g.Quantity)
		return fits || unit == "" && takesPlain(g.Quantity)
	})
	i = max(i, 0)
	g := &p.plan.Gives[i]
	lowAmount := v.Low
	if lowAmount.Plain() && unit != "" { // the low end leaves its unit to the high one
		lowAmount = &syntax.Amount{Measures: []syntax.Measure{{Number: v.Low.Measures[0].Number, Unit: v.High.Measures[0].Unit}}}
	}
	low, ok := c.convert(lowAmount, g.Quantity, "range")
	if !ok {
		return // one word about one line
	}
	high, ok := c.convert(v.High, g.Quantity, "range")
	if !ok {
		return
	}
	if low >= high {
		c.say("28", v.Where(), facts{"key": "range", "y": v.High.String() + " .. " + v.Low.String()})
		return
	}
	p.plan.Range = &Range{low, high}
	g.Range = Range{low, high}
	c.points[g.Point].rng = &g.Range
}

// compareEvery says W19: an electrode drifts.
func (c *checker) compareEvery(p *probe) {
	if !p.plan.CalibrateEvery.Given || p.plan.CalibrateEvery.For != 0 || !p.ours() {
		return
	}
	if slices.ContainsFunc(p.plan.Gives, func(g Give) bool { return g.Quantity == units.PH }) {
		c.say("W19", line(p.block, "calibrate-every").Key.Where(), facts{"part": p.plan.Part})
	}
}

// checkCompensation looks at the points that probes lean on, now that all points are known.
func (c *checker) checkCompensation() {
	for _, p := range c.probeList {
		for _, f := range p.compensated {
			want, _ := units.ByName(f.element.Of)
			ref := f.token.Word()
			pt, ok := c.pointNamed(f.token, nil)
			if !ok {
				continue
			}
			if pt.quantity != want && !pt.unsure {
				known := facts{"x": ref, "qb": pt.quantity.Article(), "key": c.keyWith(p, f), "qa": want.Article()}
				for _, other := range pt.station.ordered(c) {
					if other.quantity == want && other.how != Computed {
						known["y"] = other.full
						break
					}
				}
				if known["y"] == "" {
					known["y"] = "tank-1/temperature"
				}
				c.say("79", f.token.Where(), known)
				continue
			}
			p.plan.Compensated = pt.full
		}
	}
}

// keyWith is the key of the line in which a slot was found.
func (c *checker) keyWith(p *probe, f found) string {
	for _, l := range p.Lines {
		if l.Key.Line() == f.token.Line() {
			return l.Key.Word()
		}
	}
	return "part"
}

// maxPairs of a table, chosen in the language.
const maxPairs = 64

// tableRises is message 36: the left sides of a table must rise.
func (c *checker) tableRises(l *syntax.Line, slots []phrase.Slot) bool {
	if pairs := len(slots) / 2; pairs > maxPairs {
		c.say("75", l.Key.Where(), facts{"what": "pairs of a table:", "n": trimmed(float64(pairs)), "max": trimmed(maxPairs), "why": "Leave out pairs that lie on the line of their neighbours."})
		return false
	}
	if len(slots) < 4 {
		c.say("36", l.Value.Where(), nil)
		return false
	}
	for i := 2; i < len(slots); i += 2 {
		if slots[i].Amount.Value > slots[i-2].Amount.Value {
			continue
		}
		c.say("36", pairAt(l, i/2), nil)
		return false
	}
	return true
}

// pairAt is the place of the left side of pair n.
func pairAt(l *syntax.Line, n int) diag.Range {
	for i, t := range l.Tokens() {
		if n == 0 {
			r := t.Where()
			if i+1 < len(l.Tokens()) && l.Tokens()[i+1].Kind == syntax.Unit && l.Tokens()[i+1].Line() == r.Line {
				u := l.Tokens()[i+1].Where()
				r.Width = u.Column + u.Width - r.Column
			}
			return r
		}
		if t.Kind == syntax.Comma {
			n--
		}
	}
	return l.Key.Where()
}
