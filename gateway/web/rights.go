package web

import "slices"

// Right is what a route, or an act, asks for.
type Right string

// The rights.
const (
	Anyone      Right = "anyone"      // without a login
	See         Right = "see"         // what stands now, and its course
	Study       Right = "study"       // the record: lots, alarms, acts of people, figures
	Own         Right = "own"         // one's own login
	Acknowledge Right = "acknowledge" // acknowledge and reset alarms
	Exercise    Right = "drill"       // send an exercise to somebody
	Tend        Right = "lots"        // load, empty, and what else is written of lots
	Shelve      Right = "shelve"      // silence an alarm for a while
	Remove      Right = "remove"      // take an alarm out of service, and back
	Adjust      Right = "calibrate"   // calibrate probes
	Write       Right = "write"       // read and change the rules file: it holds telephone numbers
	Swaps       Right = "swaps"       // take somebody's calls for a while, or give one's own to somebody
	Arrange     Right = "roster"      // the same for everybody, and holidays
	Manage      Right = "manage"      // who may log in
)

// holders is who has which right. The roles are those of the rules file (person, rights). Chosen with the work of the people in mind: the crew may do at
// night what the night needs, and shelving ends by itself; what stays changed needs the technician or the owner; the reader is a screen on the wall;
// the auditor looks at everything and changes nothing.
var holders = map[Right][]string{
	See:         {"owner", "technician", "crew", "reader", "auditor"},
	Study:       {"owner", "technician", "crew", "auditor"},
	Own:         {"owner", "technician", "crew", "reader", "auditor"},
	Acknowledge: {"owner", "technician", "crew"},
	Exercise:    {"owner", "technician", "crew"},
	Tend:        {"owner", "technician", "crew"},
	Shelve:      {"owner", "technician", "crew"},
	Remove:      {"owner", "technician"},
	Adjust:      {"owner", "technician"},
	Write:       {"owner", "technician"},
	Swaps:       {"owner", "technician", "crew"},
	Arrange:     {"owner", "technician"},
	Manage:      {"owner"},
}

// May tells whether a role of the rules file has a right. A role or a right that is not in the table has none.
func May(role string, r Right) bool { return r == Anyone || slices.Contains(holders[r], role) }

// actRights is what each act asks for.
var actRights = map[string]Right{
	DoAcknowledge: Acknowledge, DoReset: Acknowledge, DoShelve: Shelve, DoUnshelve: Shelve, DoRemove: Remove, DoReturn: Remove, DoLoad: Tend, DoEmpty: Tend,
	DoCloseOut: Acknowledge, DoNote: Tend, DoMark: Tend, DoEnter: Tend, DoDrill: Exercise,
}

// RightOf is what an act asks for; of an act that is not in the table a right that nobody has.
func RightOf(do string) Right { return actRights[do] }
