//go:build linux

package clock

import (
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// staUnsync is the status bit by which the kernel says that nobody keeps its clock right [adjtimex(2), STA_UNSYNC].
const staUnsync = 0x40

// marker is written by the usual time daemon once it has set the clock in this boot [systemd-timesyncd.service(8)].
const marker = "/run/systemd/timesync/synchronized"

// synchronised tells whether the clock was set at some time of this boot.
func synchronised() bool {
	if keptRight() {
		return true
	}
	_, err := os.Stat(marker)
	return err == nil
}

// keptRight tells whether the kernel's clock is synchronised now.
func keptRight() bool {
	var state unix.Timex
	_, err := unix.Adjtimex(&state)
	return err == nil && state.Status&staUnsync == 0
}

func sinceBoot() time.Duration {
	var now unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &now); err != nil {
		return time.Since(started) // a kernel older than 2.6.39: time of this process only
	}
	return time.Duration(now.Nano())
}

var started = time.Now()
