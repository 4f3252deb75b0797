package check

import (
	"slices"
	"strings"
	"time"

	"millwarden/internal/units"
	"millwarden/rules/formula"
	"millwarden/rules/syntax"
)

// function is what the language says about one function.
type function struct {
	args    string // as message 51 says it
	example string
	op      formula.Op
	kind    shape
}

// shape tells which arguments a function takes.
type shape uint8

const (
	window  shape = iota // point, time, [time ago]; or each KIND/point
	beyond               // point, fixed value, time
	within               // point, time
	moment               // moment
	moments              // moment, time
	whole                // point
	two                  // two values
	votes                // two or three values, difference
	overAll              // each KIND/point
	hours                // span
	clock                // time of day
	perhapsTime
)

var functions = map[string]function{
	"mean":       {"a point and a time", "mean(temperature, 6 h)", formula.Mean, window},
	"highest":    {"a point and a time", "highest(temperature, 6 h)", formula.Highest, window},
	"lowest":     {"a point and a time", "lowest(temperature, 6 h)", formula.Lowest, window},
	"spread":     {"a point and a time", "spread(temperature, 6 h)", formula.Spread, window},
	"rise":       {"a point and a time", "rise(air-temperature, 2 min)", formula.Rise, window},
	"change":     {"a point and a time", "change(temperature, 30 min)", formula.Change, window},
	"count":      {"each, a kind and a point", "count(each deck/loaded)", formula.CountOf, overAll},
	"neighbours": {"a point", "neighbours(moisture)", formula.MedianOf, whole},
	"time-above": {"a point, a value and a time", "time-above(air-temperature, 43 °C, 6 h)", formula.TimeAbove, beyond},
	"time-below": {"a point, a value and a time", "time-below(air-temperature, 10 °C, 6 h)", formula.TimeBelow, beyond},
	"heat-above": {"a temperature point, a temperature and a time", "heat-above(bean-temperature, 38 °C, 24 h)", formula.HeatAbove, beyond},
	"time-on":    {"a state and a time", "time-on(burner, 3 h)", formula.TimeOn, within},
	"time-since": {"a moment", "time-since(stirred)", formula.TimeSince, moment},
	"times":      {"a moment and a time", "times(stirred, 6 h)", formula.Times, moments},
	"age":        {"a point", "age(moisture)", formula.Age, whole},
	"apart":      {"two values of one quantity", "apart(tank-1/ph, tank-2/ph)", formula.Apart, two},
	"vote":       {"two or three points and a difference", "vote(top-temperature, bottom-temperature, 1.5 K)", formula.Vote, votes},
	"during":     {"hours", "during(18:00-06:00)", formula.During, hours},
	"until":      {"a time of day", "until(04:00)", formula.Until, clock},
	"watched":    {"a time, or nothing", "watched(2 h)", formula.Watched, perhapsTime},
}

// functionNames in the order in which people are told of them.
var functionNames = []string{"mean", "highest", "lowest", "spread", "rise", "change", "count", "neighbours", "time-above", "time-below", "time-on",
	"heat-above", "time-since", "times", "age", "apart", "vote", "during", "until", "watched"}

// meantFunction are other words for functions, which people try first.
var meantFunction = map[string]string{"average": "mean", "avg": "mean", "max": "highest", "maximum": "highest", "min": "lowest", "minimum": "lowest",
	"range": "spread", "slope": "rise", "trend": "rise", "delta": "change", "difference": "apart", "abs": "apart", "median": "neighbours",
	"since": "time-since", "between": "during"}

// Windows go from a second to a month: older readings are on the page.
const (
	leastWindow    = time.Second
	greatestWindow = 31 * 24 * time.Hour
	riseReadings   = 4 // rise needs that many
)

func (t *typer) call(x *syntax.Call) typed {
	name := x.Func.Word()
	f, ok := functions[name]
	if !ok {
		n := near(name, functionNames)
		if meant := meantFunction[name]; meant != "" {
			n = "Did you mean " + meant + "? "
		}
		known := facts{"x": name, "near": n}
		if n == "" {
			known["list"] = strings.Join(functionNames, ", ")
		}
		t.wrong = true
		t.c.say("50", x.Func.Where(), known)
		return t.bad(x)
	}
	switch f.kind {
	case window:
		return t.window(x, f)
	case overAll:
		return t.overAll(x, f)
	case whole:
		return t.whole(x, f)
	case beyond:
		return t.beyond(x, f)
	case within:
		return t.within(x, f)
	case moment, moments:
		return t.moment(x, f)
	case two, votes:
		return t.several(x, f)
	case hours, clock:
		return t.ofDay(x, f)
	default:
		return t.watched(x, f)
	}
}

// misused is message 51.
func (t *typer) misused(x *syntax.Call, f function) typed {
	t.say("51", x, facts{"function": x.Func.Word(), "args": f.args, "y": f.example})
	return t.bad(x)
}

// plainArgs tells that an argument is a formula and nothing else.
func plainArg(a syntax.Argument) bool {
	return a.Expr != nil && !a.Word.Given()
}

// pointArg types an argument that must be a point.
func (t *typer) pointArg(x *syntax.Call, f function, a syntax.Argument) (typed, bool) {
	if !plainArg(a) {
		return t.misused(x, f), false
	}
	r := t.expr(a.Expr)
	if r.bad {
		return r, false
	}
	if r.point == nil {
		return t.misused(x, f), false
	}
	return r, true
}

// timeArg reads a time that is written out.
func (t *typer) timeArg(x *syntax.Call, f function, a syntax.Argument) (time.Duration, bool) {
	lit, ok := a.Expr.(*syntax.Literal)
	if !ok || a.IsEach() || a.IsTime() {
		t.misused(x, f)
		return 0, false
	}
	name := x.Func.Word()
	if lit.Plain() {
		n := lit.Measures[0].Number.Text()
		t.say("5", lit, facts{"x": n, "what": "The window of " + name, "quantity": "a time", "y": n + " min"})
		return 0, false
	}
	value, ok := t.c.convert(lit.Amount, units.Duration, name)
	if !ok {
		t.wrong = true
		return 0, false
	}
	d := seconds(value)
	if d < leastWindow || value > greatestWindow.Seconds() {
		t.say("18", lit, facts{"key": "the window of " + name, "least": "1 s", "greatest": "31 d",
			"meaning": "A window is kept in memory; older readings are on the page and in the record."})
		return 0, false
	}
	return d, true
}

func (t *typer) window(x *syntax.Call, f function) typed {
	if len(x.Args) == 1 && x.Args[0].IsEach() && f.op != formula.Rise && f.op != formula.Change {
		return t.overAll(x, function{f.args, f.example, map[formula.Op]formula.Op{formula.Mean: formula.MeanOf, formula.Highest: formula.HighestOf,
			formula.Lowest: formula.LowestOf, formula.Spread: formula.SpreadOf}[f.op], overAll})
	}
	if len(x.Args) < 2 || len(x.Args) > 3 || x.Args[1].IsAgo() || len(x.Args) == 3 && !x.Args[2].IsAgo() {
		return t.misused(x, f)
	}
	p, ok := t.pointArg(x, f, x.Args[0])
	if !ok {
		return t.bad(x)
	}
	if p.q == units.State || p.q == units.YesNo {
		t.noValue(p)
		return t.bad(x)
	}
	n := formula.Node{Op: f.op, Args: append(t.c.args.Take(1)[:0], p.node)}
	if n.Over, ok = t.timeArg(x, f, x.Args[1]); !ok {
		return t.bad(x)
	}
	if len(x.Args) == 3 {
		if n.Ago, ok = t.timeArg(x, f, x.Args[2]); !ok {
			return t.bad(x)
		}
	}
	if !t.seesEnough(x, f, p.point, n.Over) {
		return t.bad(x)
	}
	q := p.q
	switch f.op {
	case formula.Rise:
		q = q.Rate()
	case formula.Spread, formula.Change:
		q = q.Step()
	}
	return t.node(x, n, q)
}

// seesEnough is message 52: rise needs four readings.
func (t *typer) seesEnough(x *syntax.Call, f function, p *point, over time.Duration) bool {
	if f.op != formula.Rise || p.probe == nil || p.probe.plan.Every <= 0 {
		return true
	}
	every := p.probe.plan.Every
	sees := int(over / every)
	if sees >= riseReadings {
		return true
	}
	known := facts{"function": x.Func.Word(), "t": x.Args[1].String(), "n": trimmed(float64(sees)), "point": p.short, "probe": p.probe.name,
		"every": printedTime(every.Seconds()), "y": printedTime((every * (riseReadings + 1)).Seconds())}
	if t.builtIn { // nobody can widen a built-in window: the probe is read too seldom for it
		if t.skip != nil {
			t.skipper()(p.short + " often enough (" + p.probe.name + " reads every " + known["every"] + ")")
			return false
		}
	}
	t.say("52", x.Args[1], known)
	return false
}

// overAll types count(each deck/loaded), mean(each bin/temperature).
func (t *typer) overAll(x *syntax.Call, f function) typed {
	if len(x.Args) != 1 || !x.Args[0].IsEach() {
		return t.misused(x, f)
	}
	ref, ok := x.Args[0].Expr.(*syntax.RefTo)
	if !ok {
		return t.misused(x, f)
	}
	kind, name := ref.Station.Word(), ref.Point.Word()
	if t.c.words.kinds[kind] == nil {
		n := near(kind, t.c.words.kindNames)
		t.wrong = true
		t.c.say("22", ref.Station.Where(), facts{"what": "kind of station", "name": kind, "near": n, "why": orElse(n, "Kinds: "+strings.Join(t.c.words.kindNames, ", ")+".")})
		return t.bad(x)
	}
	var refs []string
	q := units.None
	for _, s := range t.c.order {
		p := s.points[name]
		if s.kindName() != kind || p == nil {
			continue
		}
		if p.how == Derived {
			t.c.derive(p)
		}
		if p.unsure {
			continue
		}
		p.used.Store(true)
		refs = append(refs, p.full)
		q = p.quantity
	}
	if len(refs) == 0 {
		if t.skip != nil {
			t.skipper()("each " + ref.String())
			return t.bad(x)
		}
		t.say("56", x, facts{"function": x.Func.Word(), "n": "one or more", "why": "No " + kind + " has the point " + name + "."})
		return t.bad(x)
	}
	if f.op == formula.CountOf {
		if q != units.YesNo && q != units.State {
			t.say("48", x.Args[0].Expr, facts{"x": ref.String(), "qx": q.Article(), "why": "count takes a yes/no point: declare one with point NAME for each " + kind + " is CONDITION."})
			return t.bad(x)
		}
		q = units.Count
	} else if f.op == formula.SpreadOf {
		q = q.Step()
	}
	return t.node(x, formula.Node{Op: f.op, Refs: refs}, q)
}

// whole types age(x) and neighbours(x).
func (t *typer) whole(x *syntax.Call, f function) typed {
	if len(x.Args) != 1 {
		return t.misused(x, f)
	}
	p, ok := t.pointArg(x, f, x.Args[0])
	if !ok {
		return t.bad(x)
	}
	if f.op == formula.Age {
		return t.node(x, formula.Node{Op: formula.Age, Ref: p.point.full}, units.Duration)
	}
	own := p.point.station
	var refs []string
	for _, s := range t.c.order {
		if own != nil && s != own && s.kindName() == own.kindName() && s.area == own.area && s.points[p.point.short] != nil {
			refs = append(refs, s.name+"/"+p.point.short)
		}
	}
	if len(refs) < 2 {
		if t.skip != nil {
			t.skipper()(p.point.short + " at two neighbours")
			return t.bad(x)
		}
		t.say("56", x, facts{"function": "neighbours", "n": "two other", "why": "It is the median of " + p.point.short +
			" at the other stations of this kind in the same area, and fewer than two others have it."})
		return t.bad(x)
	}
	for _, ref := range refs {
		t.c.points[ref].used.Store(true)
	}
	return t.node(x, formula.Node{Op: formula.MedianOf, Refs: refs}, p.q)
}

// beyond types time-above, time-below and heat-above.
func (t *typer) beyond(x *syntax.Call, f function) typed {
	if len(x.Args) != 3 || !plainArg(x.Args[1]) {
		return t.misused(x, f)
	}
	p, ok := t.pointArg(x, f, x.Args[0])
	if !ok {
		return t.bad(x)
	}
	if f.op == formula.HeatAbove && p.q != units.Temperature {
		return t.misused(x, f)
	}
	l := t.expr(x.Args[1].Expr)
	if l.bad {
		return t.bad(x)
	}
	if l, ok = t.settle(l, p.q, &p); !ok {
		return t.bad(x)
	}
	if !l.fixed {
		return t.misused(x, f)
	}
	if l.q != p.q {
		t.unlike(p, l, l.q)
		return t.bad(x)
	}
	over, ok := t.timeArg(x, f, x.Args[2])
	if !ok {
		return t.bad(x)
	}
	q := units.Duration
	if f.op == formula.HeatAbove {
		q = units.HeatDose
	}
	return t.node(x, formula.Node{Op: f.op, Args: []*formula.Node{p.node}, Value: l.node.Value, Over: over}, q)
}

// within types time-on.
func (t *typer) within(x *syntax.Call, f function) typed {
	if len(x.Args) != 2 {
		return t.misused(x, f)
	}
	p, ok := t.pointArg(x, f, x.Args[0])
	if !ok {
		return t.bad(x)
	}
	if p.q != units.State && p.q != units.YesNo {
		return t.misused(x, f)
	}
	over, ok := t.timeArg(x, f, x.Args[1])
	if !ok {
		return t.bad(x)
	}
	return t.node(x, formula.Node{Op: f.op, Args: []*formula.Node{p.node}, Over: over}, units.Duration)
}

// moment types time-since and times.
func (t *typer) moment(x *syntax.Call, f function) typed {
	want := 1
	if f.kind == moments {
		want = 2
	}
	if len(x.Args) != want || !plainArg(x.Args[0]) {
		return t.misused(x, f)
	}
	var m string
	var ok bool
	switch arg := x.Args[0].Expr.(type) {
	case *syntax.NameOf:
		m, ok = t.momentNamed(arg.Token, t.station, arg.Word())
	case *syntax.RefTo:
		s := t.c.stations[arg.Station.Word()]
		if s == nil {
			t.wrong = true
			t.c.stationNamed(arg.Station)
			return t.bad(x)
		}
		m, ok = t.momentNamed(arg.Token, s, arg.Point.Word())
	default:
		return t.misused(x, f)
	}
	if !ok {
		return t.bad(x)
	}
	n := formula.Node{Op: f.op, Moment: m}
	if f.kind == moment {
		return t.node(x, n, units.Duration)
	}
	if n.Over, ok = t.timeArg(x, f, x.Args[1]); !ok {
		return t.bad(x)
	}
	return t.node(x, n, units.Count)
}

func (t *typer) momentNamed(at syntax.Token, s *station, name string) (string, bool) {
	if s == nil {
		if d := t.c.words.each["probe"]; t.c.probes[t.owner] != nil && d != nil && slices.Contains(d.Moments, name) {
			return t.owner + "/" + name, true
		}
		t.say("22", at, facts{"what": "moment", "name": name, "why": "Moments belong to stations: write station/" + name + "."})
		return "", false
	}
	if slices.Contains(s.moments, name) || s.kind == nil {
		return s.name + "/" + name, s.kind != nil
	}
	n := near(name, s.moments)
	t.say("22", at, facts{"what": "moment", "name": name, "near": n, "why": orElse(n, "Moments of "+article(s.kindName())+": "+oneOf(s.moments)+".")})
	return "", false
}

// several types apart and vote.
func (t *typer) several(x *syntax.Call, f function) typed {
	values := x.Args
	if f.kind == votes {
		if len(values) < 3 || len(values) > 4 {
			return t.misused(x, f)
		}
		values = values[:len(values)-1]
	} else if len(values) != 2 {
		return t.misused(x, f)
	}
	var args []*formula.Node
	var firstValue typed
	for i, a := range values {
		if !plainArg(a) {
			return t.misused(x, f)
		}
		r := t.expr(a.Expr)
		if r.bad {
			return t.bad(x)
		}
		if r.lit != nil || r.q == units.State || r.q == units.YesNo || f.kind == votes && r.point == nil {
			return t.misused(x, f)
		}
		if i == 0 {
			firstValue = r
		} else if r.q != firstValue.q {
			t.unlike(firstValue, r, r.q)
			return t.bad(x)
		}
		args = append(args, r.node)
	}
	if f.kind == two {
		return t.node(x, formula.Node{Op: f.op, Args: args}, firstValue.q.Step())
	}
	last := x.Args[len(x.Args)-1]
	if !plainArg(last) {
		return t.misused(x, f)
	}
	d := t.expr(last.Expr)
	if d.bad {
		return t.bad(x)
	}
	d, ok := t.settle(d, firstValue.q.Step(), nil)
	if !ok {
		return t.bad(x)
	}
	if !d.fixed || d.q != firstValue.q.Step() {
		return t.misused(x, f)
	}
	return t.node(x, formula.Node{Op: f.op, Args: args, Value: d.node.Value, Lower: lowerIsWorse(firstValue)}, firstValue.q)
}

// lowerIsWorse: of two values of pH or oxygen the lower one is the dangerous one.
func lowerIsWorse(r typed) bool {
	return r.q == units.PH || r.point != nil && strings.Contains(r.point.short, "oxygen")
}

// ofDay types during and until.
func (t *typer) ofDay(x *syntax.Call, f function) typed {
	if len(x.Args) != 1 || !x.Args[0].IsTime() {
		return t.misused(x, f)
	}
	at := x.Args[0].Word
	if f.kind == clock {
		minutes, ok := clockMinutes(at.Text())
		if at.Kind != syntax.Clock || !ok {
			return t.misused(x, f)
		}
		return t.node(x, formula.Node{Op: f.op, From: int16(minutes % (24 * 60))}, units.Duration)
	}
	if at.Kind != syntax.Span {
		return t.misused(x, f)
	}
	span, ok := t.c.span(at)
	if !ok {
		t.wrong = true
		return t.bad(x)
	}
	return t.node(x, formula.Node{Op: f.op, From: int16(span.From), To: int16(span.To)}, units.YesNo)
}

// watched types watched(2 h) and watched(wash-in).
func (t *typer) watched(x *syntax.Call, f function) typed {
	if len(x.Args) == 0 {
		return t.node(x, formula.Node{Op: f.op}, units.YesNo)
	}
	if len(x.Args) != 1 || !plainArg(x.Args[0]) {
		return t.misused(x, f)
	}
	if _, isLiteral := x.Args[0].Expr.(*syntax.Literal); isLiteral {
		over, ok := t.timeArg(x, f, x.Args[0])
		if !ok {
			return t.bad(x)
		}
		return t.node(x, formula.Node{Op: f.op, Over: over}, units.YesNo)
	}
	r := t.expr(x.Args[0].Expr)
	if r.bad {
		return t.bad(x)
	}
	if r.q != units.Duration {
		return t.misused(x, f)
	}
	return t.node(x, formula.Node{Op: f.op, Args: []*formula.Node{r.node}}, units.YesNo)
}
