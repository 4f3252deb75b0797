package siren

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"millwarden/gateway/callout"
	"millwarden/internal/clock"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/peers"
	"millwarden/internal/phrase"
	"millwarden/rules/engine"
)

func TestDeclares(t *testing.T) {
	declared, err := phrase.Parse(Declares)
	if err != nil || len(declared) != 1 || declared[0].Name != "siren" {
		t.Fatalf("%+v, %v", declared, err)
	}
	var keys []string
	for _, line := range declared[0].Phrases {
		keys = append(keys, line.Key)
	}
	if want := []string{"output", "relay", "lamp", "button", "answer", "longest"}; !slices.Equal(keys, want) {
		t.Errorf("lines %v, want %v", keys, want)
	}
}

// wire is the double of an output: what it was told.
type wire struct {
	on, dead, closed atomic.Bool
}

func (w *wire) Set(on bool) error {
	if w.dead.Load() {
		return errors.New("the line does not follow")
	}
	w.on.Store(on)
	return nil
}

func (w *wire) Close() error { w.closed.Store(true); return nil }

// pushed is the double of a button.
type pushed struct{ low, dead atomic.Bool }

func (p *pushed) Low() (bool, error) {
	if p.dead.Load() {
		return false, errors.New("the line cannot be read")
	}
	return p.low.Load(), nil
}
func (p *pushed) Close() error { return nil }

// hold presses it so long, and waits until that was seen.
func (p *pushed) hold(d time.Duration) {
	p.low.Store(true)
	time.Sleep(d)
	p.low.Store(false)
	time.Sleep(2 * stepEvery)
}

// yard is a siren with doubles on fake time.
type yard struct {
	t           *testing.T
	siren       *Siren
	sound, lamp *wire
	button, ana *pushed
	silenced    atomic.Int32
	answers     chan string
}

func inYard(t *testing.T, run func(y *yard)) {
	clocktest.Bubble(t, func(t *testing.T) {
		y := &yard{t: t, sound: &wire{}, lamp: &wire{}, button: &pushed{}, ana: &pushed{}, answers: make(chan string, 8)}
		var err error
		y.siren, err = New(Options{Sound: func() (Output, error) { return y.sound, nil }, Lamp: func() (Output, error) { return y.lamp, nil },
			Button: func() (Button, error) { return y.button, nil }, Answers: []Answering{{"ana", func() (Button, error) { return y.ana, nil }}},
			Answered: func(_ context.Context, person, alarm string, o int64) {
				y.answers <- fmt.Sprint(person, " ", alarm, " ", o)
			}, Longest: time.Minute, Silenced: func() { y.silenced.Add(1) },
			Clock: clock.Scaled{Begun: time.Now(), Speed: 1, Boot: 1}, Log: slog.New(slog.DiscardHandler)})
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- y.siren.Run(ctx) }()
		synctest.Wait()
		run(y)
		stop()
		if err := <-ended; err != nil {
			t.Errorf("Run() = %v", err)
		}
		if y.sound.on.Load() || y.lamp.on.Load() || !y.sound.closed.Load() {
			t.Errorf("after the end: siren %v, lamp %v, closed %v", y.sound.on.Load(), y.lamp.on.Load(), y.sound.closed.Load())
		}
	})
}

func (y *yard) send(number int64, p engine.Priority, c engine.Class) error {
	return y.siren.Send(y.t.Context(), callout.Message{Alarm: "dryer-hot@dryer-1", Occurrence: number, Priority: p, Class: c})
}

// heard counts the steps of 50 ms in so long in which it sounds.
func (y *yard) heard(d time.Duration) (share float64) {
	var on, all int
	for range int(d / (50 * time.Millisecond)) {
		time.Sleep(50 * time.Millisecond)
		synctest.Wait()
		all++
		if y.sound.on.Load() {
			on++
		}
	}
	return float64(on) / float64(all)
}

func TestSiren_soundsUntilAnswered(t *testing.T) {
	inYard(t, func(y *yard) {
		if y.heard(5*time.Second) != 0 || y.lamp.on.Load() {
			t.Error("it sounds although nobody sent anything")
		}
		if err := y.send(1, engine.High, engine.Quality); err != nil {
			t.Fatal(err)
		}
		if !y.sound.on.Load() || !y.lamp.on.Load() {
			t.Error("Send returned before siren and lamp were on")
		}
		if got := y.heard(20 * time.Second); got < 0.4 || got > 0.6 {
			t.Errorf("priority high sounds %.2f of the time, want about 0.5", got)
		}
		y.siren.Still(func(_ string, o int64) bool { return o == 1 })
		if y.heard(4*time.Second) == 0 {
			t.Error("it fell silent although the occurrence stands")
		}
		y.siren.Still(func(string, int64) bool { return false })
		if y.heard(4*time.Second) > 0.05 || y.lamp.on.Load() {
			t.Error("it goes on although nobody is owed a call")
		}
	})
}

// The button ends the sound, not the call: the lamp stays lit, and the next message about it sounds again.
func TestSiren_buttonSilencesAndNothingElse(t *testing.T) {
	inYard(t, func(y *yard) {
		_ = y.send(1, engine.High, engine.Quality)
		y.button.low.Store(true)
		time.Sleep(200 * time.Millisecond)
		y.button.low.Store(false)
		if y.heard(5*time.Second) > 0.05 {
			t.Error("it sounds on although the button was pressed")
		}
		if !y.lamp.on.Load() || y.silenced.Load() != 1 {
			t.Errorf("lamp %v, silenced %d times; want it lit, once", y.lamp.on.Load(), y.silenced.Load())
		}
		_ = y.send(2, engine.High, engine.Quality)
		if y.heard(4*time.Second) == 0 {
			t.Error("a new occurrence does not sound")
		}
	})
}

// said is what was answered since.
func (y *yard) said() (list []string) {
	for len(y.answers) > 0 {
		list = append(list, <-y.answers)
	}
	slices.Sort(list)
	return list
}

// Aim: a button that answers says "I am on it" for the person it stands for, to all that the lamp was lit for when it went down, once, after it was held for two
// seconds and let go. What is no answer: a short press, a wire that is shorted, a press while nothing stands, what came while it was down, a line that fails.
func TestSiren_buttonThatAnswers(t *testing.T) {
	const first, second = "ana dryer-hot@dryer-1 1", "ana dryer-hot@dryer-1 2"
	inYard(t, func(y *yard) {
		for _, c := range []struct {
			name string
			do   func()
			want []string
		}{
			{"nothing stands", func() { y.ana.hold(3 * time.Second) }, nil},
			{"a short press", func() { _ = y.send(1, engine.High, engine.Quality); y.ana.hold(time.Second) }, nil},
			{"held", func() { y.ana.hold(3 * time.Second) }, []string{first}},
			{"told again meanwhile", func() {
				y.ana.low.Store(true)
				time.Sleep(time.Second)
				_ = y.send(1, engine.High, engine.Quality)
				y.ana.hold(2 * time.Second)
			}, []string{first}},
			{"another came meanwhile", func() {
				y.ana.low.Store(true)
				time.Sleep(time.Second)
				_ = y.send(2, engine.High, engine.Quality)
				y.ana.hold(2 * time.Second)
			}, []string{first}},
			{"both", func() { y.ana.hold(3 * time.Second) }, []string{first, second}},
			{"silenced, and in its longest time's end", func() { y.button.hold(time.Second); time.Sleep(2 * time.Minute); y.ana.hold(3 * time.Second) }, []string{first, second}},
			{"shorted", func() { y.ana.hold(stuck + 2*time.Second) }, nil},
			{"a line that failed while it was down", func() {
				y.ana.low.Store(true)
				time.Sleep(3 * time.Second)
				y.ana.dead.Store(true)
				time.Sleep(time.Second)
				y.ana.low.Store(false)
				y.ana.dead.Store(false)
				time.Sleep(time.Second)
			}, nil},
			{"answered already", func() { y.siren.Still(func(_ string, o int64) bool { return o == 2 }); y.ana.hold(3 * time.Second) }, []string{second}},
		} {
			c.do()
			if got := y.said(); !slices.Equal(got, c.want) {
				t.Errorf("%s: answers %q, want %q", c.name, got, c.want)
			}
		}
		y.ana.low.Store(true)
		time.Sleep(stuck + time.Second)
		if h := y.siren.Health(); h.Works || !strings.Contains(h.Because, "button of ana: pressed for longer") {
			t.Errorf("health %+v with a button that sticks", h)
		}
	})
}

// A button that sticks silences once, is told, and keeps no later alarm from sounding.
func TestSiren_stuckButton(t *testing.T) {
	inYard(t, func(y *yard) {
		y.button.low.Store(true)
		time.Sleep(stuck + time.Second)
		if h := y.siren.Health(); h.Works || !strings.Contains(h.Because, "sticks") {
			t.Errorf("health %+v", h)
		}
		_ = y.send(1, engine.High, engine.Quality)
		if y.heard(4*time.Second) == 0 {
			t.Error("it does not sound with a button that sticks")
		}
		y.button.low.Store(false)
		time.Sleep(time.Second)
		if h := y.siren.Health(); !h.Works {
			t.Errorf("health %+v after the button came loose", h)
		}
	})
}

func TestSiren_longestThenLampOnly(t *testing.T) {
	inYard(t, func(y *yard) {
		_ = y.send(1, engine.High, engine.Quality)
		time.Sleep(time.Minute + time.Second)
		if y.heard(5*time.Second) != 0 || !y.lamp.on.Load() {
			t.Error("after the longest time: want silence and a lit lamp")
		}
		_ = y.send(1, engine.High, engine.Quality) // the roster's repeat
		if y.heard(4*time.Second) == 0 {
			t.Error("the repeat does not sound")
		}
	})
}

// The most urgent is heard, and no pattern is the three pulses of a fire alarm.
func TestSiren_patterns(t *testing.T) {
	for i := range patterns {
		if n := len(patterns[i].starts); n > 2 {
			t.Errorf("pattern %d has %d pulses", i, n)
		}
	}
	inYard(t, func(y *yard) {
		_ = y.send(1, engine.Low, engine.Quality)
		low := y.heard(60 * time.Second)
		_ = y.send(2, engine.Medium, engine.Safety)
		if danger := y.heard(20 * time.Second); low > 0.05 || danger < 0.7 {
			t.Errorf("low sounds %.2f of the time, danger %.2f", low, danger)
		}
	})
}

// A line that does not follow is an error of Send and of the health; it is tried again, and comes back by itself.
func TestSiren_deadLine(t *testing.T) {
	inYard(t, func(y *yard) {
		y.sound.dead.Store(true)
		time.Sleep(2 * time.Second)
		if err := y.send(1, engine.High, engine.Quality); err == nil {
			t.Error("Send() = nil with a dead line")
		}
		if h := y.siren.Health(); h.Works || !strings.Contains(h.Because, "does not follow") {
			t.Errorf("health %+v", h)
		}
		y.sound.dead.Store(false)
		if y.heard(5*time.Second) == 0 {
			t.Error("it does not sound after the line came back")
		}
		if h := y.siren.Health(); !h.Works {
			t.Errorf("health %+v", h)
		}
	})
}

func TestSiren_drillIsShort(t *testing.T) {
	inYard(t, func(y *yard) {
		if err := y.siren.Send(t.Context(), callout.Message{Exercise: true}); err != nil || !y.sound.on.Load() {
			t.Errorf("Send() = %v, sounds %v", err, y.sound.on.Load())
		}
		time.Sleep(exerciseFor + 200*time.Millisecond)
		if y.heard(5*time.Second) != 0 || y.lamp.on.Load() {
			t.Error("a drill goes on")
		}
	})
}

// The relay against pymodbus, whose own data say whether the coil is on.
func TestRelay_pymodbus(t *testing.T) {
	const python = "/usr/bin/python3"
	if out, err := exec.Command(python, "-c", "import pymodbus.server.async_io").CombinedOutput(); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("python3-pymodbus is needed here: %v\n%s", err, out)
		}
		t.Skip("python3-pymodbus is not installed")
	}
	address := peers.FreeAddress(t)
	absent, err := Relay(address, 7, 3)
	if err != nil {
		t.Fatal(err)
	}
	if err := absent.Set(true); err == nil {
		t.Error("Set() = nil where nobody listens")
	}
	_, port, _ := net.SplitHostPort(address)
	server := exec.CommandContext(t.Context(), python, "testdata/server.py", port)
	stdin, err := server.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	stdout, err := server.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		stdin.Close() // the server ends with its input
		_ = server.Wait()
	})
	said := bufio.NewReader(stdout)
	line := func() string {
		text, err := said.ReadString('\n')
		if err != nil {
			t.Fatal(err)
		}
		return strings.TrimSpace(text)
	}
	if got := line(); got != "ready" {
		t.Fatalf("the server says %q", got)
	}
	for _, on := range []bool{true, false} {
		if err := absent.Set(on); err != nil {
			t.Fatalf("Set(%v) = %v", on, err)
		}
		if _, err := io.WriteString(stdin, "\n"); err != nil {
			t.Fatal(err)
		}
		if got := line(); got != map[bool]string{true: "on", false: "off"}[on] {
			t.Errorf("after Set(%v) the coil is %s", on, got)
		}
	}
	other, err := Relay(address, 7, 99) // the device has 16 coils
	if err != nil {
		t.Fatal(err)
	}
	if err := other.Set(true); err == nil {
		t.Error("Set() = nil for a coil that is not there")
	}
	if err := errors.Join(other.Close(), absent.Close()); err != nil {
		t.Error(err)
	}
}
