// Package formula is a checked condition or expression: typed, in base units, with full point names. rules/check writes it, rules/engine
// compiles it. It knows neither the text it came from nor how it is evaluated.
//
// Concurrency: values, not changed after checking.
package formula

import (
	"time"

	"millwarden/internal/units"
)

// Op is what a node does.
type Op uint8

const (
	Const       Op = iota // Value
	Point                 // Ref: the standing value of a point
	Add                   // Args 0, 1
	Sub                   //
	Mul                   //
	Div                   //
	Less                  // comparison of Args 0, 1 with Deadband
	LessEq                //
	Greater               //
	GreaterEq             //
	And                   // two or more Args
	Or                    //
	Not                   // Args 0
	IsOn                  // Ref, a state or yes/no point is on
	IsGood                // Ref: always known, as the four below
	IsUncertain           //
	IsBad                 //
	IsOverdue             //
	IsFrozen              //
	Mean                  // Args 0 over Over, window ends Ago before now
	Highest               //
	Lowest                //
	Spread                //
	Rise                  //
	Change                //
	TimeAbove             // Args 0 beyond Value within Over
	TimeBelow             //
	TimeOn                //
	HeatAbove             //
	Age                   // Ref: since it was last known
	TimeSince             // Moment: since it came last
	Times                 // Moment: how often within Over
	MeanOf                // over Refs, the points of many stations now; unknown under half of them known
	HighestOf             //
	LowestOf              //
	SpreadOf              //
	CountOf               // of Refs that are true
	MedianOf              // neighbours; unknown under two known
	Apart                 // distance of Args 0 and 1
	Vote                  // two or three Args, agreeing within Value; Lower tells that the lower one is the dangerous one
	Night                 // the site's night
	During                // From .. To by the site's clock
	Until                 // time to the next From
	Watched               // somebody is at the mill; Over > 0, or Args 0 if there is one: will be, so long from now (unknown where that is)
)

// Node is one operation.
type Node struct {
	Op       Op
	Quantity units.Quantity // of the result: YesNo for conditions
	Lower    bool
	From, To int16 // minutes after midnight
	Args     []*Node
	Ref      string   // full point name, "tank-1/ph"
	Refs     []string // of the …Of functions
	Moment   string   // "tank-1/loaded"
	Value    float64
	Over     time.Duration
	Ago      time.Duration
	Deadband float64 // of a comparison, in base units, counted only while the alarm is active
	Text     string  // as the formatter prints this part, for "because" and explain
}

// Walk visits n and all below it.
func (n *Node) Walk(visit func(*Node)) {
	if n == nil {
		return
	}
	visit(n)
	for _, arg := range n.Args {
		arg.Walk(visit)
	}
}

// Points are the full names of all points that n reads, each once, in the order met.
func (n *Node) Points() []string {
	var names []string
	seen := map[string]bool{}
	n.Walk(func(m *Node) {
		for _, name := range append([]string{m.Ref}, m.Refs...) {
			if name != "" && !seen[name] {
				seen[name] = true
				names = append(names, name)
			}
		}
	})
	return names
}
