package check

import (
	"math"
	"slices"
	"strings"
	"time"
	_ "time/tzdata" // small boards often come without the files of the zones

	"millwarden/internal/diag"
	"millwarden/internal/phrase"
	"millwarden/internal/units"
	"millwarden/rules/engine"
	"millwarden/rules/syntax"
)

// noArea is where stations stand that name no area.
const noArea = "mill"

// thisBoard is the station that stands for this gateway itself: "board/disk-free".
const thisBoard = "board"

// station is one station with what its kind declares.
type station struct {
	*block   // nil for this board
	name     string
	kind     *phrase.Declaration // nil: the kind is unknown, and nothing more is said about it
	area     string
	heading  string // what people read, once it was asked for
	settings phrase.Lines
	points   map[string]*point // by short name
	moments  []string
}

func (s *station) title() string {
	if s.heading == "" && s.block == nil {
		s.heading = spaced(s.name)
	} else if s.heading == "" {
		s.heading = titleOf(s.block)
	}
	return s.heading
}

func (s *station) kindName() string {
	if s.kind == nil {
		return ""
	}
	return s.kind.Name
}

func (c *checker) checkSite(mains []string) {
	for _, b := range c.of("site") {
		if !b.ours() {
			continue
		}
		if c.site != nil {
			c.say("21", b.Name.Where(), facts{"what": "site", "name": b.Name.Word(), "place": c.site.Name.Where().Position.String()})
			continue
		}
		c.site = b
	}
	c.plan.Site = Site{Zone: time.UTC, ZoneName: "UTC", Language: "en", Board: thisBoard, Keep: 800 * 24 * time.Hour,
		Night: engine.Span{From: 20 * 60, To: 6 * 60, Days: everyDay}}
	if c.site == nil {
		if len(mains) > 0 && !c.wordStands("site") {
			c.say("24", diag.Range{Position: diag.Position{File: mains[len(mains)-1], Line: 1, Column: 1}, Width: 1}, nil)
		}
		return
	}
	b, s := c.site, &c.plan.Site
	s.Name, s.Title, s.Note = b.Name.Word(), titleOf(b), text(b, "note")
	c.siteZone(b)
	if l := line(b, "altitude"); l != nil {
		s.Altitude = c.height(l)
	} else if !b.Has("altitude") {
		c.say("W14", b.Name.Where(), nil)
	}
	if l := line(b, "night"); l != nil {
		if t, ok := valueToken(l); ok {
			if span, ok := c.span(t); ok {
				s.Night = span
			}
		}
	}
	s.Choice, s.Language = c.show(b, units.Choice{}, "en")
	if l := line(b, "board"); l != nil {
		s.Board = valueWord(l)
	}
	if l := line(b, "hub"); l != nil {
		s.Hub = valueWord(l)
	}
	if d, ok := c.duration(b, "keep"); ok {
		s.Keep = d
	}
}

// wordStands tells whether a block of that word was written, however wrong.
func (c *checker) wordStands(word string) bool { return len(c.of(word)) > 0 }

func (c *checker) siteZone(b *block) {
	l := line(b, "timezone")
	if l == nil {
		return
	}
	t, ok := valueToken(l)
	if !ok {
		return
	}
	zone, err := time.LoadLocation(t.Text())
	if err != nil || t.Text() == "" || t.Text() == "Local" {
		before := ""
		if like := zoneLike(t.Text()); like != "" {
			before = "Did you mean " + like + "? "
		}
		c.wrong(l, t.Where(), before)
		return
	}
	c.plan.Site.Zone, c.plan.Site.ZoneName = zone, t.Text()
}

// zoneLike finds a zone one letter away. There is no list of zones to look through, so each word one letter away is tried; it runs only
// where a zone was mistyped.
func zoneLike(typed string) string {
	if len(typed) > 40 {
		return ""
	}
	const letters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ_/"
	try := func(name string) bool {
		_, err := time.LoadLocation(name)
		return err == nil && name != "" && name != "Local"
	}
	for i := range len(typed) + 1 {
		for _, r := range letters {
			if i < len(typed) && try(typed[:i]+string(r)+typed[i+1:]) {
				return typed[:i] + string(r) + typed[i+1:]
			}
			if try(typed[:i] + string(r) + typed[i:]) {
				return typed[:i] + string(r) + typed[i:]
			}
		}
		if i < len(typed) && try(typed[:i]+typed[i+1:]) {
			return typed[:i] + typed[i+1:]
		}
	}
	return ""
}

func (c *checker) height(l *syntax.Line) float64 {
	a := amountOf(l)
	if a == nil {
		return 0
	}
	u, ok := units.Choose(a.Measures[0].Unit.Text(), units.Length)
	if len(a.Measures) != 1 || !ok {
		c.wrong(l, a.Where(), "")
		return 0
	}
	n, ok := c.number(a.Measures[0].Number)
	if !ok || !c.inside(l, a, u.ToBase(n), units.Length) {
		return 0
	}
	return u.ToBase(n)
}

// show reads what people want to see.
func (c *checker) show(b *block, choice units.Choice, language string) (units.Choice, string) {
	for _, t := range namesOf(line(b, "show")) {
		u, _ := units.Choose(t.Text(), units.Temperature)
		switch word := t.Word(); {
		case u.Printed == "°C":
			choice.Fahrenheit = false
		case u.Printed == "°F":
			choice.Fahrenheit = true
		case word == "kg":
			choice.Pounds = false
		case word == "lb":
			choice.Pounds = true
		case (word == "en" || word == "es") && b.Word.Word() == "site":
			language = word
		default:
			c.wrong(line(b, "show"), t.Where(), "")
		}
	}
	return choice, language
}

var everyDay = [7]bool{true, true, true, true, true, true, true}

// span reads 18:00-08:00.
func (c *checker) span(t syntax.Token) (engine.Span, bool) {
	from, to, _ := strings.Cut(t.Text(), "-")
	f, ok1 := clockMinutes(from)
	u, ok2 := clockMinutes(to)
	if !ok1 || !ok2 {
		c.say("70", t.Where(), facts{"x": t.Text()})
		return engine.Span{}, false
	}
	if f == u {
		c.say("71", t.Where(), facts{"x": t.Text()})
		return engine.Span{}, false
	}
	return engine.Span{From: f, To: u, Days: everyDay}, true
}

// clockMinutes reads 07:30 up to 24:00.
func clockMinutes(text string) (int, bool) {
	h, m, found := strings.Cut(strings.TrimSpace(text), ":")
	if !found || len(h) == 0 || len(h) > 2 || len(m) != 2 {
		return 0, false
	}
	hours, err1 := units.ParseNumber(h)
	minutes, err2 := units.ParseNumber(m)
	if err1 != nil || err2 != nil || hours < 0 || minutes < 0 || minutes > 59 || hours != math.Trunc(hours) {
		return 0, false
	}
	total := int(hours)*60 + int(minutes)
	return total, total <= 24*60
}

func (c *checker) checkAreas() {
	for _, b := range c.of("area") {
		name := b.Name.Word()
		if c.areas[name] != nil {
			continue
		}
		c.areas[name] = b
		c.plan.Areas = append(c.plan.Areas, Area{Name: name, Title: titleOf(b), Note: text(b, "note")})
	}
}

func (c *checker) checkStations() {
	c.addStation(&station{name: thisBoard, kind: c.words.kinds["board"], area: noArea})
	for _, b := range c.of("station") {
		name := b.Name.Word()
		if old := c.stations[name]; old != nil && old.block != nil || !b.Name.Given() {
			continue // said in checkTwice
		}
		s := &station{block: b, name: name, area: noArea}
		s.kind = c.words.kinds[b.Kind.Word()]
		if s.kind == nil && b.Kind.Given() {
			n := near(b.Kind.Word(), c.words.kindNames)
			c.say("22", b.Kind.Where(), facts{"what": "kind of station", "name": b.Kind.Text(), "near": n,
				"why": orElse(n, "Kinds: "+strings.Join(c.words.kindNames, ", ")+".")})
		}
		c.stationArea(s)
		c.addStation(s)
	}
	// settings may name other stations, so they are read when all are known
	for _, s := range c.order {
		if s.block != nil && s.kind != nil {
			s.settings = c.settings(s.block, s.kind, s.kind.Name, nil)
		}
	}
}

func (c *checker) addStation(s *station) {
	s.points = map[string]*point{}
	if s.kind != nil {
		s.moments = slices.Clone(s.kind.Moments)
	}
	if _, again := c.stations[s.name]; again { // the file describes this board itself
		c.order = slices.DeleteFunc(c.order, func(o *station) bool { return o.name == s.name })
	}
	c.stations[s.name] = s
	c.order = append(c.order, s)
}

func (c *checker) stationArea(s *station) {
	l := line(s.block, "area")
	if l == nil {
		return
	}
	t, ok := valueToken(l)
	if !ok {
		return
	}
	s.area = t.Word()
	if c.areas[s.area] == nil {
		var names []string
		for _, a := range c.plan.Areas {
			names = append(names, a.Name)
		}
		n := near(s.area, names)
		c.say("22", t.Where(), facts{"what": "area", "name": s.area, "near": n, "why": orElse(n, "Write a block: area "+s.area+".")})
	}
}

// settings reads the declared lines of a block.
func (c *checker) settings(b *block, d *phrase.Declaration, owner string, wants []units.Quantity) phrase.Lines {
	return c.settingsFound(b, d, owner, wants, nil)
}

// settingsFound hands what stood in slots that name something to see.
func (c *checker) settingsFound(b *block, d *phrase.Declaration, owner string, wants []units.Quantity, see func(key string, f found)) phrase.Lines {
	var lines phrase.Lines
	stood := map[string]*syntax.Line{}
	for _, l := range b.Lines {
		pieces, ok := l.Value.(*syntax.Pieces)
		key := l.Key.Word()
		if _, fixed := syntax.FindKey(b.Word.Word(), key); fixed || l.Refused || !ok {
			continue
		}
		p, known := d.Phrase(key)
		if !known {
			c.unknownSetting(l, b, d, owner)
			continue
		}
		if stood[key] != nil && !p.Many {
			c.say("15", l.Key.Where(), facts{"key": key, "block": b.Title(), "place": stood[key].Key.Where().Position.String()})
			continue
		}
		stood[key] = l
		m := &matcher{c: c, name: key, owner: key, key: l.Key, tokens: pieces.List, written: p.String(), wants: wants}
		if !m.matchLine(p.Pattern) {
			lines = append(lines, phrase.Line{Key: key})
			continue
		}
		if repeats(p.Pattern) && !c.tableRises(l, m.slots) {
			lines = append(lines, phrase.Line{Key: key})
			continue
		}
		for _, f := range m.found {
			c.checkSlot(b, d, f)
			if see != nil {
				see(key, f)
			}
		}
		lines = append(lines, phrase.Line{Key: key, Slots: m.slots})
	}
	c.groups(b, d, stood)
	return c.addDefaults(lines, d, stood)
}

func (c *checker) unknownSetting(l *syntax.Line, b *block, d *phrase.Declaration, owner string) {
	var list []string
	for _, p := range d.Phrases {
		list = append(list, p.Key)
	}
	var fixed []string
	for _, k := range syntax.Keys(b.Word.Word()) {
		fixed = append(fixed, k.Name)
	}
	key := l.Key.Word()
	n := near(key, append(slices.Clone(list), fixed...))
	known := facts{"key": key, "part": owner, "near": n}
	if n == "" {
		known["list"] = strings.Join(list, ", ")
		if len(list) == 0 {
			known["list"] = "none of its own"
		}
	}
	c.say("30", l.Key.Where(), known)
}

// groups holds a block to `needs` and `one`.
func (c *checker) groups(b *block, d *phrase.Declaration, stood map[string]*syntax.Line) {
	for _, group := range d.Needs {
		if !slices.ContainsFunc(group, func(k string) bool { return stood[k] != nil || b.Has(k) }) {
			c.lacksSetting(b, d, group)
		}
	}
	for _, group := range d.One {
		var before *syntax.Line
		for _, l := range b.Lines {
			key := l.Key.Word()
			if stood[key] != l || !slices.Contains(group, key) {
				continue
			}
			if before != nil {
				c.say("34", l.Key.Where(), facts{"a": before.Key.Word(), "b": key, "place": before.Key.Where().Position.String()})
				continue
			}
			before = l
		}
		if before == nil && !slices.ContainsFunc(group, b.Has) {
			c.lacksSetting(b, d, group)
		}
	}
}

func (c *checker) lacksSetting(b *block, d *phrase.Declaration, group []string) {
	p, _ := d.Phrase(group[0])
	at := b.Name.Where()
	c.say("16", at, facts{"block": b.Title(), "keys": oneOf(group), "example": p.String() + "."})
}

func (c *checker) addDefaults(lines phrase.Lines, d *phrase.Declaration, stood map[string]*syntax.Line) phrase.Lines {
	chosen := func(groups [][]string, key string) bool {
		return slices.ContainsFunc(groups, func(g []string) bool { return slices.Contains(g, key) })
	}
	for _, p := range d.Phrases {
		if stood[p.Key] == nil && !p.Many && !chosen(d.Needs, p.Key) && !chosen(d.One, p.Key) && hasDefault(p.Pattern) {
			lines = append(lines, phrase.Line{Key: p.Key, Slots: left(p.Pattern)})
		}
	}
	return lines
}

// checkSlot looks at what a slot names, as far as it can be known now; POINT and PERSON wait until all are known.
func (c *checker) checkSlot(b *block, d *phrase.Declaration, f found) {
	switch f.element.Text {
	case "STATION":
		c.stationNamed(f.token)
	case "I2C", "SPI", "GPIO", "IIO", "HWMON", "BUS":
		c.busNamed(f.token, f.element.Text, d.Name, b.board)
	case "PERSON":
		c.peopleMeant = append(c.peopleMeant, f.token)
	case "CREDENTIAL":
		c.credential(f.token, b)
	}
}

// stationNamed finds a station, or says that there is none.
func (c *checker) stationNamed(t syntax.Token) (*station, bool) {
	name := t.Word()
	if s, ok := c.stations[name]; ok {
		return s, true
	}
	n := near(name, c.stationNames())
	c.say("22", t.Where(), facts{"what": "station", "name": name, "near": n, "why": orElse(n, "Write a block: station "+name+" is tank.")})
	return nil, false
}

func (c *checker) stationNames() []string {
	var names []string
	for _, s := range c.order {
		names = append(names, s.name)
	}
	return names
}

// credential refuses what looks like the secret itself.
func (c *checker) credential(t syntax.Token, b *block) string {
	if isName(t.Word()) && t.Text() == t.Word() {
		return t.Word()
	}
	c.say("26", t.Where(), facts{"y": map[string]string{"store": "store-token", "broker": "broker-login", "outside-watcher": "watcher-url"}[b.Word.Word()] +
		map[bool]string{true: b.Name.Word() + "-login"}[b.Word.Word() == "channel"]})
	return ""
}

// repeats tells whether a pattern is a table.
func repeats(p phrase.Pattern) bool {
	return slices.ContainsFunc(p, func(e phrase.Element) bool { return e.Kind == phrase.Repeat })
}
