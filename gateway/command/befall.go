package command

import (
	"bufio"
	"errors"
	"fmt"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"millwarden/internal/clock"
	"millwarden/internal/estate"
)

// stage is the invented estate, and the clock of the board that watches it.
type stage struct {
	*estate.Estate
	clock *clock.Stepped
}

// pulled are the probes of the demo that can be pulled and plugged in again, by their names in its rules file.
var pulled = map[string]struct {
	pull, plug func(*estate.Estate, *estate.Truth)
}{
	"tank-1-thermometer": {estate.PullThermometer(1), estate.PlugThermometer(1)},
	"tank-2-thermometer": {estate.PullThermometer(2), estate.PlugThermometer(2)},
	"tank-1-electrode":   {estate.PullConverter(true), estate.PullConverter(false)},
	"bin-1-stick":        {estate.FailStick(1), estate.MendStick(1)},
	"bin-2-stick":        {estate.FailStick(2), estate.MendStick(2)},
	"bin-3-stick":        {estate.FailStick(3), estate.MendStick(3)},
}

const befallHelp = `  pull PROBE    a probe is pulled: tank-1-thermometer, tank-2-thermometer, tank-1-electrode (with all on its converter), bin-1-stick, bin-2-stick, bin-3-stick
  plug PROBE    it is put back
  clock TIME    the board's clock is set wrong by so much, for example -1h or 438000h (fifty years); clock 0s puts it right
A broker, a store and a disk of its own are stopped and filled as real ones: see "The outage drill" in DEVELOPERS.md.
`

// befall does what is typed at a running demo, line by line.
func (s *stage) befall(std IO) {
	signal.Ignore(syscall.SIGTTIN) // in the background a terminal is not read, and does not stop the demo [tcgetpgrp(3), read(2): EIO]
	for lines := bufio.NewScanner(std.In); lines.Scan(); {
		words := strings.Fields(lines.Text())
		if len(words) == 0 {
			continue
		}
		if said, err := s.do(words); err != nil {
			fmt.Fprintf(std.Out, "%v. Type help to see what can be typed.\n", err)
		} else {
			fmt.Fprint(std.Out, said)
		}
	}
}

func (s *stage) do(words []string) (string, error) {
	if words[0] == "help" {
		return befallHelp, nil
	}
	if len(words) != 2 {
		return "", fmt.Errorf("%q: a word and what it is done to are needed, for example pull tank-1-thermometer", strings.Join(words, " "))
	}
	switch words[0] {
	case "pull", "plug":
		probe, known := pulled[words[1]]
		if !known {
			return "", fmt.Errorf("there is no probe %q that can be pulled", words[1])
		}
		if words[0] == "pull" {
			s.Befall(probe.pull)
			return words[1] + " is pulled\n", nil
		}
		s.Befall(probe.plug)
		return words[1] + " is plugged in\n", nil
	case "clock":
		off, err := time.ParseDuration(words[1])
		if err != nil {
			return "", errors.New("clock needs a time, for example clock -1h")
		}
		s.clock.Set(off)
		return fmt.Sprintf("the board's clock is off by %v\n", off), nil
	}
	return "", fmt.Errorf("%q is nothing that befalls an estate", words[0])
}
