package floor_test

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"millwarden/gateway/history"
)

// Aim: a power cut takes at most the last second of what was read, none of which was acknowledged, and what is missing shows as a gap afterwards. Method: the
// data folder as it lies on the disk at 20 random moments of fake time, which is what a cut leaves of synced commits (that they are synced is shown by the cuts of gateway/history).
// Control: at some of these moments something must be missing, or nothing was cut.
func TestNight_powerCutTakesASecond(t *testing.T) {
	const every = time.Second
	folder, cuts := memoryFolder(t), memoryFolder(t)
	rules := strings.Replace(onePanel, "every           10 s", "every           1 s", 1)
	var ends []time.Time // when power went, by the board's clock
	bubble(t, func(t *testing.T) {
		c := &powerClock{begun: time.Now(), wall: noon, isSet: true}
		r := openRoomOf(t, rules, folder, c)
		ctx, stop := contextFor(t, 5*time.Minute)
		defer stop()
		var running sync.WaitGroup
		running.Go(func() {
			if err := r.mill.Run(ctx); err != nil {
				t.Errorf("Run() = %v", err)
			}
		})
		draw := rand.New(rand.NewPCG(71, 72))
		for i := range 20 {
			time.Sleep(5*time.Second + time.Duration(draw.IntN(5000))*time.Millisecond)
			synctest.Wait()
			ends = append(ends, c.Now().Wall)
			if err := os.CopyFS(filepath.Join(cuts, strconv.Itoa(i)), os.DirFS(folder)); err != nil {
				t.Error(err)
			}
		}
		stop()
		running.Wait()
		if err := r.mill.Close(); err != nil {
			t.Error(err)
		}
	})
	missing := 0
	for i, end := range ends {
		kept := readingsOf(t, filepath.Join(cuts, strconv.Itoa(i)), end)
		newest := kept[len(kept)-1].Stamp.Wall
		if lost := end.Sub(newest.Add(every)); lost > time.Second {
			t.Errorf("cut %d at %v: the newest reading is of %v: more than a second of readings is missing", i, end, newest)
		} else if lost > 0 {
			missing++
		}
	}
	if missing == 0 {
		t.Errorf("after none of %d cuts was anything missing: nothing was cut", len(ends))
	}
	t.Logf("%d cuts, after %d of them the last reading was missing", len(ends), missing)

	// The board starts again five minutes later.
	last := len(ends) - 1
	again := ends[last].Add(5 * time.Minute)
	second := filepath.Join(cuts, strconv.Itoa(last))
	bubble(t, func(t *testing.T) {
		r := openRoomOf(t, rules, second, &powerClock{begun: time.Now(), wall: again, isSet: true})
		ctx, stop := contextFor(t, time.Minute)
		defer stop()
		if err := r.mill.Run(ctx); err != nil {
			t.Errorf("Run() = %v", err)
		}
		if err := r.mill.Close(); err != nil {
			t.Error(err)
		}
	})
	h, err := history.Open(second, history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	columns, err := h.Pixels(t.Context(), "room-1/co", ends[last].Add(-time.Minute), again.Add(time.Minute), 420)
	if err != nil {
		t.Fatal(err)
	}
	before, after := 0, 0
	for _, c := range columns {
		switch {
		case !c.To.After(ends[last].Add(every)):
			before++
		case !c.From.Before(again.Add(-every)):
			after++
		default:
			t.Errorf("the curve has something between %v and %v, while the board was off", c.From, c.To)
		}
	}
	if before < 50 || after < 50 {
		t.Errorf("%d columns before the gap and %d behind it, want a minute each", before, after)
	}
}

// readingsOf are the gas readings in a folder, the last minute of them.
func readingsOf(t *testing.T, folder string, end time.Time) []history.Entry {
	t.Helper()
	h, err := history.Open(folder, history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	kept, err := h.Range(t.Context(), "room-1/co", end.Add(-time.Minute), end.Add(time.Minute), 0)
	if err != nil || len(kept) == 0 {
		t.Fatalf("%d readings, %v", len(kept), err)
	}
	return kept
}
