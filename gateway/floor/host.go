package floor

import (
	"math"
	"os"
	"strconv"
	"strings"
	"syscall"
)

// diskFree is the share of the data folder's disk that is free for us, in per cent.
func diskFree(dir string) float64 {
	var fs syscall.Statfs_t
	if err := syscall.Statfs(dir, &fs); err != nil || fs.Blocks == 0 {
		return math.NaN()
	}
	return 100 * float64(fs.Bavail) / float64(fs.Blocks)
}

// memoryFree is the share of memory that can be had without swapping, in per cent [proc(5), MemAvailable].
func memoryFree() float64 {
	text, err := os.ReadFile("/proc/meminfo")
	if err != nil {
		return math.NaN()
	}
	var total, available float64
	for line := range strings.Lines(string(text)) {
		fields := strings.Fields(line)
		if len(fields) < 2 {
			continue
		}
		value, err := strconv.ParseFloat(fields[1], 64)
		if err != nil {
			continue
		}
		switch fields[0] {
		case "MemTotal:":
			total = value
		case "MemAvailable:":
			available = value
		}
	}
	if total == 0 {
		return math.NaN()
	}
	return 100 * available / total
}

// boardTemperature is that of the first thermal zone, usually the processor's; not a number where there is none.
func boardTemperature() float64 {
	text, err := os.ReadFile("/sys/class/thermal/thermal_zone0/temp")
	if err != nil {
		return math.NaN()
	}
	milli, err := strconv.ParseFloat(strings.TrimSpace(string(text)), 64)
	if err != nil {
		return math.NaN()
	}
	return milli / 1000
}
