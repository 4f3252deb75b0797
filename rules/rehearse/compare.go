package rehearse

import (
	"slices"
	"strings"

	"millwarden/rules/engine"
)

// Difference is a transition that only one of two rules files makes.
type Difference struct {
	engine.Transition
	First bool // only the first file makes it; else only the second
}

// Compare gives what differs between two rehearsals of the same readings, in order of time. A transition is the same if the same alarm takes
// the same step at the same instant, whatever its words.
func Compare(first, second []engine.Transition) []Difference {
	count := map[step]int{}
	for i := range second {
		count[stepOf(&second[i])]++
	}
	var differs []Difference
	for i := range first {
		s := stepOf(&first[i])
		if count[s] > 0 {
			count[s]--
			continue
		}
		differs = append(differs, Difference{first[i], true})
	}
	for i := len(second) - 1; i >= 0; i-- { // what is left over are the last ones of their step
		if s := stepOf(&second[i]); count[s] > 0 {
			count[s]--
			differs = append(differs, Difference{second[i], false})
		}
	}
	slices.SortStableFunc(differs, func(a, b Difference) int {
		if c := a.At.Wall.Compare(b.At.Wall); c != 0 {
			return c
		}
		if a.First != b.First {
			return map[bool]int{true: -1, false: 1}[a.First]
		}
		return strings.Compare(a.Alarm.ID, b.Alarm.ID)
	})
	return differs
}

// step is what makes two transitions the same.
type step struct {
	alarm    string
	event    engine.Event
	from, to engine.State
	at       int64
}

func stepOf(t *engine.Transition) step {
	return step{t.Alarm.ID, t.Event, t.From, t.To, t.At.Wall.UnixNano()}
}
