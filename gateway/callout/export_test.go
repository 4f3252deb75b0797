package callout

import (
	"millwarden/internal/reading"
	"millwarden/rules/engine"
)

// Compose is the message about one alarm, for tests that need a rules file with its channels.
func Compose(r Roster, s engine.Standing, to Person, now reading.Stamp) Message {
	return r.prepared().compose([]engine.Standing{s}, &to, "", 0, now)
}
