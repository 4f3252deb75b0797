package floor

import (
	"context"
	"fmt"

	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/rules/engine"
)

// hiding is who took an alarm from sight, and why. The engine decides without it; the lists of shelved alarms and of those out of service must say it.
type hiding struct{ by, why string }

// noteHiding remembers who shelved or removed. The caller holds deciding.
func (f *Floor) noteHiding(t *engine.Transition) {
	if isHidden(t.To) && t.By != "" {
		f.hidden[t.Alarm.ID] = hiding{t.By, t.Why}
	}
}

func isHidden(s engine.State) bool { return s == engine.Shelved || s == engine.OutOfService }

// hidingsMost bounds the lines that are read for one alarm at the start. Chosen: who hid it is among the newest.
const hidingsMost = 50

// recallHidings reads from the record who hid what is hidden at the start. What the record cannot tell is left open: it hides nothing.
func (f *Floor) recallHidings(ctx context.Context) {
	for _, st := range f.engine.Standings(nil) {
		if !isHidden(st.State) {
			continue
		}
		lines, err := f.logbook.Entries(ctx, logbook.Filter{Kinds: []logbook.Kind{logbook.Transition}, Alarm: st.Alarm.ID, Newest: true, Limit: hidingsMost})
		if err != nil {
			f.log.Error("who hid an alarm cannot be read", "alarm", st.Alarm.ID, "cause", err)
			return
		}
		for i := range lines {
			if _, to := step(&lines[i]); to == st.State.String() && lines[i].Who != "" {
				f.hidden[st.Alarm.ID] = hiding{lines[i].Who, lines[i].Why}
				break
			}
		}
	}
}

// addHiding says who hid an alarm and why; of one that is suppressed by design, what it depends on.
func (f *Floor) addHiding(shown *web.Alarm, st *engine.Standing) {
	switch {
	case isHidden(st.State):
		h := f.hidden[st.Alarm.ID]
		shown.HiddenBy, shown.HiddenWhy = f.personTitle(h.by), h.why
	case st.State == engine.Suppressed && st.Alarm.SuppressedWhile != nil:
		shown.HiddenWhy = fmt.Sprintf("while %s", st.Alarm.SuppressedWhile.Text)
	}
}
