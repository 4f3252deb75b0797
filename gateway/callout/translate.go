package callout

import (
	"cmp"
	"slices"

	"millwarden/rules/engine"
)

// Translation is what the site says of one of its alarms in another language. What is "" stays in that of the rules file.
type Translation struct {
	Language, Alarm                            string // the alarm's name, without its place
	Title, Cause, Consequence, Action, Caution string
}

// inWords gives the occurrences with their alarms in the language of who is called, as far as the site has the words; they are copies where there are some.
func (r *Roster) inWords(standings []engine.Standing, to *Person) []engine.Standing {
	language := cmp.Or(to.Language, r.Language)
	copied := false
	for i := range standings {
		at := slices.IndexFunc(r.Said, func(t Translation) bool { return t.Language == language && t.Alarm == standings[i].Alarm.Name })
		if at < 0 {
			continue
		}
		if !copied {
			standings, copied = slices.Clone(standings), true
		}
		a, t := *standings[i].Alarm, &r.Said[at]
		a.Title, a.Cause, a.Consequence = cmp.Or(t.Title, a.Title), cmp.Or(t.Cause, a.Cause), cmp.Or(t.Consequence, a.Consequence)
		a.Action, a.Caution = cmp.Or(t.Action, a.Action), cmp.Or(t.Caution, a.Caution)
		standings[i].Alarm = &a
	}
	return standings
}
