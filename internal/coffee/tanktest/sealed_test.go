package tanktest

import (
	"slices"
	"testing"
)

// Aim: the tanks that are or were sealed are such as the literature tells of, before any forecast is asked: nine of ten come to pH 4.6 between 8 and 48 h (12 to 36 h over all places, Codex par. 27;
// up to 48 h under water, Haile and Kang 2019; nine and less at 30 °C), begin near 5.5 to 5.8 (Jackels 2005), and stay between 8 and 40 °C.
func TestSealed_asPublished(t *testing.T) {
	for law := Held; law < Verdict; law++ {
		var hours, starts, warmest, coldest []float64
		never := 0
		for seed := uint64(0); seed < 30; seed++ {
			end, ever := Ready(law, seed, 4.6)
			if !ever {
				never++
				continue
			}
			hours = append(hours, end.Hours())
			k := New(law, seed)
			hot, cold := k.Celsius, k.Celsius
			for m := range int(end.Minutes()) {
				if m == 6*60 {
					starts = append(starts, k.PH)
				}
				k.Minute()
				hot, cold = max(hot, k.Celsius), min(cold, k.Celsius)
			}
			warmest, coldest = append(warmest, hot), append(coldest, cold)
		}
		for _, list := range [][]float64{hours, starts, warmest, coldest} {
			slices.Sort(list)
		}
		n := len(hours)
		t.Logf("%v: %d never; ready after %.1f h, nine of ten %.1f to %.1f; pH after 6 h %.2f to %.2f; warmest %.1f, coldest %.1f", law, never, hours[n/2], hours[n/20], hours[n-1-n/20],
			starts[0], starts[len(starts)-1], warmest[n-1], coldest[0])
		if never > 3 || hours[n/20] < 8 || hours[n-1-n/20] > 56 || hours[n/2] < 12 || hours[n/2] > 36 || warmest[n-1] > 40 || coldest[0] < 8 {
			t.Errorf("%v is no tank of the literature", law)
		}
	}
}
