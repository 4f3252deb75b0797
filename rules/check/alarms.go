package check

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"millwarden/internal/slab"
	"millwarden/internal/units"
	"millwarden/rules/engine"
	"millwarden/rules/formula"
	"millwarden/rules/syntax"
)

// Bounds of alarms, chosen in the language.
const (
	maxAlarms = 10000
	maxDepth  = 32 // of a condition
)

// Longest shelves, where the rules say nothing.
const (
	shelfUsual = 8 * time.Hour
	shelfHigh  = time.Hour
	offUsual   = 60 * time.Second
)

// alarm is one alarm, prompt or event with all its places.
type alarm struct {
	*block
	name    string
	kind    engine.Kind
	changes []*block // `change`, in the order of the file
	leftOut []*block // `without`
	places  []place
	lacking *lack
	made    []engine.Alarm // within the stretch of the plan's that is kept for them
}

// lack is what an alarm lacks, in the order met, and at which places.
type lack struct {
	points []string
	at     map[string][]string
}

// place is where one instance of an alarm stands.
type place struct {
	name    string // station, bus, channel, probe, full point
	title   string
	area    string
	station *station
	value   *point
}

func (c *checker) checkAlarms() {
	c.addAlarms()
	c.addMoments()
	c.checkWithout()
	c.checkChanges()
	for _, p := range c.probeList {
		c.slowest = max(c.slowest, p.plan.Every)
	}
	if alarms, fit := c.placeAlarms(); fit {
		c.instantiateAll(alarms)
		c.closeGaps(alarms)
		c.checkDepends()
	}
}

// placeAlarms finds the places of all alarms that can be read, and holds their number to its bound.
func (c *checker) placeAlarms() (alarms []*alarm, fit bool) {
	total := 0
	var found []place
	var room slab.Of[place]
	for _, a := range c.alarmList {
		if a.Refused {
			continue
		}
		found = c.placesOf(a, found[:0])
		a.places = room.Take(len(found))
		copy(a.places, found)
		c.noPlace(a)
		if total += len(a.places); total > maxAlarms {
			c.say("75", a.Name.Where(), facts{"what": "alarms after for each:", "n": "more than " + fmt.Sprint(maxAlarms), "max": fmt.Sprint(maxAlarms),
				"why": "Give fewer stations the same alarm, or leave built-in subjects out."})
			return nil, false
		}
		alarms = append(alarms, a)
	}
	c.plan.Engine.Alarms = make([]engine.Alarm, 0, total)
	from := 0
	for _, a := range alarms {
		to := from + len(a.places)
		a.made, from = c.plan.Engine.Alarms[from:from:to], to
	}
	return alarms, true
}

// closeGaps moves the alarms together where places lack something.
func (c *checker) closeGaps(alarms []*alarm) {
	all := c.plan.Engine.Alarms
	for _, a := range alarms {
		from := len(all)
		all = append(all, a.made...)
		a.made = all[from:len(all):len(all)]
	}
	c.plan.Engine.Alarms = all
}

func (c *checker) addAlarms() {
	blocks := c.of("alarm", "prompt", "event")
	c.alarms, c.alarmList = make(map[string]*alarm, len(blocks)), make([]*alarm, 0, len(blocks))
	list := make([]alarm, 0, len(blocks)) // one array for all
	for _, b := range blocks {
		name := b.Name.Word()
		if !b.Name.Given() {
			continue
		}
		if old := c.alarms[name]; old != nil {
			continue // said in checkTwice
		}
		list = append(list, alarm{block: b, name: name, kind: kindOf(b)})
		a := &list[len(list)-1]
		c.alarms[name] = a
		c.alarmList = append(c.alarmList, a)
	}
	for _, l := range c.of("words") {
		name := l.Kind.Word()
		if l.Kind.Given() && c.alarms[name] == nil {
			c.noAlarm(l.Kind)
		}
	}
}

func kindOf(b *block) engine.Kind {
	switch b.Word.Word() {
	case "prompt":
		return engine.KindPrompt
	case "event":
		return engine.KindEvent
	}
	return engine.KindAlarm
}

func (c *checker) noAlarm(t syntax.Token) {
	var names []string
	for _, a := range c.alarmList {
		names = append(names, a.name)
	}
	n := near(t.Word(), names)
	c.say("22", t.Where(), facts{"what": "alarm", "name": t.Word(), "near": n, "why": orElse(n, "Built-in alarms are taken in by use.")})
}

// addMoments makes the events of the file moments of their stations.
func (c *checker) addMoments() {
	for _, a := range c.alarmList {
		if a.kind != engine.KindEvent {
			continue
		}
		for _, s := range c.scopeStations(a.block, false) {
			s.moments = append(s.moments, a.name)
		}
	}
}

// builtIn finds the alarm that a `without` or `change` names.
func (c *checker) builtIn(b *block) *alarm {
	a := c.alarms[b.Name.Word()]
	if a == nil {
		if b.Name.Given() {
			c.noAlarm(b.Name)
		}
		return nil
	}
	for _, t := range b.Scope.At {
		if !c.isPlace(t.Word()) {
			c.stationNamed(t)
		}
	}
	return a
}

func (c *checker) checkWithout() {
	for _, b := range c.of("without") {
		a := c.builtIn(b)
		if a == nil {
			continue
		}
		a.leftOut = append(a.leftOut, b)
		because := ""
		if b.Because != nil {
			because = b.Because.Value
		}
		class := ""
		if l := line(a.block, "class"); l != nil {
			class = valueWord(l)
		}
		if because == "" && (class == "safety" || class == "food") {
			c.missing(b, []string{"because"}, "It is of class "+class+".")
			continue
		}
		if class == "safety" || class == "food" {
			c.say("W13", b.Name.Where(), facts{"alarm": a.name, "class": class, "because": strings.TrimSuffix(sentence(because), ".")})
		}
		c.plan.LeftOut = append(c.plan.LeftOut, LeftOut{Alarm: a.name, At: wordsOf(b.Scope.At), Class: classOf[class], Because: because})
	}
}

func (c *checker) checkChanges() {
	for _, b := range c.of("change") {
		if a := c.builtIn(b); a != nil {
			a.changes = append(a.changes, b)
		}
	}
}

// placesOf adds all places of an alarm to a list that is empty, those left out taken away.
func (c *checker) placesOf(a *alarm, list []place) []place {
	if len(a.Scope.At) == 0 && len(a.Scope.Each) == 0 {
		s := c.stations[thisBoard]
		list = append(list, place{name: s.name, title: s.title(), area: s.area, station: s})
	}
	for _, s := range c.scopeStations(a.block, a.ours()) {
		list = append(list, place{name: s.name, title: s.title(), area: s.area, station: s})
	}
	except := wordsOf(a.Scope.Except)
	for _, t := range a.Scope.At {
		if name := t.Word(); c.stations[name] == nil && c.isPlace(name) {
			list = append(list, c.placeNamed(name))
		}
	}
	for _, t := range a.Scope.Each {
		for _, p := range c.eachPlaces(t.Word()) {
			if !slices.Contains(except, p.name) {
				list = append(list, p)
			}
		}
	}
	if len(a.leftOut) == 0 {
		return list
	}
	return slices.DeleteFunc(list, func(p place) bool {
		return slices.ContainsFunc(a.leftOut, func(b *block) bool {
			return len(b.Scope.At) == 0 || slices.Contains(wordsOf(b.Scope.At), p.name)
		})
	})
}

func (c *checker) placeNamed(name string) place {
	p := place{name: name, title: spaced(name)}
	if b := c.buses[name]; b != nil {
		p.title = b.plan.Title
	}
	if pr := c.probes[name]; pr != nil {
		p.title = pr.plan.Title
		p.area = c.probeArea(pr)
	}
	if ch := c.channels[name]; ch != nil {
		p.title = ch.plan.Title
	}
	return p
}

func (c *checker) probeArea(p *probe) string {
	if len(p.plan.Gives) > 0 {
		if s := c.stations[p.plan.Gives[0].Station]; s != nil {
			return s.area
		}
	}
	return ""
}

// eachPlaces are the buses, channels, probes or points of `for each`.
func (c *checker) eachPlaces(word string) []place {
	var list []place
	switch word {
	case "bus":
		for _, name := range c.busPlaces() {
			list = append(list, c.placeNamed(name))
		}
	case "channel":
		for _, name := range c.channelPlaces() {
			list = append(list, c.placeNamed(name))
		}
	case "probe":
		for _, name := range c.probePlaces() {
			list = append(list, c.placeNamed(name))
		}
	case "point":
		for _, p := range c.pointList {
			if p.gone || p.station == nil || p.how != Measured && p.how != Remote && !isVote(p) {
				continue
			}
			list = append(list, place{name: p.full, title: p.station.title() + " " + pointTitle(p), area: p.station.area, value: p})
		}
	}
	return list
}

func pointTitle(p *point) string {
	if p.title != "" {
		return p.title
	}
	return spaced(p.short)
}

// noPlace is message 60: the site's own alarm for each of what nobody has.
func (c *checker) noPlace(a *alarm) {
	if len(a.places) > 0 || !a.ours() || len(a.Scope.Each) == 0 || len(a.leftOut) > 0 {
		return
	}
	kinds := oneOf(wordsOf(a.Scope.Each))
	if a.Scope.In.Given() && c.areas[a.Scope.In.Word()] == nil {
		return // there is no such area, which was said
	}
	for _, t := range a.Scope.Each {
		if c.words.kinds[t.Word()] == nil && c.words.each[t.Word()] == nil {
			return
		}
	}
	c.say("60", a.Name.Where(), facts{"kind": kinds, "alarm": a.Title(), "why": "There is no station of kind " + kinds + "."})
}

// begin makes t a typer for the formulas of a block at a station.
func (t *typer) begin(c *checker, b *block, s *station) {
	*t = typer{c: c, station: s, builtIn: !b.ours()}
	if s != nil {
		t.owner = s.name
	}
	if len(b.Scope.Each) > 0 || !b.ours() {
		t.skip = func(string) {}
	}
}

// instantiate makes the alarm of one place, unless it lacks a point there. The typer is one that nobody needs any more.
func (c *checker) instantiate(a *alarm, p place, t *typer) {
	t.begin(c, a.block, p.station)
	t.owner, t.value, t.alarm = p.name, p.value, a.name
	if t.skip != nil {
		t.skip = func(name string) {
			if t.lacked == "" {
				t.lacked = name
			}
		}
	}
	when, while, suppressed := c.conditions(a, t)
	if t.lacks {
		if a.lacking == nil {
			a.lacking = &lack{at: map[string][]string{}}
		}
		if a.lacking.at[t.lacked] == nil {
			a.lacking.points = append(a.lacking.points, t.lacked)
		}
		a.lacking.at[t.lacked] = append(a.lacking.at[t.lacked], p.name)
		return
	}
	a.made = append(a.made, engine.Alarm{ID: a.name + "@" + p.name, Name: a.name, Kind: a.kind, Title: titleOf(a.block), Place: p.name, PlaceTitle: p.title, Area: p.area,
		When: when, While: while, SuppressedWhile: suppressed, Say: text(a.block, "say"), Source: text(a.block, "source"), File: a.Name.File(), Line: a.Name.Line()})
	e := &a.made[len(a.made)-1]
	c.calling(a, p, e)
	c.beside(a, p, e, t)
	e.Printed = printedForm(e)
	c.unwise(a, e)
}

// conditions types when, while and suppressed-while.
func (c *checker) conditions(a *alarm, t *typer) (when, while, suppressed *formula.Node) {
	get := func(key string) *formula.Node {
		l := line(a.block, key)
		if l == nil {
			return nil
		}
		f, ok := l.Value.(*syntax.Formula)
		if !ok || f.Expr == nil {
			return nil
		}
		t.asPrinted = f.AsPrinted()
		r := t.condition(f.Expr)
		t.asPrinted = false
		if r.bad {
			return nil
		}
		if key == "when" {
			if a.ours() {
				t.exclude(f.Expr)
			}
			c.checkSize(f.Expr, r.node)
		}
		return r.node
	}
	t.bands = c.deadbandsOf(a, t)
	when = get("when")
	if when != nil && a.ours() {
		c.checkDeadband(a, when)
	}
	t.bands = nil
	while = get("while")
	lacks, lacked := t.lacks, t.lacked
	suppressed = get("suppressed-while")
	if t.lacks && !lacks { // what can never be known suppresses nothing
		suppressed, t.lacks, t.lacked = nil, false, lacked
	}
	return when, while, suppressed
}

// checkSize holds a condition to its depth; the number of its parts was counted where it was read.
func (c *checker) checkSize(at placed, n *formula.Node) {
	if deep := depthOf(n); deep > maxDepth {
		c.say("75", at.Where(), facts{"what": "parts inside one another:", "n": fmt.Sprint(deep), "max": fmt.Sprint(maxDepth), "why": "Give a part of it a name with a point block."})
	}
}

func depthOf(n *formula.Node) int {
	deepest := 0
	for _, arg := range n.Args {
		deepest = max(deepest, depthOf(arg))
	}
	return deepest + 1
}

// from is the block in which a key of an alarm at a place is looked up: changes first, the last one winning.
func (a *alarm) from(at, key string) *block {
	for i := len(a.changes) - 1; i >= 0; i-- {
		if b := a.changes[i]; (len(b.Scope.At) == 0 || slices.Contains(wordsOf(b.Scope.At), at)) && line(b, key) != nil {
			return b
		}
	}
	return a.block
}

func (c *checker) deadbandsOf(a *alarm, t *typer) *deadbands {
	b := a.from(t.owner, "deadband")
	d := &t.own
	l := line(b, "deadband")
	if l == nil {
		return d
	}
	v, ok := l.Value.(*syntax.Deadband)
	if !ok {
		return d
	}
	d.none, d.given = v.None.Given(), d.few[:0]
	for _, amount := range v.Amounts {
		d.given = bandMeanings(d.given, amount)
	}
	return d
}

// bandMeanings adds all quantities for which an amount can be a deadband: 0.5 °C is one for temperatures and for their differences.
func bandMeanings(meanings []units.Amount, a *syntax.Amount) []units.Amount {
	m := &a.Measures[0]
	n, err := units.ParseNumber(m.Number.Text())
	if err != nil {
		return meanings
	}
	if !m.Unit.Given() {
		return append(meanings, units.Amount{Value: n, Quantity: units.PH}, units.Amount{Value: n, Quantity: units.WaterActivity}, units.Amount{Value: n, Quantity: units.Count})
	}
	for _, u := range units.Lookup(m.Unit.Text()) {
		if u.Quantity == units.Temperature {
			continue // in a deadband °C is a difference
		}
		meanings = append(meanings, units.Amount{Value: u.ToBase(n), Quantity: u.Quantity})
		if u.Quantity == units.Difference {
			meanings = append(meanings, units.Amount{Value: u.ToBase(n), Quantity: units.Temperature})
		}
	}
	return meanings
}

// checkDeadband is message 61: each deadband must fit a comparison.
func (c *checker) checkDeadband(a *alarm, when *formula.Node) {
	l := line(a.block, "deadband")
	if l == nil {
		return
	}
	v, ok := l.Value.(*syntax.Deadband)
	if !ok {
		return
	}
	var fewQuantities [4]units.Quantity
	compared := fewQuantities[:0]
	when.Walk(func(n *formula.Node) {
		if n.Op >= formula.Less && n.Op <= formula.GreaterEq {
			for _, arg := range n.Args {
				if !slices.Contains(compared, arg.Quantity) {
					compared = append(compared, arg.Quantity)
				}
			}
		}
	})
	for _, amount := range v.Amounts {
		var few [6]units.Amount
		meanings := bandMeanings(few[:0], amount)
		if slices.ContainsFunc(meanings, func(m units.Amount) bool { return slices.Contains(compared, m.Quantity) }) {
			continue
		}
		if amount.Plain() && len(compared) > 0 {
			c.say("5", amount.Where(), facts{"x": amount.String(), "y": withUnit(amount.String(), compared[0].Step())})
			continue
		}
		var words []string
		for _, q := range compared {
			words = append(words, q.Article())
		}
		list := strings.Join(words, ", ")
		if list == "" {
			list = "no values"
		}
		c.say("61", amount.Where(), facts{"x": amount.String(), "list": list})
	}
}

// calling reads delays and all that decides how an alarm calls.
func (c *checker) calling(a *alarm, p place, e *engine.Alarm) {
	get := func(key string) *block { return a.from(p.name, key) }
	if d, ok := c.duration(get("on-delay"), "on-delay"); ok {
		e.OnDelay = d
	}
	if e.OffDelay = offUsual; a.kind == engine.KindEvent {
		e.OffDelay = 0
	}
	if d, ok := c.duration(get("off-delay"), "off-delay"); ok {
		e.OffDelay = d
	}
	if a.kind != engine.KindAlarm {
		return
	}
	e.Priority = priorityOf[c.word(get("priority"), "priority", priorities, "low")]
	e.Class = classOf[c.word(get("class"), "class", classes, "equipment")]
	e.Cause, e.Caution = text(a.block, "cause"), text(a.block, "caution")
	e.Consequence, e.Action = text(get("consequence"), "consequence"), text(get("action"), "action")
	if d, ok := c.duration(get("respond-within"), "respond-within"); ok {
		e.RespondWithin = d
		c.timeLeft(a, p, e)
	}
	e.Latching = flag(get("latching"), "latching", false)
	e.ReAnnunciate = c.perhaps(get("re-annunciate"), "re-annunciate").For
	c.shelf(get("shelvable"), e)
	e.Call = c.callNames(get("call"))
	if l := line(a.block, "formerly"); l != nil {
		e.Formerly = valueWord(l) + "@" + p.name
	} else if p.station != nil && p.station.block != nil {
		if l := line(p.station.block, "formerly"); l != nil {
			e.Formerly = a.name + "@" + valueWord(l)
		}
	}
}

// timeLeft is message 62: an on-delay that leaves no time to respond.
func (c *checker) timeLeft(a *alarm, p place, e *engine.Alarm) {
	b := a.from(p.name, "on-delay")
	l := line(b, "on-delay")
	if l == nil || e.OnDelay < e.RespondWithin {
		return
	}
	within := line(a.from(p.name, "respond-within"), "respond-within")
	if b.subject != "" {
		return // the built-in ones are held to this by a test; long watching is meant there
	}
	c.say("62", l.Value.Where(), facts{"a": amountOf(l).String(), "b": amountOf(within).String(), "place": within.Value.Where().Position.String()})
}

func (c *checker) shelf(b *block, e *engine.Alarm) {
	e.Shelvable = shelfUsual
	if e.Priority == engine.High {
		e.Shelvable = shelfHigh
	}
	if given := c.perhaps(b, "shelvable"); given.Given {
		e.Shelvable = given.For
		if e.Class == engine.Safety && given.For > 0 {
			c.say("63", line(b, "shelvable").Value.Where(), facts{"key": "shelvable",
				"why": "A safety alarm is never shelved: remove it from service, with a reason and a second person."})
		}
	}
	if e.Class == engine.Safety {
		e.Shelvable = 0
	}
}

// callNames are the watches and persons that an alarm names.
func (c *checker) callNames(b *block) []string {
	var names []string
	for _, t := range namesOf(line(b, "call")) {
		name := t.Word()
		if c.people[name] == nil && c.watches[name] == nil {
			if !b.ours() {
				continue
			}
			known := append(sortedKeys(c.watches), sortedKeys(c.people)...)
			n := near(name, known)
			c.say("22", t.Where(), facts{"what": "watch or person", "name": name, "near": n,
				"why": orElse(n, "Watches: "+orNone(sortedKeys(c.watches))+". Persons: "+orNone(sortedKeys(c.people))+".")})
			continue
		}
		names = append(names, name)
	}
	return names
}

func orNone(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}

// beside reads what is shown beside the alarm.
func (c *checker) beside(a *alarm, p place, e *engine.Alarm, t *typer) {
	t.bands = nil
	quiet := t.skip
	t.skip = func(string) {} // what is only shown may be lacking
	if a.ours() && len(a.Scope.Each) == 0 {
		t.skip = quiet
	}
	b := a.from(p.name, "verify-with")
	if l := line(b, "verify-with"); l != nil {
		if v, ok := l.Value.(*syntax.Evidence); ok {
			e.VerifyWith = c.evidence(v, t)
		}
	}
	if l := line(a.block, "due"); l != nil {
		if f, ok := l.Value.(*syntax.Formula); ok && f.Expr != nil {
			if r := t.expr(f.Expr); !r.bad {
				if r.q != units.Duration {
					c.wrong(l, f.Expr.Where(), "")
				} else {
					e.Due = r.node
				}
			}
		}
	}
	if l := line(a.block, "critical-limit"); l != nil && e.When != nil {
		e.CriticalLimit = c.criticalLimit(amountOf(l), e.When)
	}
}

func (c *checker) evidence(v *syntax.Evidence, t *typer) []engine.Evidence {
	var list []engine.Evidence
	for _, item := range v.Items {
		if item.Expr == nil && item.Texts == nil {
			continue
		}
		if item.Expr == nil {
			list = append(list, engine.Evidence{Text: item.Texts.Value})
			continue
		}
		if r := t.expr(item.Expr); !r.bad && r.lit == nil {
			list = append(list, engine.Evidence{Formula: r.node})
		}
	}
	return list
}

// criticalLimit takes the quantity of the comparison that it belongs to.
func (c *checker) criticalLimit(a *syntax.Amount, when *formula.Node) *units.Amount {
	if a == nil {
		return nil
	}
	var fit *units.Amount
	first := units.None
	when.Walk(func(n *formula.Node) {
		if fit != nil || n.Op < formula.Less || n.Op > formula.GreaterEq {
			return
		}
		q := n.Args[0].Quantity
		if first == units.None {
			first = q
		}
		if fitsLiteral(a, q) {
			if value, ok := c.convert(a, q, "critical-limit"); ok {
				fit = &units.Amount{Value: value, Quantity: q}
			}
		}
	})
	if fit == nil && first != units.None {
		c.convert(a, first, "critical-limit")
	}
	return fit
}

// noteLacking is N1, and 60 where nobody has what the site's own alarm needs.
func (c *checker) noteLacking(a *alarm) {
	if a.lacking == nil {
		return
	}
	if len(a.made) == 0 && a.ours() {
		c.say("60", a.Name.Where(), facts{"kind": oneOf(wordsOf(a.Scope.Each)), "alarm": a.Title(), "why": "There is no " + oneOf(a.lacking.points) + "."})
		return
	}
	var points, places []string
	for _, point := range a.lacking.points {
		if c.declaredAbout(point) && !a.ours() {
			continue // what only some buses, channels, probes or points have, none misses
		}
		points, places = append(points, point), append(places, a.lacking.at[point]...)
	}
	if len(points) > 0 {
		c.say("N1", a.Name.Where(), facts{"alarm": a.name, "list": strings.Join(places, ", "), "point": oneOf(points)})
	}
}

// printedForm changes when, and only when, the condition, a delay, a deadband or a limit in it changes.
func printedForm(e *engine.Alarm) string {
	b := make([]byte, 0, 512)
	b = printCondition(b, "when ", e.When)
	b = printCondition(b, "while ", e.While)
	b = printCondition(b, "suppressed-while ", e.SuppressedWhile)
	b = append(append(b, "on-delay "...), e.OnDelay.String()...)
	b = append(append(b, "\noff-delay "...), e.OffDelay.String()...)
	return string(append(b, '\n'))
}

func printCondition(b []byte, key string, n *formula.Node) []byte {
	if n == nil {
		return b
	}
	b = append(append(b, key...), n.Text...)
	return append(printParts(b, n), '\n')
}

// printParts writes what decides in a condition and does not stand in its text: values in force, deadbands, whose points they are.
func printParts(b []byte, n *formula.Node) []byte {
	switch n.Op {
	case formula.Const:
		b = append(append(append(b, " ["...), n.Text...), ' ')
		b = append(appendNumber(b, n.Value), ']')
	case formula.Less, formula.LessEq, formula.Greater, formula.GreaterEq:
		b = append(appendNumber(append(b, " [deadband "...), n.Deadband), ']')
	case formula.Point:
		b = append(append(append(b, " ["...), n.Ref...), ']')
	}
	for _, arg := range n.Args {
		b = printParts(b, arg)
	}
	return b
}

// appendNumber writes a number in as few digits as tell it from all others; most are small and whole, which is quickly done.
func appendNumber(b []byte, n float64) []byte {
	if whole := int64(n); n == float64(whole) && whole > 0 && whole < 1e6 {
		return strconv.AppendInt(b, whole, 10)
	}
	return strconv.AppendFloat(b, n, 'g', -1, 64)
}

// checkDepends finds the alarms that others depend on, and circles among them.
func (c *checker) checkDepends() {
	for _, a := range c.alarmList {
		for _, t := range namesOf(line(a.block, "depends-on")) {
			if c.alarms[t.Word()] == nil && a.ours() {
				c.noAlarm(t)
			}
		}
		if !a.ours() {
			continue
		}
		c.dependsCircle(a)
	}
	for _, a := range c.alarmList {
		for i := range a.made {
			a.made[i].DependsOn = c.dependsOn(a, &a.made[i])
		}
	}
}

// eachPoint tells of an alarm for each point. Such a one may depend on itself: on its like at the first point of the same probe.
func (a *alarm) eachPoint() bool { return len(a.places) > 0 && a.places[0].value != nil }

func (a *alarm) dependsNames() []string { return wordsOf(namesOf(line(a.block, "depends-on"))) }

// dependsCircle is message 64.
func (c *checker) dependsCircle(a *alarm) {
	for _, t := range namesOf(line(a.block, "depends-on")) {
		path := c.pathTo(t.Word(), a.name, map[string]bool{})
		if path == nil || len(path) == 0 && a.eachPoint() {
			continue
		}
		// of a circle, only its first alarm is marked
		for _, name := range path {
			other := c.alarms[name]
			if other.Name.File() == a.Name.File() && other.Name.Line() < a.Name.Line() && other.ours() {
				return
			}
		}
		why := "It depends on itself."
		if len(path) > 0 {
			why = "It depends on " + strings.Join(append(path, a.name), ", which depends on ") + "."
		}
		c.say("64", t.Where(), facts{"a": "alarm " + a.name, "why": why})
		return
	}
}

// pathTo is the way of dependence from one alarm to another; nil if there is none, empty if they are one.
func (c *checker) pathTo(from, to string, seen map[string]bool) []string {
	if from == to {
		return []string{}
	}
	a := c.alarms[from]
	if a == nil || seen[from] {
		return nil
	}
	seen[from] = true
	for _, next := range a.dependsNames() {
		if rest := c.pathTo(next, to, seen); rest != nil {
			return append([]string{from}, rest...)
		}
	}
	return nil
}

// dependsOn are the alarms at the same place; for a point also at its station, probe, bus and board, and of its own name at the first point of its probe.
func (c *checker) dependsOn(a *alarm, e *engine.Alarm) []string {
	var ids []string
	for _, name := range a.dependsNames() {
		other := c.alarms[name]
		if other == nil {
			continue
		}
		if other == a {
			if first := c.firstOfProbe(a, e.Place); first != nil && first != e {
				ids = append(ids, first.ID)
			}
			continue
		}
		for _, near := range c.around(e.Place) {
			if o := other.at(near); o != nil {
				ids = append(ids, o.ID)
				break
			}
		}
	}
	return ids
}

// at is what was made of the alarm at a place, or nil.
func (a *alarm) at(place string) *engine.Alarm {
	for i := range a.made {
		if a.made[i].Place == place {
			return &a.made[i]
		}
	}
	return nil
}

// firstOfProbe is the alarm at the first point, of those that have one, which the probe of a point gives; nil: no probe gives it.
func (c *checker) firstOfProbe(a *alarm, point string) *engine.Alarm {
	p := c.points[point]
	if p == nil || p.probe == nil {
		return nil
	}
	for _, g := range p.probe.plan.Gives {
		if e := a.at(g.Point); e != nil {
			return e
		}
	}
	return nil
}

// around are the places in which an alarm that this place depends on may stand, the nearest first.
func (c *checker) around(at string) []string {
	list := []string{at}
	var pr *probe
	if p := c.points[at]; p != nil {
		pr = p.probe
		if p.station != nil {
			list = append(list, p.station.name)
		}
	} else if own := c.probes[at]; own != nil {
		pr = own
	}
	board := thisBoard
	if pr != nil {
		list = append(list, pr.name, pr.plan.Bus)
		if pr.board != "" {
			board = pr.board
		}
	}
	if s := c.stations[at]; s != nil && s.block != nil && s.board != "" {
		board = s.board
	}
	return append(list, board)
}
