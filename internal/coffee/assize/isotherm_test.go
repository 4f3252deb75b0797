package assize

import (
	"math"
	"testing"
)

// Against what Trejos, Roa, Oliveros 1989 measured on parchment, % of the dry weight (as quoted: 14.6 at 25 °C and 72.5 %RH, 18.0 at 55 °C and 88 %RH), and their equation over the whole range
// of airs that layers here are in, 2.3 % of the dry weight at most; rising with the humidity, falling with warmth.
func TestIsotherms_measured(t *testing.T) {
	trejos := func(c, h float64) float64 {
		return (61.030848*h - 108.37141*h*h + 74.461059*h*h*h) * math.Exp((-0.037049*h+0.070114*h*h-0.035177*h*h*h)*c)
	}
	for name, of := range map[string]isotherm{"Henderson": henderson, "Chung-Pfost": chungPfost, "Oswin": oswin, "Halsey": halsey, "GAB": gab} {
		if got := of(25, 0.725); math.Abs(got-14.6) > 0.5 {
			t.Errorf("%s at 25 °C, 72.5 %%RH: %.2f %%, measured 14.6", name, got)
		}
		if got := of(55, 0.88); math.Abs(got-18) > 2.2 {
			t.Errorf("%s at 55 °C, 88 %%RH: %.2f %%, measured 18.0", name, got)
		}
		worst := 0.0
		for c := 15.0; c <= 50; c += 5 {
			for h := 0.15; h < 0.88; h += 0.05 {
				worst = max(worst, math.Abs(of(c, h)-trejos(c, h)))
				if of(c, h+0.01) <= of(c, h) || of(c+1, h) > of(c, h) {
					t.Errorf("%s at %v °C, %v: falls with humidity or rises with warmth", name, c, h)
				}
			}
		}
		t.Logf("%s: %.2f at 25 °C, 72.5 %%RH; %.2f at 25 °C, 61.2 %%RH; %.2f at 55 °C, 88 %%RH; at most %.2f off the equation", name, of(25, 0.725), of(25, 0.612), of(55, 0.88), worst)
		if worst > 2.3 {
			t.Errorf("%s is %.2f %% off the equation", name, worst)
		}
	}
}
