package jury

import (
	"bufio"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// Against table 2 of Phitakwinai 2019, as quoted, gone through here by its own equation: how long parchment takes from 122 % of the dry weight, as in the paper, to 11 %wb (12.36 %) in each of its nine airs, and until half of the water is gone,
// 6.98 h at 50 °C and 30 %RH (reckoned beside the source), within 1 %.
func TestNewton_published(t *testing.T) {
	f, err := os.Open("../testdata/phitakwinai2019-table2.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, p := 0.0, &newton{1}
	took := func(celsius, rh, to float64) (hours float64) {
		for m := p.fresh(122); p.mean(m) > to; hours += 1.0 / 60 {
			p.pass(m, 1.0/60, celsius, rh)
		}
		return hours
	}
	for s := bufio.NewScanner(f); s.Scan(); {
		cells := strings.Split(s.Text(), ",")
		if cells[0] != "newton" {
			continue
		}
		var number [3]float64
		for i := range number {
			if number[i], err = strconv.ParseFloat(cells[i+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		lines++
		celsius, rh, k := number[0], number[1]/100, number[2]
		end, dry := peleg(celsius, rh), 12.36
		want := math.Log((122-end)/(dry-end)) / k
		near(t, "h to 11 %wb at "+strings.Join(cells[1:3], " °C, "), took(celsius, rh, dry), want, 0.01*want)
		near(t, "h to the half at "+strings.Join(cells[1:3], " °C, "), took(celsius, rh, (122+end)/2), math.Ln2/k, 0.03)
	}
	near(t, "lines", lines, 9, 0)
	near(t, "h to the half at 50 °C, 30", took(50, 0.3, (122+peleg(50, 0.3))/2), 6.98, 0.03)
}

// Every law takes about as long from 54 to 11 %wb as the thin-layer equation of Cenicafé for 10 to 70 °C, 28.5 h at 45 °C and 20 %RH, 39.5 at 40 and 25, 68 at 35 and 40 from 55 %wb (as quoted, reckoned beside the source), and as the fits of
// Phitakwinai 2019, 20.8 h at 50 °C and 14.8 at 60 and 20 %RH (Page, table 2 as quoted, with 6.6 and 6.3 % at rest): within a third, as the two sources differ by a fifth where they meet. The warmer and the drier the air the sooner, without
// a turn; in damp air beans take up some.
func TestParchment_hours(t *testing.T) {
	for law := range Dryings {
		p := newParchment(law, drawn(1, int(law)))
		for _, air := range [][3]float64{{60, 0.2, 14.8}, {50, 0.2, 20.8}, {45, 0.2, 28.5}, {40, 0.25, 39.5}, {35, 0.4, 68}} {
			hours := hoursOf(p, air[0], air[1])
			t.Logf("%v: %.1f h at %v °C, %v; published %v", law, hours, air[0], air[1], air[2])
			near(t, law.String()+", h", hours, air[2], air[2]/3)
			if cool, damp := hoursOf(p, air[0]-3, air[1]), hoursOf(p, air[0], air[1]+0.05); cool <= hours || damp <= hours {
				t.Errorf("%v: %.1f h at %v °C, %v; %.1f at 3 K less, %.1f in damper air", law, hours, air[0], air[1], cool, damp)
			}
		}
		s, wetted := p.fresh(115), p.fresh(10)
		p.soak(wetted, 2)
		near(t, law.String()+", % with rain of 2", p.mean(wetted), 12, 1e-9)
		wetted = p.fresh(10)
		for range 8 * 12 {
			before := p.mean(s)
			p.pass(s, step, 40, 0.25)
			p.pass(wetted, step, 20, 0.9)
			if m := p.mean(s); m > before+1e-9 {
				t.Fatalf("%v: rises to %v", law, m)
			}
		}
		if m := p.mean(wetted); m <= 10 || m > 20 {
			t.Errorf("%v: 10 %% of the dry weight comes to %.2f in damp air", law, m)
		}
	}
}

// Against the series of Crank 1975 for a plane sheet that is kept dry at its skin (4.18, from memory), at a Fourier number of a fifth.
func TestSheet_series(t *testing.T) {
	left := 0.0
	for n := range 20 {
		odd := math.Pi * float64(2*n+1)
		left += 8 / (odd * odd) * math.Exp(-odd*odd*0.2/4)
	}
	p := &sheet{energy: 25, film: 1e6, holds: 1}
	s, end := p.fresh(100), peleg(42, 0.25)
	for range 240 { // 4 h of a twentieth
		p.pass(s, 1.0/60, 42, 0.25)
	}
	near(t, "part left", (p.mean(s)-end)/(100-end), left, 0.02)
}

// Against what Trejos, Roa, Oliveros 1989 measured on parchment, % of the dry weight (as quoted), and their equation, 1 % at most; rising with the humidity, falling with warmth.
func TestPeleg_measured(t *testing.T) {
	near(t, "% at 25 °C, 72.5 %RH", peleg(25, 0.725), 14.6, 0.6)
	near(t, "% at 55 °C, 88 %RH", peleg(55, 0.88), 18, 0.8)
	for c := 15.0; c <= 55; c += 5 {
		for h := 0.15; h < 0.9; h += 0.05 {
			near(t, "%", peleg(c, h), (61.030848*h-108.37141*h*h+74.461059*h*h*h)*math.Exp((-0.037049*h+0.070114*h*h-0.035177*h*h*h)*c), 1)
			if peleg(c, h+0.01) <= peleg(c, h) || peleg(c+1, h) > peleg(c, h) {
				t.Errorf("%v °C, %.2f: falls with humidity or rises with warmth", c, h)
			}
		}
	}
}

// What beans lose is what the air takes along, and air never leaves fuller than it can be (a balance of mass, drawn here in another way: dry weight times moisture against air times ratio).
func TestLayer_balance(t *testing.T) {
	for law := range Dryings {
		h := NewHouse(law, Static, LayerSeed)
		l := h.Layer(0, 40)
		for range 300 {
			l.fire.minute(1, 12, 20)
			l.breathes()
			wet := l.Moisture()
			leaves := l.through(12)
			near(t, "kg a m²", (dryBasis(wet)-dryBasis(l.Moisture()))/100*h.bed.dry*l.thick, (leaves-h.ratio(l.t, l.rh))*h.bed.flow*step, 1e-9)
			if most := h.ratio(l.t, 0.99); leaves > most {
				t.Fatalf("%v: %v kg/kg leaves, air that was not cooled holds %v", law, leaves, most)
			}
		}
	}
}

// lain is what one layer did, until the crew takes it by its probe and its bite, and what its meters were off below 14 %wb.
func lain(t *testing.T, h *House, lot int, loaded float64) (of map[string]float64, hours float64) {
	l := h.Layer(lot, loaded)
	of = map[string]float64{"%wb at loading": l.Moisture()}
	lowest, regained, taken := 99.0, 0.0, 0.0
	for taken == 0 || hours == 0 {
		l.Minute()
		wet, now := l.Moisture(), float64(l.minutes)/60
		lowest = min(lowest, wet)
		regained = max(regained, wet-lowest)
		if wet <= Dry && hours == 0 {
			hours = now
		}
		shows, tells := l.Rod()
		if taken == 0 && (l.Dried(shows, tells, true) || hours > 0 && now > hours+24) {
			taken = wet
		}
		if wet < 12 && of["%wb that the probe is off"] == 0 {
			of["%wb that the probe is off"] = math.Abs(shows - wet)
		}
		if v, read := l.Reading(); read && wet < 14 {
			of["%wb that the hand is off"] = math.Abs(v - wet)
		}
		if c, rh := l.Probe(); c < 5 || c > 60 || rh < 1 || rh > 100 || now > longest {
			t.Fatalf("%v, %v: the probe shows %v °C, %v %%RH after %v h", h.Law, h.Place, c, rh, now)
		}
	}
	if again, ever := h.Hours(lot, loaded); !ever || again != hours { // what probes and people draw moves no truth
		t.Errorf("%v, %v: dry after %v and %v h", h.Law, h.Place, hours, again)
	}
	of["%wb in the most of a night"], of["%wb when taken"], of["h"] = regained, taken, hours
	return of, hours
}

// Aim: the layers are such as the literature and common practice tell of, before any forecast is asked, by law and by place: from 52 to 56 %wb (SECAFÉ 2008, as quoted), a dryer mostly 20 to 36 h, some slower, sun 3 to 14 days (4 to 14 in
// Hawaii, as quoted); hardly anything regained in a dryer, 1 to 2 %wb in an open night and somewhat more in rain; meters off by half a per cent; what the crew takes away lies within 10 to 12 %wb (Cenicafé 2010, as quoted), nearly always.
func TestHouse_asPublished(t *testing.T) {
	c := cells{}
	for law := range Dryings {
		for place := range Places {
			for seed := range uint64(2) {
				h, after := NewHouse(law, place, LayerSeed+seed), 42.0
				for lot := range place.Lots() {
					loaded := h.Loads(after)
					of, hours := lain(t, h, lot, loaded)
					after = loaded + hours + 3
					c.add([]string{place.Kind() + " by " + law.String(), place.String(), place.Kind()}, of)
				}
			}
		}
	}
	c.log(t)
	for name := range c {
		least, middle, top, damp := 16.0, [2]float64{20, 40}, 60.0, 0.5
		if strings.Contains(name, "sun") || strings.HasPrefix(name, "deck by") || name == "deck" {
			least, middle, top, damp = 60, [2]float64{90, 216}, 340, 4.5
		}
		c.within(t, name, "h", 0, least, top)
		c.within(t, name, "h", 0.5, middle[0], middle[1])
		c.within(t, name, "h", 1, least, top)
		c.within(t, name, "%wb at loading", 0, 51.9, 56.1)
		c.within(t, name, "%wb at loading", 1, 51.9, 56.1)
		c.within(t, name, "%wb in the most of a night", 1, 0, damp)
		c.within(t, name, "%wb when taken", 0.1, 9.7, 12)
		c.within(t, name, "%wb when taken", 0.9, 10, 12.3)
		c.within(t, name, "%wb that the probe is off", 0.9, 0.05, 1.5)
		c.within(t, name, "%wb that the hand is off", 0.9, 0.05, 1.5)
	}
	c.within(t, "dryer", "h", 0.03, 20, 36)
	c.within(t, "dryer", "h", 0.7, 20, 36)
}

// A sibling, of a tank or of a layer, lives in the same air until it is told not to, is another lot, and two of them are not the same.
func TestSiblings(t *testing.T) {
	k := NewEstate(Gamma, Barrel, TankSeed).Tank(1)
	x, y := k.Sibling(0, 8), k.Sibling(1, 8)
	for range 8 * 60 {
		k.Minute()
		x.Minute()
		y.Minute()
		a, wet := k.around()
		if b, damp := x.around(); a != b || wet != damp {
			t.Fatalf("%v and %v °C around after %v h", a, b, k.hours)
		}
	}
	if k.PH == x.PH || x.PH == y.PH || math.Abs(k.PH-x.PH) > 0.8 {
		t.Errorf("pH %v, %v and %v", k.PH, x.PH, y.PH)
	}
	for _, place := range []Place{OverDryer, SunDeck} {
		l := NewHouse(Sheet, place, LayerSeed).Layer(1, 58)
		a, b := l.Sibling(0, 20), l.Sibling(1, 20)
		air := func(l *Layer, hours float64) float64 {
			t, _, _, _ := l.season.at(l.loaded + hours)
			return t
		}
		for m := range 20 * 60 {
			l.Minute()
			a.Minute()
			b.Minute()
			if h := float64(m) / 60; air(l, h) != air(a, h) || l.fire != nil && (l.fire.t != a.fire.t || a.fire.t != b.fire.t) {
				t.Fatalf("%v: other air after %d min", place, m)
			}
		}
		if x, y, z := l.Moisture(), a.Moisture(), b.Moisture(); x == y || y == z || math.Abs(x-y) > 10 {
			t.Errorf("%v: %v, %v and %v %%wb after 20 h", place, x, y, z)
		}
		if air(a, 60) == air(b, 60) {
			t.Errorf("%v: the weather to come is the same in both", place)
		}
	}
}

// The same seed makes the same lots, to the last reading, and another one others.
func TestSeeds(t *testing.T) {
	night := func(seed uint64) (shown []float64) {
		k, l := NewEstate(Dormant, Highland, seed).Tank(3), NewHouse(Screens, OverDryer, seed).Layer(1, 58)
		for range 12 * 60 {
			k.Minute()
			l.Minute()
			air, humidity := l.Probe()
			rod, _ := l.Rod()
			hand, _ := l.Reading()
			shown = append(shown, k.Electrode(), k.Thermometer(), air, humidity, rod, hand)
		}
		return shown
	}
	if a := night(TankSeed); !slices.Equal(a, night(TankSeed)) || slices.Equal(a, night(TankSeed+1)) {
		t.Error("what is shown does not hang on the seed alone")
	}
}
