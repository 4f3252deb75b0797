package engine

// State is what an alarm shows: the nine states of ISA-18.2 / IEC 62682 (letters A to I of the standard's figure).
type State uint8

const (
	Normal                 State = iota // A
	Unacknowledged                      // B: the only one that calls people
	Acknowledged                        // C; a prompt or event that stands shows this too, since it never calls
	ReturnedUnacknowledged              // D
	LatchedUnacknowledged               // E
	LatchedAcknowledged                 // F: waits for a reset
	Shelved                             // G
	Suppressed                          // H: by design
	OutOfService                        // I
	states
)

func (s State) String() string {
	return [...]string{"normal", "unacknowledged", "acknowledged", "returned, unacknowledged", "latched, unacknowledged", "latched, acknowledged",
		"shelved", "suppressed by design", "out of service"}[s]
}

// Letter is the letter of the state in the standard's figure.
func (s State) Letter() string { return "ABCDEFGHI"[s : s+1] }

// Hidden tells the three states in which an alarm goes on being judged and logged, but calls nobody.
func (s State) Hidden() bool { return s >= Shelved }

// Event is what can happen to an alarm. The first eleven are the columns of the table; Withdraw is the end of an alarm whose rule is gone.
type Event uint8

const (
	Occur Event = iota
	Clear
	Acknowledge
	Reset
	ReAnnunciate
	Shelve
	Unshelve // by a person, or because the shelf ended
	Suppress
	Unsuppress
	Remove // from service
	Return // to service
	events
	Withdraw = events
)

func (e Event) String() string {
	return [...]string{"occur", "clear", "acknowledge", "reset", "re-annunciate", "shelve", "unshelve", "suppress", "unsuppress",
		"remove from service", "return to service", "withdraw"}[e]
}

// goal is one cell of the table: a state, or what it hangs on.
type goal uint8

const (
	toA goal = iota
	toB
	toC
	toD
	toE
	toF
	toG
	toH
	toI
	xx            // refused: nothing changes
	returned      // D, latching: E
	settled       // A, latching: F
	leave         // B while the condition is present; E if latching and active since the last reset; else A
	ifShelved     // stays if it was also shelved, else refused
	ifSuppressed  // stays if suppression holds, else refused
	shelfOrLeave  // G if the shelf still runs, else leave
	hiddenOrLeave // H if suppression holds, G if the shelf runs, else leave
)

// table is the life of an alarm: from state (row) by event (column). [ISA-18.2 / IEC 62682 figure 3 for A to F; how the hidden states G, H, I
// combine follows OPC 10000-9: three independent flags, with I shown before H before G.] Held by TestTable_everyCell.
var table = [states][events]goal{
	//             occur clear     ack  reset reann shelve unshelve  suppress unsuppress remove return
	Normal:                 {toB, toA, xx, xx, toA, toG, xx, toH, xx, toI, xx},
	Unacknowledged:         {toB, returned, toC, xx, toB, toG, xx, toH, xx, toI, xx},
	Acknowledged:           {toC, settled, xx, xx, toB, toG, xx, toH, xx, toI, xx},
	ReturnedUnacknowledged: {toB, toD, toA, xx, toD, toG, xx, toH, xx, toI, xx},
	LatchedUnacknowledged:  {toB, toE, toF, xx, toE, toG, xx, toH, xx, toI, xx},
	LatchedAcknowledged:    {toB, toF, xx, toA, toF, toG, xx, toH, xx, toI, xx},
	Shelved:                {toG, toG, xx, xx, toG, toG, leave, toH, xx, toI, xx},
	Suppressed:             {toH, toH, xx, xx, toH, xx, ifShelved, toH, shelfOrLeave, toI, xx},
	OutOfService:           {toI, toI, xx, xx, toI, xx, ifShelved, toI, ifSuppressed, toI, hiddenOrLeave},
}

// facts are all that the life of an alarm hangs on.
type facts struct {
	base       State // A to F; counts only while nothing hides it
	shelved    bool
	suppressed bool
	removed    bool
	present    bool // the condition, after its delays
	remembered bool // latching: it was present since the last reset
	latching   bool
}

// shown is the state that people see: out of service before suppressed before shelved.
func (f facts) shown() State {
	switch {
	case f.removed:
		return OutOfService
	case f.suppressed:
		return Suppressed
	case f.shelved:
		return Shelved
	}
	return f.base
}

// next gives the facts after an event, and whether that opens a new occurrence; or why it is refused. It does nothing else.
func next(f facts, event Event) (after facts, opens bool, refusal string) {
	from := f.shown()
	cell := table[from][event]
	if cell == xx || (cell == ifShelved && !f.shelved) || (cell == ifSuppressed && !f.suppressed) {
		return f, false, refused(from, event)
	}
	after = f
	after.mark(event)
	if to := after.reach(cell); !to.Hidden() {
		after.base = to
	}
	opens = after.shown() == Unacknowledged && from != Unacknowledged && from != Acknowledged
	return after, opens, ""
}

// mark sets the flag that an event is about.
func (f *facts) mark(event Event) {
	switch event {
	case Occur:
		f.present, f.remembered = true, f.latching
	case Clear:
		f.present = false
	case Reset:
		f.remembered = false
	case Shelve:
		f.shelved = true
	case Unshelve:
		f.shelved = false
	case Suppress:
		f.suppressed = true
	case Unsuppress:
		f.suppressed = false
	case Remove:
		f.removed = true
	case Return:
		f.removed = false
	}
}

// reach turns a cell into the state shown, with the flags as they are after the event.
func (f facts) reach(cell goal) State {
	switch cell {
	case returned:
		if f.latching {
			return LatchedUnacknowledged
		}
		return ReturnedUnacknowledged
	case settled:
		if f.latching {
			return LatchedAcknowledged
		}
		return Normal
	case ifShelved, ifSuppressed:
		return f.shown()
	case leave, shelfOrLeave, hiddenOrLeave:
		if f.shown().Hidden() {
			return f.shown()
		}
		return f.exit()
	}
	return State(cell)
}

// exit is the state of an alarm that nothing hides any more: one that is present is annunciated afresh, whoever had acknowledged it before.
func (f facts) exit() State {
	switch {
	case f.present:
		return Unacknowledged
	case f.latching && f.remembered:
		return LatchedUnacknowledged
	}
	return Normal
}

// refused says why an event changes nothing in a state, so that a person knows what to do instead.
func refused(from State, event Event) string {
	switch event {
	case Acknowledge:
		if from == Acknowledged || from == LatchedAcknowledged {
			return "it is already acknowledged"
		}
		return "it is " + from.String() + ", nothing waits for an acknowledgement"
	case Reset:
		if from == LatchedUnacknowledged {
			return "it must be acknowledged first"
		}
		return "it is " + from.String() + ", a reset needs a latched alarm that has returned and is acknowledged"
	case Unshelve:
		return "it is not shelved"
	case Unsuppress:
		return "it is not suppressed"
	case Return:
		return "it is not out of service"
	}
	return "it is " + from.String()
}
