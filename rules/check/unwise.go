package check

import (
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"millwarden/internal/diag"
	"millwarden/internal/units"
	"millwarden/rules/engine"
	"millwarden/rules/formula"
	"millwarden/rules/syntax"
)

// checkUnwise says what is legal and will be regretted. Built-in alarms are spoken of only where the site's own text made the trouble.
func (c *checker) checkUnwise() {
	for _, a := range c.alarmList {
		if !a.ours() || a.kind != engine.KindAlarm {
			continue
		}
		for i := range a.made {
			if e := &a.made[i]; e.When != nil {
				c.ringsBefore(a, e)
			}
		}
		c.textFits(a)
		c.translated(a)
	}
	c.lateSteps()
	c.mailAlone()
}

// unwise says of one alarm what it will be regretted for whatever the others are.
func (c *checker) unwise(a *alarm, e *engine.Alarm) {
	if e.Kind != engine.KindAlarm || e.When == nil {
		return
	}
	c.toldTooLate(a, e)
	c.deadbandKeeps(a, e)
	if a.ours() {
		c.waitsForPeople(a, e)
	}
}

// toldTooLate is W5: delay and update time together leave no time. What people enter by hand is told when they enter it.
func (c *checker) toldTooLate(a *alarm, e *engine.Alarm) {
	if e.OnDelay >= e.RespondWithin || e.OnDelay+c.slowest <= e.RespondWithin {
		return
	}
	for _, name := range e.When.Points() {
		p := c.points[name]
		if p == nil || p.probe == nil || p.probe.plan.Bus == ByHand || e.OnDelay+p.probe.plan.Every <= e.RespondWithin || e.OnDelay >= e.RespondWithin {
			continue
		}
		at := p.probe.Name.Where()
		if l := line(p.probe.block, "every"); l != nil {
			at = l.Value.Where()
		}
		if l := line(a.from(e.Place, "on-delay"), "on-delay"); l != nil && a.from(e.Place, "on-delay").ours() {
			at = l.Value.Where()
		}
		c.say("W5", at, facts{"alarm": a.name, "a": printedTime(e.OnDelay.Seconds()), "b": printedTime(p.probe.plan.Every.Seconds()), "point": p.full,
			"c": printedTime(e.RespondWithin.Seconds())})
		return
	}
}

// deadbandKeeps is W12: with the deadband, what the probe can read never clears the alarm.
func (c *checker) deadbandKeeps(a *alarm, e *engine.Alarm) {
	b := a.from(e.Place, "deadband")
	l := line(b, "deadband")
	if l == nil || !b.ours() {
		return
	}
	e.When.Walk(func(n *formula.Node) {
		if n.Op < formula.Less || n.Op > formula.GreaterEq || n.Args[0].Op != formula.Point || n.Args[1].Op != formula.Const {
			return
		}
		p := c.points[n.Args[0].Ref]
		if p == nil || p.rng == nil {
			return
		}
		above := n.Op == formula.Greater || n.Op == formula.GreaterEq
		if limit := n.Args[1].Value; above && limit-n.Deadband <= p.rng.Low || !above && limit+n.Deadband >= p.rng.High {
			c.say("W12", l.Value.Where(), facts{"x": printed(n.Deadband, n.Args[0].Quantity.Step()), "alarm": a.name, "point": p.full})
		}
	})
}

// saidByPeople are the points and moments that stand only because somebody said so.
var saidByPeople = []string{"loaded", "empty", "soak-time", "drying-time", "stored-time", "emptied", "washed", "hand-checked", "stirred", "covered", "uncovered",
	"turned", "cleaned", "charged", "first-crack", "past-first-crack", "chaff-emptied", "ducts-cleaned"}

// waitsForPeople is W16.
func (c *checker) waitsForPeople(a *alarm, e *engine.Alarm) {
	if e.Class != engine.Safety {
		return
	}
	for _, key := range []string{"when", "while"} {
		n := map[string]*formula.Node{"when": e.When, "while": e.While}[key]
		l := line(a.block, key)
		n.Walk(func(m *formula.Node) {
			_, name, _ := strings.Cut(m.Ref+m.Moment, "/")
			if slices.Contains(saidByPeople, name) && l != nil {
				c.say("W16", l.Value.Where(), facts{"alarm": a.name, "state": name})
			}
		})
	}
}

// ringsBefore is W17.
func (c *checker) ringsBefore(a *alarm, e *engine.Alarm) {
	for _, t := range namesOf(line(a.block, "depends-on")) {
		other := c.alarms[t.Word()]
		if other == nil || other == a { // of those of one name the first is judged first
			continue
		}
		for i := range other.made {
			o := &other.made[i]
			if slices.Contains(e.DependsOn, o.ID) && e.OnDelay <= o.OnDelay {
				c.say("W17", t.Where(), facts{"a": a.name, "b": other.name, "x": printedTime(e.OnDelay.Seconds()), "y": printedTime(o.OnDelay.Seconds())})
			}
		}
	}
}

// A text message holds 160 letters of the alphabet of 3GPP TS 23.038 (section 6.2.1), or 70 of any other.
const textLetters = 160

// plainAlphabet is that alphabet, as far as it is written: the basic table without its control signs, and what its extension adds.
const plainAlphabet = "@£$¥èéùìòÇØøÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà" +
	"^{}\\[~]|€"

// plainForms are what to write for marks that have no plain form on the way.
var plainForms = map[rune]string{'→': "to", '×': "x", '·': "-", '•': "-", '²': "2", '³': "3", '½': "half", '≥': "at least", '≤': "at most"}

// transliterated letters are changed to plain ones on the way, so they cost nothing.
const transliterated = "áíóúÁÍÓÚãõâêôç°’‘“”–—…µ"

// textFits is W2 and W4: what a text message can carry of the first sentence of action, at the place with the longest name, in each language that the file has.
func (c *checker) textFits(a *alarm) {
	if len(a.made) == 0 || !slices.ContainsFunc(c.plan.Channels, func(ch Channel) bool { return ch.Kind == "text" }) {
		return
	}
	rest := textLetters
	for i := range a.made {
		e := &a.made[i]
		rest = max(0, min(rest, textLetters-utf8.RuneCountInString(textAround(e))))
	}
	c.sentenceFits(a, line(a.block, "action"), rest)
	for _, b := range c.of("words") {
		if b.Kind.Word() == a.name {
			c.sentenceFits(a, line(b, "action"), rest)
		}
	}
}

func (c *checker) sentenceFits(a *alarm, l *syntax.Line, rest int) {
	if l == nil {
		return
	}
	texts, ok := l.Value.(*syntax.Texts)
	if !ok || len(texts.Pieces) == 0 {
		return
	}
	first := firstSentence(texts.Value)
	for i, r := range []rune(first) {
		if strings.ContainsRune(plainAlphabet, r) || strings.ContainsRune(transliterated, r) {
			continue
		}
		y := plainForms[r]
		if y == "" {
			y = "it with the letters a to z"
		}
		c.say("W4", letterAt(texts, i), facts{"x": string(r), "y": y})
		break
	}
	if n := utf8.RuneCountInString(first); n > rest {
		c.say("W2", letterAt(texts, rest), facts{"alarm": a.name, "n": trimmed(float64((n-rest+textLetters-1)/textLetters + 1)), "max": trimmed(float64(rest))})
	}
}

// textAround is all that a text message holds beside the first sentence of action.
func textAround(e *engine.Alarm) string {
	shown := ""
	e.When.Walk(func(n *formula.Node) {
		if shown == "" && n.Op >= formula.Less && n.Op <= formula.GreaterEq {
			shown = n.Args[0].Text + " 000.0 " + units.Choice{}.Unit(n.Args[0].Quantity).Printed + ", limit " + n.Args[1].Text
			if n.Args[1].Op == formula.Const {
				shown = n.Args[0].Text + " 000.0, limit " + printed(n.Args[1].Value, n.Args[1].Quantity)
			}
		}
	})
	return e.PlaceTitle + " " + shown + ", since 00:00.  Reply 1 0000 = I am on it."
}

// firstSentence is what a text message carries of an action.
func firstSentence(action string) string {
	if i := strings.Index(action, ". "); i >= 0 {
		return action[:i+1]
	}
	return action
}

// letterAt is the place of letter n of a text.
func letterAt(t *syntax.Texts, n int) diag.Range {
	for _, piece := range t.Pieces {
		length := utf8.RuneCountInString(piece.Text())
		if n < length {
			r := piece.Where()
			r.Column += n + 1 // behind the quote
			r.Width = 1
			return r
		}
		n -= length + 1
	}
	return t.Where()
}

// translated is W20: the site has begun to translate its texts into a language that somebody reads, and this alarm is left.
func (c *checker) translated(a *alarm) {
	for _, p := range c.plan.People {
		begun, has := false, false
		for _, b := range c.of("words") {
			if b.Name.Word() == p.Language {
				begun, has = true, has || b.Kind.Word() == a.name
			}
		}
		if begun && !has && len(a.made) > 0 {
			c.say("W20", a.Name.Where(), facts{"alarm": a.name, "language": p.Language, "person": p.Name, "other": "the words of the file"})
			return
		}
	}
}

// lateSteps is W15: a step that comes when no alarm of priority high can be answered in time any more.
func (c *checker) lateSteps() {
	longest, alarm := time.Duration(0), ""
	for _, a := range c.alarmList {
		for i := range a.made {
			e := &a.made[i]
			if e.Kind == engine.KindAlarm && e.RespondWithin > longest {
				longest, alarm = e.RespondWithin, a.name
			}
		}
	}
	for _, b := range c.of("watch") {
		steps := b.Find("after")
		if len(steps) == 0 || !b.ours() || alarm == "" {
			continue
		}
		last, ok := steps[len(steps)-1].Value.(*syntax.Step)
		if !ok {
			continue
		}
		w := slices.IndexFunc(c.plan.Watches, func(w Watch) bool { return w.Name == b.Name.Word() })
		if w < 0 || len(c.plan.Watches[w].Steps) == 0 {
			continue
		}
		if after := c.plan.Watches[w].Steps[len(c.plan.Watches[w].Steps)-1].After; after > longest {
			c.say("W15", last.After.Where(), facts{"a": printedTime(after.Seconds()), "alarm": alarm, "b": printedTime(longest.Seconds())})
		}
	}
}

// mailAlone is W21.
func (c *checker) mailAlone() {
	for _, b := range c.of("watch") {
		if !b.ours() || b.Has("digest") {
			continue
		}
		for _, l := range b.Lines {
			var p *syntax.People
			switch v := l.Value.(type) {
			case *syntax.People:
				p = v
			case *syntax.Step:
				p = &v.People
			}
			if p == nil || len(p.By) == 0 || len(p.Names) == 0 || slices.ContainsFunc(p.By, func(t syntax.Token) bool {
				ch := c.channels[t.Word()]
				return ch == nil || ch.plan.Kind != "mail"
			}) {
				continue
			}
			c.say("W21", p.Where(), facts{"person": p.Names[0].Word()})
		}
	}
}
