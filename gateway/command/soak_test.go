package command

import (
	"math"
	"strings"
	"testing"
	"time"
)

// What grows by a known amount a day is reported as seven times that, whatever the first half did; what stands is reported as 0.
func TestSoak_reportsGrowth(t *testing.T) {
	var rows []footprint
	for i := range 10 {
		p := footprint{at: time.Duration(i) * 12 * time.Hour, heap: 1000 + 5*float64(i), goroutines: 40, disk: 100 * math.Pow(2, float64(min(i, 5)))}
		rows = append(rows, p)
	}
	var said strings.Builder
	if err := reportGrowth(&said, rows); err != nil {
		t.Fatal(err)
	}
	for _, line := range []string{"heap_kB +70.0\n", "goroutines +0.0\n", "disk_kB +0.0\n"} {
		if !strings.Contains(said.String(), " "+line) {
			t.Errorf("it says\n%swant %q", said.String(), line)
		}
	}
	if err := reportGrowth(&said, rows[:4]); err == nil {
		t.Error("four rows were enough")
	}
}
