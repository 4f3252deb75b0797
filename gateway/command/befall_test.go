package command

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"millwarden/internal/clock"
	"millwarden/internal/estate"
)

// Aim: each probe that can be pulled stands in the demo's rules, what is typed wrong is told, and the board's clock goes wrong by what was said while the estate's time goes on.
func TestBefall_whatIsTyped(t *testing.T) {
	rules, err := estate.Files.ReadFile(estate.RulesFile)
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for probe := range pulled {
		if !strings.Contains(string(rules), "\nprobe "+probe+"\n") {
			t.Errorf("the demo's rules have no probe %s", probe)
		}
		lines = append(lines, "pull "+probe, "plug "+probe)
	}
	c := &clock.Stepped{Scaled: clock.Scaled{Start: demoBegins, Begun: time.Now(), Speed: 1}}
	s := &stage{estate.New(c.Scaled, estate.NewTruth(18, 1), nil), c}
	typed := func(lines ...string) string {
		var out bytes.Buffer
		s.befall(IO{In: strings.NewReader(strings.Join(lines, "\n")), Out: &out})
		return out.String()
	}
	if said := typed(lines...); strings.Count(said, " is pulled\n") != len(pulled) || strings.Count(said, " is plugged in\n") != len(pulled) {
		t.Errorf("pulling and plugging all says %q", said)
	}
	for line, want := range map[string]string{
		"pull roof":     `there is no probe "roof" that can be pulled`,
		"pull":          "a word and what it is done to are needed",
		"clock back":    "clock needs a time, for example clock -1h",
		"burn dryer-1":  `"burn" is nothing that befalls an estate`,
		"help":          "clock TIME",
		"":              "",
		"clock -1h":     "the board's clock is off by -1h0m0s",
		"  clock   3h ": "the board's clock is off by 3h0m0s",
	} {
		if said := typed(line); !strings.Contains(said, want) || (want == "") != (said == "") {
			t.Errorf("%q says %q, want %q", line, said, want)
		}
	}
	typed("clock -1h")
	now, right := c.Now(), c.Scaled.Now()
	if off := right.Wall.Sub(now.Wall); off < time.Hour || off > time.Hour+time.Minute || right.Mono < now.Mono || c.Synchronised() {
		t.Errorf("the clock is off by %v, synchronised %v", off, c.Synchronised())
	}
	typed("clock 0s")
	if !c.Synchronised() {
		t.Error("a clock that was put right does not count as such")
	}
}
