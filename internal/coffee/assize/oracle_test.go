package assize

import (
	"cmp"
	"flag"
	"math"
	"slices"
	"testing"
)

var oracleLots = flag.Int("oracle", 0, "lots of each house that oracles are asked about; 0: one of the houses of one law, to see that nothing broke")

// oracleSiblings are other lots of the house that an oracle lets dry in the same air; it goes by the nearest of them.
const oracleSiblings, oracleNearest = 40, 7

// sibling is another lot as it dried: how unlike what the crew read, and when it came to its end, in the true air of all hours and in true air only so far.
type sibling struct{ unlike, end, endElsewhere float64 }

// untilDry lets a layer dry and gives the hour after loading.
func (l *Layer) untilDry() float64 {
	for l.Moisture() > Dry && l.hours < 15*24 {
		l.Minute()
	}
	return l.hours
}

// elsewhere is a copy of a layer that goes on in the weather of another day of the season.
func (l *Layer) elsewhere(days int) *Layer {
	other := *l
	other.loaded += float64(24 * days)
	other.slices = nil
	for _, s := range l.slices {
		other.slices = append(other.slices, slices.Clone(s))
	}
	return &other
}

// dryBeside lets another lot dry as long as the judged one did, then to its end.
func (h *House) dryBeside(lot int, loaded, half float64, read map[int]float64) sibling {
	l := h.Layer(lot, loaded)
	n, sum, squares := 0.0, 0.0, 0.0
	for m := range int(60 * half) {
		l.Minute()
		if v, there := read[m]; there {
			off := (v - l.Moisture()) / (h.sensors.scatter + 0.03*math.Max(0, v-15))
			n, sum, squares = n+1, sum+off, squares+off*off
		}
	}
	days := 7 + lot%60 // another week
	if loaded+24*float64(days) > 24*(seasonDays-16) {
		days = -days
	}
	elsewhere := l.elsewhere(days).untilDry()
	return sibling{squares - sum*sum/(n+1), l.untilDry(), elsewhere}
}

// oracles are by what part of the time left who knows law, house and all air, and who knows law, house and the air so far, are half way off, %.
func (h *House) oracles(lot int) (all, sofar float64, known bool) {
	loaded := h.Loads(float64(200 + 120*lot))
	hours, ever := h.Hours(lot, loaded)
	l := h.Layer(lot, loaded)
	if !ever || l.Changes() > hours/2 {
		return 0, 0, false
	}
	read := map[int]float64{}
	for m := range int(60 * hours / 2) {
		l.Minute()
		if v, there := l.Reading(); there {
			read[m] = v
		}
	}
	var list []sibling
	for i := range oracleSiblings {
		list = append(list, h.dryBeside(1000+i, loaded, hours/2, read))
	}
	slices.SortFunc(list, func(a, b sibling) int { return cmp.Compare(a.unlike, b.unlike) })
	middle := func(end func(s sibling) float64) float64 {
		var ends []float64
		for _, s := range list[:oracleNearest] {
			ends = append(ends, end(s))
		}
		slices.Sort(ends)
		return 100 * math.Abs(ends[len(ends)/2]-hours) / (hours / 2)
	}
	return middle(func(s sibling) float64 { return s.end }), middle(func(s sibling) float64 { return s.endElsewhere }), true
}

// Aim: how much of the error of drying half way nobody can avoid who has only the crew's readings: other lots of the very house are laid in the very air, and those that lay nearest to the readings tell the end (approximate
// Bayesian computation: Beaumont, Zhang, Balding 2002).
func TestHouse_oracles(t *testing.T) {
	laws, places, lots := Drying(1), Place(1), 1
	if *oracleLots > 0 {
		laws, places, lots = Dryings, Places, *oracleLots
	}
	for place := range places {
		var all, sofar []float64
		for law := range laws {
			h := NewHouse(law, place, LayerSeed)
			for lot := range lots {
				if a, s, known := h.oracles(lot); known {
					all, sofar = append(all, a), append(sofar, s)
				}
			}
		}
		if len(all) == 0 {
			continue
		}
		a, s := parts(all), parts(sofar)
		t.Logf("%-16s %2d layers: half way, who knows law, house and all air is off by %.0f %%, nine of ten %.0f; who knows the air so far by %.0f %%, nine of ten %.0f", place, len(all), a(0.5), a(0.9), s(0.5), s(0.9))
		if !(a(0.5) < 40) {
			t.Error("that is no oracle")
		}
	}
}
