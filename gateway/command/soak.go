package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"time"

	"millwarden/internal/estate"
)

// footprint is what the program takes of the machine at one moment.
type footprint struct {
	at          time.Duration // of the estate
	resident    float64       // kB; 0 where the kernel does not tell [proc(5), VmRSS]
	heap        float64       // kB in use after a collection
	goroutines  float64
	descriptors float64
	files       float64
	disk        float64 // kB of the data folder
}

// soakRows is how many rows a run has; chosen: enough to tell a slope from a step.
const soakRows = 24

// soak lets the demo's estate live for simulated days and reports what grows: what grows for days will one night be too much.
func soak(ctx context.Context, std IO, args []string) error {
	f := flags("soak", std)
	days := f.Float64("days", 14, "how many simulated days; 0.1 to 400")
	speed := f.Float64("speed", 600, "how fast time runs; 60 to 3600")
	if words, err := parse(f, args); err != nil {
		return err
	} else if len(words) > 0 || *days < 0.1 || *days > 400 || *speed < 60 || *speed > 3600 {
		return fmt.Errorf("%w: days go from 0.1 to 400, speed from 60 to 3600", errUse)
	}
	folder, throwAway, err := demoFolder("")
	if err != nil {
		return err
	}
	defer throwAway()
	lasts := time.Duration(*days * 24 * float64(time.Hour))
	mill, world, err := openDemo(IO{Out: io.Discard, Err: std.Err}, folder, "127.0.0.1:0", *speed, false, everyNight(*days))
	if err != nil {
		return err
	}
	takes := time.Duration(float64(lasts) / *speed)
	fmt.Fprintf(std.Out, "%g days of the estate in %s\n%8s %9s %9s %10s %11s %6s %9s\n", *days, takes.Round(time.Second), "day", "memory_kB", "heap_kB", "goroutines", "descriptors", "files", "disk_kB")
	own, stop := context.WithTimeout(ctx, takes)
	defer stop()
	go world.Run(own) //nolint:errcheck // it ends with own, and only then
	measured := make(chan []footprint, 1)
	go func() { measured <- measure(own, std.Out, folder, takes/soakRows, *speed) }()
	err = closeAfter(mill, mill.Run(own))
	return errors.Join(err, reportGrowth(std.Out, <-measured))
}

// everyNight lets a stick fall silent, and the dryer's fan stop, once a day, and mends both: alarms, calls and their record are part of the load.
func everyNight(days float64) (faults []estate.Fault) {
	for day := time.Duration(0); day < time.Duration(days*24)*time.Hour; day += 24 * time.Hour {
		faults = append(faults, estate.Fault{At: day + 2*time.Hour, Do: estate.FailStick(2)}, estate.Fault{At: day + 5*time.Hour, Do: estate.MendStick(2)},
			estate.Fault{At: day + 6*time.Hour, Do: func(_ *estate.Estate, t *estate.Truth) { t.Dryer.FailFan() }},
			estate.Fault{At: day + 7*time.Hour, Do: func(_ *estate.Estate, t *estate.Truth) { t.Dryer.Mend() }})
	}
	return faults
}

func measure(ctx context.Context, w io.Writer, folder string, every time.Duration, speed float64) (rows []footprint) {
	begun := time.Now()
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return rows
		case <-tick.C:
		}
		p := look(folder)
		p.at = time.Duration(float64(time.Since(begun)) * speed)
		rows = append(rows, p)
		fmt.Fprintf(w, "%8.2f %9.0f %9.0f %10.0f %11.0f %6.0f %9.0f\n", p.at.Hours()/24, p.resident, p.heap, p.goroutines, p.descriptors, p.files, p.disk)
	}
}

func look(folder string) footprint {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	p := footprint{heap: float64(m.HeapAlloc) / 1024, goroutines: float64(runtime.NumGoroutine())}
	if open, err := os.ReadDir("/proc/self/fd"); err == nil {
		p.descriptors = float64(len(open))
	}
	if status, err := os.ReadFile("/proc/self/status"); err == nil {
		for line := range strings.Lines(string(status)) {
			if fields := strings.Fields(line); len(fields) > 1 && fields[0] == "VmRSS:" {
				p.resident, _ = strconv.ParseFloat(fields[1], 64) // 0 says that it is not known
			}
		}
	}
	_ = filepath.WalkDir(folder, func(_ string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return nil //nolint:nilerr // a file that goes while we look is no file
		}
		if info, err := d.Info(); err == nil {
			p.files++
			p.disk += float64(info.Size()) / 1024
		}
		return nil
	})
	return p
}

// reportGrowth prints the slope of each column over the second half of the run, as growth a week: the first half fills windows and caches.
func reportGrowth(w io.Writer, rows []footprint) error {
	half := rows[len(rows)/2:]
	if len(half) < 3 {
		return errors.New("the run was too short to tell what grows")
	}
	fmt.Fprintf(w, "\ngrowth a week, by the second half of the run:\n")
	for _, c := range []struct {
		name  string
		value func(footprint) float64
	}{
		{"memory_kB", func(p footprint) float64 { return p.resident }}, {"heap_kB", func(p footprint) float64 { return p.heap }},
		{"goroutines", func(p footprint) float64 { return p.goroutines }}, {"descriptors", func(p footprint) float64 { return p.descriptors }},
		{"files", func(p footprint) float64 { return p.files }}, {"disk_kB", func(p footprint) float64 { return p.disk }},
	} {
		fmt.Fprintf(w, "%12s %+.1f\n", c.name, 7*slopeOf(half, c.value))
	}
	return nil
}

// slopeOf is the least squares slope of a column, a day.
func slopeOf(rows []footprint, value func(footprint) float64) float64 {
	var n, x, y, xx, xy float64
	for _, p := range rows {
		day, v := p.at.Hours()/24, value(p)
		n, x, y, xx, xy = n+1, x+day, y+v, xx+day*day, xy+day*v
	}
	if d := n*xx - x*x; d != 0 {
		return (n*xy - x*y) / d
	}
	return 0
}
