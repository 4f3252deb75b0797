package floor

import (
	"context"
	"errors"
	"fmt"

	"millwarden/gateway/callout"
	"millwarden/gateway/logbook"
	"millwarden/gateway/logbook/lots"
	"millwarden/gateway/web"
	"millwarden/rules/engine"
)

var engineEvents = map[string]engine.Event{
	web.DoAcknowledge: engine.Acknowledge, web.DoReset: engine.Reset, web.DoShelve: engine.Shelve, web.DoUnshelve: engine.Unshelve,
	web.DoRemove: engine.Remove, web.DoReturn: engine.Return,
}

// Act does one act of a person, with its line in the logbook, or refuses it with a *web.Refusal.
func (f *Floor) Act(ctx context.Context, a web.Act) error {
	if err := f.may(a.By, web.RightOf(a.Do)); err != nil {
		return err
	}
	switch a.Do {
	case web.DoLoad, web.DoEmpty:
		_, err := f.Enter(ctx, web.Entering{By: a.By, Step: lots.Step{Do: lots.Do(a.Do), Station: a.Station, Lot: a.Lot, Kg: lots.Kilograms(a.Kilograms), Note: a.Why}})
		return err
	case web.DoNote:
		return f.note(a)
	case web.DoMark:
		return f.mark(ctx, a)
	case web.DoEnter:
		return f.enterReading(ctx, a)
	case web.DoCloseOut:
		return f.closeOut(ctx, a)
	case web.DoDrill:
		return f.beginDrill(a)
	case web.DoAcknowledge:
		if a.Alarm == callout.DrillAlarm {
			return f.answerDrill(a)
		}
	}
	event, known := engineEvents[a.Do]
	if !known {
		return &web.Refusal{Kind: web.RefusedInput, Says: fmt.Sprintf("There is no act %q.", a.Do)}
	}
	var refused error
	err := f.onFlow(ctx, func() {
		f.deciding.Lock()
		transitions, err := f.engine.Act(engine.Act{Event: event, Alarm: a.Alarm, Occurrence: a.Occurrence, By: a.By, Why: a.Why, Second: a.Second, For: a.For,
			At: f.clock.Now()}, nil)
		f.deciding.Unlock()
		refused = f.refusal(a, err)
		f.follow(transitions)
	})
	return errors.Join(err, refused)
}

// may checks who acts: a person of the rules file, with the right to it.
func (f *Floor) may(person string, right web.Right) error {
	for _, p := range f.plan().People {
		if p.Name != person {
			continue
		}
		if !web.May(p.Rights, right) {
			return &web.Refusal{Kind: web.RefusedRights, Says: p.Title + " may not do that (rights " + p.Rights + ")."}
		}
		return nil
	}
	return &web.Refusal{Kind: web.RefusedRights, Says: fmt.Sprintf("%q is no person of the rules file.", person)}
}

// refusal puts the engine's refusal into the page's words, and an attempt that was refused into the logbook.
func (f *Floor) refusal(a web.Act, err error) error {
	var r *engine.Refusal
	if !errors.As(err, &r) {
		return err
	}
	f.write(logbook.Entry{Kind: logbook.Act, Alarm: a.Alarm, Occurrence: a.Occurrence, Who: a.By, Why: a.Why, Text: a.Do + " refused: " + r.Text})
	kind := web.RefusedState
	switch r.Kind {
	case engine.NoSuchAlarm:
		kind = web.RefusedUnknown
	case engine.Superseded:
		kind = web.RefusedSuperseded
	case engine.Incomplete:
		kind = web.RefusedInput
	case engine.Already:
		return &web.Refusal{Kind: kind, Says: fmt.Sprintf("%s acknowledged it already, at %s.", f.personTitle(r.By), r.At.Wall.In(f.plan().Site.Zone).Format("15:04"))}
	}
	return &web.Refusal{Kind: kind, Says: r.Text}
}

// note writes down what a person saw or did at a station, with the lot that stands there.
func (f *Floor) note(a web.Act) error {
	if _, known := f.plan().kinds[a.Station]; !known {
		return &web.Refusal{Kind: web.RefusedUnknown, Says: fmt.Sprintf("There is no station %q.", a.Station)}
	}
	f.deciding.Lock()
	lot := f.stays[a.Station].Lot
	f.deciding.Unlock()
	_, err := f.logbook.Write(logbook.Entry{At: f.clock.Now(), Kind: logbook.Note, Place: a.Station, Lot: lot, Who: a.By, Text: a.Why})
	return err
}
