package web

import "time"

// offset is how far the site's clock is ahead of UTC between two moments, in Unix milliseconds; 0 is no bound. The page tells the hour by it: the
// browser's own zones take a phone half a second to load.
type offset struct {
	From    int64 `json:"from,omitempty"`
	To      int64 `json:"to,omitempty"`
	Minutes int   `json:"minutes"`
}

// Reach of the offsets around the moment at which the plan was made; beyond it the page asks the browser. Chosen: the season before, and a gateway that
// runs two years without a change of its rules.
const offsetsBefore, offsetsAfter = 1, 2

// offsetsOf gives the offsets of a zone, the oldest first; none of a zone that is not known.
func offsetsOf(zone string, around time.Time) []offset {
	location, err := time.LoadLocation(zone)
	if err != nil {
		return nil
	}
	var list []offset
	at, last := around.AddDate(-offsetsBefore, 0, 0).In(location), around.AddDate(offsetsAfter, 0, 0)
	for {
		_, seconds := at.Zone()
		from, to := at.ZoneBounds()
		o := offset{Minutes: seconds / 60}
		if !from.IsZero() {
			o.From = from.UnixMilli()
		}
		if !to.IsZero() {
			o.To = to.UnixMilli()
		}
		list = append(list, o)
		if to.IsZero() || to.After(last) {
			return list
		}
		at = to
	}
}
