package check

import (
	"fmt"
	"time"

	"millwarden/rules/formula"
	"millwarden/rules/syntax"
)

// What a window keeps (LANGUAGE.md section 4): up to an hour every reading, at most 4,096; longer ones 360 slices of mean, lowest and
// highest. The bytes of each are counted high. Chosen: 64 MiB in all, a quarter of the memory of the smallest board.
const (
	wholeWindow    = time.Hour
	mostReadings   = 4096
	slices360      = 360
	bytesOfReading = 24
	bytesOfSlice   = 48
	maxWindowBytes = 64 << 20
)

// windowKey is what makes two windows one: the point, its length and where it ends.
type windowKey struct {
	point     string
	over, ago time.Duration
}

// checkWindows holds all windows together to their bound, and says it at the alarm that passes it.
func (c *checker) checkWindows() {
	seen := map[windowKey]bool{}
	total := 0
	count := func(n *formula.Node) {
		n.Walk(func(m *formula.Node) {
			if m.Over == 0 || len(m.Args) == 0 || m.Args[0].Op != formula.Point {
				return
			}
			k := windowKey{m.Args[0].Ref, m.Over, m.Ago}
			if !seen[k] {
				seen[k] = true
				total += c.windowBytes(k)
			}
		})
	}
	over := func(what *formula.Node, at syntax.Token) bool {
		count(what)
		if total <= maxWindowBytes {
			return false
		}
		c.say("75", at.Where(), facts{"what": "memory of all windows:", "n": fmt.Sprintf("more than %d MiB", maxWindowBytes>>20), "max": fmt.Sprintf("%d MiB", maxWindowBytes>>20),
			"why": "Take shorter windows, or the same one in several alarms."})
		return true
	}
	for _, p := range c.pointList {
		if p.formula != nil && over(p.formula, p.block.Name) {
			return
		}
	}
	for _, a := range c.alarmList {
		for i := range a.made {
			e := &a.made[i]
			for _, n := range []*formula.Node{e.When, e.While, e.SuppressedWhile, e.Due} {
				if n != nil && over(n, a.Name) {
					return
				}
			}
		}
	}
}

func (c *checker) windowBytes(k windowKey) int {
	if k.over+k.ago > wholeWindow {
		return slices360 * bytesOfSlice
	}
	readings := mostReadings
	if p := c.points[k.point]; p != nil && p.probe != nil && p.probe.plan.Every > 0 {
		readings = min(readings, int((k.over+k.ago)/p.probe.plan.Every)+2)
	}
	return readings * bytesOfReading
}
