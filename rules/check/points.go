package check

import (
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"millwarden/internal/diag"
	"millwarden/internal/phrase"
	"millwarden/internal/units"
	"millwarden/rules/formula"
	"millwarden/rules/syntax"
)

// point is one point on the way to the plan.
type point struct {
	full     string
	short    string
	station  *station // nil: of a bus, channel, probe or point
	owner    string   // the place before the last level
	at       diag.Position
	how      How
	quantity units.Quantity
	rng      *Range
	probe    *probe
	from     []string
	keep     bool
	formerly string
	title    string
	unsure   bool        // its quantity could not be told, which was said
	used     atomic.Bool // several alarms are looked at side by side
	gone     bool        // its station lacks what it is worked out from
	every    time.Duration
	// of derived points
	block   *block
	formula *formula.Node
	state   uint8 // 0 not looked at, 1 under way, 2 done
}

func (c *checker) addPoint(p *point) {
	if p.station != nil {
		p.owner = p.station.name
		p.station.points[p.short] = p
	}
	c.points[p.full] = p
	c.pointList = append(c.pointList, p)
}

// ordered gives the station's points in the order they came.
func (s *station) ordered(c *checker) []*point {
	var list []*point
	if s == nil {
		return nil
	}
	for _, p := range c.pointList {
		if p.station == s {
			list = append(list, p)
		}
	}
	return list
}

// addComputed adds what models and the gateway itself work out: a point stands if all it is worked out from stands. Points that a
// `point` block will give count as standing.
func (c *checker) addComputed() {
	derived := map[string]bool{}
	for _, b := range c.of("point") {
		for _, s := range c.scopeStations(b, false) {
			derived[s.name+"/"+b.Name.Word()] = true
			c.addDerived(b, s)
		}
	}
	for _, s := range c.order {
		if s.kind == nil {
			continue
		}
		for _, k := range s.kind.Points {
			if !k.Computed || s.points[k.Name] != nil {
				continue
			}
			if slices.ContainsFunc(k.From, func(input string) bool { return s.points[input] == nil }) {
				continue
			}
			var from []string
			for _, input := range k.From {
				from = append(from, s.points[input].full)
			}
			c.addPoint(&point{full: s.name + "/" + k.Name, short: k.Name, station: s, how: Computed, quantity: k.Quantity, from: from, keep: true})
		}
	}
	c.addAbout("bus", c.busPlaces())
	c.addAbout("channel", c.channelPlaces())
	c.addAbout("probe", c.probePlaces())
}

// addDerived adds a derived point; its formula is looked at when it is first used.
func (c *checker) addDerived(b *block, s *station) {
	name := b.Name.Word()
	full := s.name + "/" + name
	if old := c.points[full]; old != nil {
		place := old.at
		by := "probe " + s.name
		if old.probe != nil {
			by = old.probe.name
		} else if old.block != nil {
			by = "point " + name
		}
		c.say("32", b.Name.Where(), facts{"point": full, "other": by, "place": place.String(), "y": "second-" + name})
		return
	}
	if s.kind != nil {
		if k, ok := s.kind.Point(name); ok && k.Computed {
			c.say("23", b.Name.Where(), facts{"name": name, "y": "own-" + name})
			return
		}
	}
	p := &point{full: full, short: name, station: s, at: b.Name.Where().Position, how: Derived, block: b, keep: flag(b, "keep", true), every: time.Second,
		title: text(b, "title")}
	if d, ok := c.duration(b, "every"); ok {
		p.every = d
	}
	if l := line(b, "formerly"); l != nil {
		p.formerly = valueWord(l)
	}
	c.addPoint(p)
}

// addAbout adds the points of buses, channels and probes.
func (c *checker) addAbout(each string, places []string) {
	d := c.words.each[each]
	if d == nil {
		return
	}
	for _, place := range places {
		for _, k := range d.Points {
			if each == "probe" && !c.probeHas(c.probes[place], k.Name) || each == "channel" && !c.channelHas(place, k.Name) || c.points[place+"/"+k.Name] != nil {
				continue
			}
			c.addPoint(&point{full: place + "/" + k.Name, short: k.Name, owner: place, how: Computed, quantity: k.Quantity, keep: true})
		}
	}
}

// probeHas tells which points about a probe can ever have a value: only electrodes have a slope, only radio probes a battery, only what
// is calibrated can be due, only what people read is entered.
func (c *checker) probeHas(p *probe, name string) bool {
	electrode := slices.ContainsFunc(p.plan.Gives, func(g Give) bool { return g.Quantity == units.PH })
	no := p.plan.CalibrateEvery.Given && p.plan.CalibrateEvery.For == 0
	switch name {
	case "slope":
		return electrode
	case "entry-due-in":
		return p.plan.Bus == ByHand
	case "battery", "signal":
		return p.plan.Bus == "broker"
	default:
		return (electrode || p.plan.CalibrateEvery.For > 0) && !no
	}
}

// channelHas tells which points about a channel can ever have a value: only a modem has a signal, a network and a card.
func (c *checker) channelHas(channel, name string) bool {
	switch name {
	case "signal", "registered", "card-works":
		return slices.ContainsFunc(c.of("channel"), func(b *block) bool { return b.Name.Word() == channel && line(b, "modem") != nil })
	}
	return true
}

func (c *checker) busPlaces() []string {
	var names []string
	for _, b := range c.plan.Buses {
		if !b.Remote {
			names = append(names, b.Name)
		}
	}
	return names
}

func (c *checker) channelPlaces() []string {
	var names []string
	for _, b := range c.of("channel") {
		if b.ours() && b.Name.Given() {
			names = append(names, b.Name.Word())
		}
	}
	return names
}

func (c *checker) probePlaces() []string {
	var names []string
	for _, p := range c.probeList {
		if p.board == "" {
			names = append(names, p.name)
		}
	}
	return names
}

// scopeStations are the stations that a scope names. With tell, wrong names are said.
func (c *checker) scopeStations(b *block, tell bool) []*station {
	s := b.Scope
	var list []*station
	for _, t := range s.At {
		if st := c.stations[t.Word()]; st != nil {
			list = append(list, st)
		} else if tell && !c.isPlace(t.Word()) {
			c.stationNamed(t)
		}
	}
	except := map[string]bool{}
	for _, t := range s.Except {
		except[t.Word()] = true
		if tell && c.stations[t.Word()] == nil && !c.isPlace(t.Word()) {
			c.stationNamed(t)
		}
	}
	if tell && s.In.Given() && c.areas[s.In.Word()] == nil && s.In.Word() != noArea {
		c.unknownArea(s.In)
	}
	for _, t := range s.Each {
		kind := t.Word()
		if c.words.kinds[kind] == nil {
			if tell && c.words.each[kind] == nil {
				known := append(slices.Clone(c.words.kindNames), "bus", "channel", "probe", "point")
				n := near(kind, known)
				c.say("22", t.Where(), facts{"what": "kind of station", "name": kind, "near": n, "why": orElse(n, "Kinds: "+strings.Join(known, ", ")+".")})
			}
			continue
		}
		for _, st := range c.order {
			if st.kindName() == kind && !except[st.name] && (!s.In.Given() || st.area == s.In.Word()) {
				list = append(list, st)
			}
		}
	}
	return list
}

func (c *checker) unknownArea(t syntax.Token) {
	var names []string
	for _, a := range c.plan.Areas {
		names = append(names, a.Name)
	}
	n := near(t.Word(), names)
	c.say("22", t.Where(), facts{"what": "area", "name": t.Word(), "near": n, "why": orElse(n, "Write a block: area "+t.Word()+".")})
}

// isPlace tells whether a name is a bus, channel or probe.
func (c *checker) isPlace(name string) bool {
	return c.buses[name] != nil || c.probes[name] != nil || slices.Contains(c.channelPlaces(), name)
}

// pointNamed finds the point of a reference, or says why there is none. skip, if not nil, is told instead of a station of a kind that is
// not there or a point that is lacking.
func (c *checker) pointNamed(t syntax.Token, skip func(point string)) (*point, bool) {
	place, name, _ := strings.Cut(t.Word(), "/")
	if p := c.points[t.Word()]; p != nil {
		return p, true
	}
	s := c.stations[place]
	if s == nil {
		if c.words.kinds[place] != nil {
			return c.pointOfKind(t, place, name, skip)
		}
		if !c.isPlace(place) {
			c.noStation(t, place)
			return nil, false
		}
		c.noPoint(t, name, place, pointsAt(c, place), "")
		return nil, false
	}
	return c.pointAt(t, s, name, skip)
}

// pointOfKind is `yard/rain`: the one station of that kind.
func (c *checker) pointOfKind(t syntax.Token, kind, name string, skip func(string)) (*point, bool) {
	var of []*station
	for _, s := range c.order {
		if s.kindName() == kind && s.block != nil {
			of = append(of, s)
		}
	}
	at := t.Where()
	at.Width = len([]rune(kind))
	switch len(of) {
	case 1:
		return c.pointAt(t, of[0], name, skip)
	case 0:
		if skip != nil {
			skip(t.Word())
			return nil, false
		}
		c.say("55", at, facts{"ref": kind, "why": "There is no station of kind " + kind + "."})
	default:
		var refs []string
		for _, s := range of {
			refs = append(refs, s.name+"/"+name)
		}
		c.say("55", at, facts{"ref": kind, "why": trimmed(float64(len(of))) + " stations are " + article(kind) + ": write one of " + strings.Join(refs, ", ") + "."})
	}
	return nil, false
}

// noStation is the message for a reference whose station is not there; a minus without spaces is the usual cause.
func (c *checker) noStation(t syntax.Token, place string) {
	at := t.Where()
	at.Width = len([]rune(place))
	n := near(place, c.stationNames())
	why := ""
	if left, right, ok := c.splitMinus(t.Word()); ok {
		n, why = "", "Minus needs spaces: "+left+" - "+right+"."
	} else if n == "" {
		why = "Write a block: station " + place + " is tank."
	}
	c.say("22", at, facts{"what": "station", "name": place, "near": n, "why": why})
}

// splitMinus finds the hyphen of a word that was meant as a minus: what stands before it is a point, what follows a point or a number.
func (c *checker) splitMinus(word string) (left, right string, ok bool) {
	for i := range len(word) {
		if word[i] != '-' {
			continue
		}
		left, right = word[:i], word[i+1:]
		_, err := units.ParseNumber(right)
		if c.isPoint(left) && (err == nil || c.isPoint(right)) {
			return left, right, true
		}
	}
	return "", "", false
}

// isPoint tells whether a word is a point somewhere.
func (c *checker) isPoint(word string) bool {
	if strings.Contains(word, "/") {
		place, name, _ := strings.Cut(word, "/")
		if c.points[word] != nil {
			return true
		}
		return c.words.kinds[place] != nil && c.isPoint(name)
	}
	return slices.ContainsFunc(c.pointList, func(p *point) bool { return p.short == word })
}

// pointAt finds a point of one station.
func (c *checker) pointAt(t syntax.Token, s *station, name string, skip func(string)) (*point, bool) {
	if p := s.points[name]; p != nil {
		return p, true
	}
	if s.kind == nil {
		return nil, false // its kind is unknown, which was said
	}
	if skip != nil && c.couldStand(s, name) {
		skip(name)
		return nil, false
	}
	why := ""
	if slices.Contains(s.moments, name) {
		c.say("48", t.Where(), facts{"x": name, "qx": "a moment", "why": "Write time-since(" + name + "), or times(" + name + ", 6 h)."})
		return nil, false
	}
	if left, right, ok := c.splitMinus(name); ok {
		c.say("53", t.Where(), facts{"name": name, "station": s.name, "y": left + " - " + right})
		return nil, false
	}
	if k, ok := s.kind.Point(name); ok && k.Computed {
		why = "It is worked out from " + strings.Join(k.From, " and ") + ", and no probe gives " + oneOf(lacking(s, k)) + "."
	} else if ok {
		why = "No probe gives it: wire one, or watch another station."
	}
	c.noPoint(t, name, s.name, c.namesAt(s), why)
	return nil, false
}

func lacking(s *station, k phrase.Point) []string {
	var list []string
	for _, input := range k.From {
		if s.points[input] == nil {
			list = append(list, input)
		}
	}
	return list
}

// couldStand tells whether a point that a station lacks is one that some kind declares, or that another station of its kind has: then it
// is lacking there, and not mistyped.
func (c *checker) couldStand(s *station, name string) bool {
	for _, d := range c.words.kinds {
		if _, ok := d.Point(name); ok {
			return true
		}
	}
	return slices.ContainsFunc(c.order, func(o *station) bool { return o.kindName() == s.kind.Name && o.points[name] != nil })
}

func (c *checker) noPoint(t syntax.Token, name, place string, known []string, why string) {
	n := ""
	if why == "" {
		n = near(name, known)
		if n == "" && len(known) > 0 {
			why = "Points there: " + strings.Join(known, ", ") + "."
		}
	}
	c.say("53", t.Where(), facts{"name": name, "station": place, "near": n, "why": why})
}

// namesAt are the words that may stand in a condition at a station.
func (c *checker) namesAt(s *station) []string {
	var names []string
	for _, p := range s.ordered(c) {
		names = append(names, p.short)
	}
	for _, l := range c.limitList {
		if l.stands(s) {
			names = append(names, l.name)
		}
	}
	return names
}

func pointsAt(c *checker, place string) []string {
	var names []string
	for _, p := range c.pointList {
		if p.owner == place {
			names = append(names, p.short)
		}
	}
	return names
}
