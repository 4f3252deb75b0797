package callout_test

import (
	"io/fs"
	"os"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"
	"time"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"millwarden/drivers/catalog"
	"millwarden/gateway/callout"
	"millwarden/gateway/floor"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/rules"
	"millwarden/rules/engine"
	"millwarden/rules/formula"
	"millwarden/rules/standard"
)

// septets counts a text as one message of a telephone takes it, by hand from 3GPP TS 23.038, section 6.2.1: marks that the seven bits lack are left out, a sign of the extension is two. It fails the
// test for a sign that would need UCS-2 all the same.
func septets(t *testing.T, text string) int {
	t.Helper()
	n := 0
	for _, sign := range norm.NFD.String(strings.ReplaceAll(text, "°", "")) {
		switch {
		case unicode.Is(unicode.Mn, sign): // written without, or one septet with its letter: é ñ ü
		case strings.ContainsRune("[]{}\\^~|€", sign):
			n += 2
		case sign >= ' ' && sign <= '~' && sign != '`', strings.ContainsRune("¿¡", sign):
			n++
		default:
			t.Errorf("%q needs UCS-2 in %s", sign, text)
		}
	}
	return n
}

// atLimit is the value that a message would say: the first comparison of the condition, at its limit.
func atLimit(n *formula.Node) []engine.Shown {
	var values []engine.Shown
	n.Walk(func(n *formula.Node) {
		if n.Op >= formula.Less && n.Op <= formula.GreaterEq && len(values) == 0 && n.Args[1].Op == formula.Const {
			v := engine.Shown{Text: n.Args[0].Text, Value: n.Args[1].Value, Limit: n.Args[1].Value, HasLimit: true, Quantity: n.Args[0].Quantity}
			if n.Args[0].Op == formula.Point {
				v.Point, v.Text = n.Args[0].Ref, n.Args[0].Ref
			}
			values = append(values, v)
		}
	})
	return values
}

// smoke is a site with what the examples lack.
const smoke = `site mill
    timezone UTC

station dryer-1 is dryer
station roaster-1 is roaster

probe panel
    part modbus on tcp 127.0.0.1:1502 unit 1
    contact input 0 is smoke
    gives smoke at dryer-1
    every 5 s

probe roaster-panel
    part modbus on tcp 127.0.0.1:1502 unit 2
    contact input 0 is smoke
    gives smoke at roaster-1
    every 5 s

use drying, roasting
`

// Aim: the text message of every built-in alarm is one message of 160 septets with place, what, what can hurt and what to do whole, and how to answer, in both languages. That some are too long with all
// that can be spared is the control.
func TestCompose_short(t *testing.T) {
	words, err := phrase.Parse(catalog.Text() + floor.ChannelDeclares())
	if err != nil {
		t.Fatal(err)
	}
	built := regexp.MustCompile(`(?m)^alarm ([a-z0-9-]+)`)
	missing := map[string]bool{}
	for _, subject := range standard.Subjects() {
		text, _ := standard.Text(subject)
		for _, m := range built.FindAllStringSubmatch(text, -1) {
			missing[m[1]] = true
		}
	}
	all, longest := len(missing), 0
	since := reading.Stamp{Wall: time.Date(2026, 3, 4, 2, 14, 0, 0, time.UTC), Set: true}
	now := reading.Stamp{Wall: since.Wall.Add(6 * time.Minute), Mono: 6 * time.Minute, Set: true}
	good := os.DirFS("../../testdata/rules/good")
	for name, files := range map[string]fs.FS{"fern-hollow.rules": good, "additions.rules": good, "millers-twenty.rules": good, "three-boards/hub.rules": good,
		"smoke.rules": fstest.MapFS{"smoke.rules": {Data: []byte(smoke)}}} {
		plan, list, _ := rules.Load(files, name, words)
		if plan == nil {
			t.Fatal(list)
		}
		for i := range plan.Engine.Alarms {
			a := &plan.Engine.Alarms[i]
			if !strings.HasPrefix(a.File, standard.Prefix) || a.Kind != engine.KindAlarm {
				continue
			}
			delete(missing, a.Name)
			s := engine.Standing{Alarm: a, State: engine.Unacknowledged, Occurrence: 4123, ActiveSince: since, Since: since, Values: atLimit(a.When)}
			for _, language := range []string{"en", "es"} {
				m := callout.Compose(callout.Roster{Zone: time.UTC}, s, callout.Person{Language: language}, now)
				text := m.Text
				for _, part := range m.Spare {
					text = strings.ReplaceAll(text, part, "")
				}
				if n := septets(t, text+" "+m.Answer); n > 160 {
					t.Errorf("%s %s: %d septets with all left out that can be spared: %s %s", a.ID, language, n, text, m.Answer)
				}
				longest = max(longest, septets(t, m.Text+" "+m.Answer))
			}
		}
	}
	if longest <= 160 {
		t.Error("none was too long: the count cannot refuse")
	}
	if len(missing) > 0 || all < 60 {
		t.Errorf("of %d built-in alarms none of the examples has %v", all, missing)
	}
}
