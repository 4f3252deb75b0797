package floor

import (
	"math"
	"testing"
	"time"

	"millwarden/rules/models"
)

// Aim: what models have learned reaches the season as it is: two tanks of three lie within a factor of the exponential of the spread, here 14 h / 1.2214 and 14 h * 1.2214.
func TestLearnedOf_spread(t *testing.T) {
	list := learnedOf([]models.Learned{{Stations: []string{"tank-1"}, Tanks: 2, Usual: 15 * time.Hour, Ready: 14 * time.Hour, Spread: 0.2, Reference: 23}})
	if len(list) != 1 {
		t.Fatalf("%+v", list)
	}
	hours := func(ms int64) float64 { return float64(ms) / 3.6e6 }
	l := list[0]
	if l.Tanks != 2 || hours(l.Usual) != 15 || hours(l.Ready) != 14 || math.Abs(hours(l.Early)-14/1.2214) > 0.001 || math.Abs(hours(l.Late)-14*1.2214) > 0.001 || l.Reference != 23 {
		t.Errorf("%+v", l)
	}
	d := driedOf([]models.Dried{{Stations: []string{"dryer-1"}, Layers: 3, Target: 11, Took: 30 * time.Hour, Spread: 0.2}})
	if len(d) != 1 || d[0].Layers != 3 || d[0].Target != 11 || hours(d[0].Took) != 30 || math.Abs(hours(d[0].Early)-30/1.2214) > 0.001 || math.Abs(hours(d[0].Late)-30*1.2214) > 0.001 {
		t.Errorf("%+v", d)
	}
}
