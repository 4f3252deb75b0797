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

// footprint is what the program takes of the machine at one moment; memory in kB, 0 where the kernel does not tell.
type footprint struct {
	at          time.Duration // of the estate
	resident    float64       // [proc(5), VmRSS]; the sum of the five that follow, but for what the kernel counts late
	file        float64       // pages of the program's file, and of others it maps [proc(5), RssFile and RssShmem]: they grow as code runs for the first time, up to its size
	heap        float64       // objects that are left after a collection
	idle        float64       // what the heap holds for objects to come and has not given back
	runtime     float64       // stacks of goroutines, and what the runtime needs to know of the heap
	rest        float64       // anonymous memory that is none of these: SQLite's, which allocates outside the heap
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
	fmt.Fprintf(std.Out, "%g days of the estate in %s\n", *days, takes.Round(time.Second))
	printHead(std.Out)
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

// columns of the report, in the order in which they are printed.
var columns = []struct {
	name  string
	value func(*footprint) *float64
}{
	{"memory_kB", func(p *footprint) *float64 { return &p.resident }}, {"file_kB", func(p *footprint) *float64 { return &p.file }},
	{"heap_kB", func(p *footprint) *float64 { return &p.heap }}, {"idle_kB", func(p *footprint) *float64 { return &p.idle }},
	{"runtime_kB", func(p *footprint) *float64 { return &p.runtime }}, {"sqlite_kB", func(p *footprint) *float64 { return &p.rest }},
	{"goroutines", func(p *footprint) *float64 { return &p.goroutines }}, {"descriptors", func(p *footprint) *float64 { return &p.descriptors }},
	{"files", func(p *footprint) *float64 { return &p.files }}, {"disk_kB", func(p *footprint) *float64 { return &p.disk }},
}

func printHead(w io.Writer) {
	fmt.Fprintf(w, "%8s", "day")
	for _, c := range columns {
		fmt.Fprintf(w, " %*s", len(c.name)+1, c.name)
	}
	fmt.Fprintln(w)
}

func (p *footprint) print(w io.Writer) {
	fmt.Fprintf(w, "%8.2f", p.at.Hours()/24)
	for _, c := range columns {
		fmt.Fprintf(w, " %*.0f", len(c.name)+1, *c.value(p))
	}
	fmt.Fprintln(w)
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
		p.print(w)
	}
}

func look(folder string) footprint {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	kernel := residentKinds()
	kB := func(bytes uint64) float64 { return float64(bytes) / 1024 }
	p := footprint{resident: kernel["VmRSS:"], file: kernel["RssFile:"] + kernel["RssShmem:"], goroutines: float64(runtime.NumGoroutine()),
		heap: kB(m.HeapAlloc), idle: kB(m.HeapSys - m.HeapReleased - m.HeapAlloc),
		runtime: kB(m.StackInuse + m.MSpanSys + m.MCacheSys + m.BuckHashSys + m.GCSys + m.OtherSys)}
	if anonymous := kernel["RssAnon:"]; anonymous > 0 {
		p.rest = anonymous - p.heap - p.idle - p.runtime
	}
	if open, err := os.ReadDir("/proc/self/fd"); err == nil {
		p.descriptors = float64(len(open))
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

// residentKinds is what the kernel says of resident memory, in kB, by its names; empty where it does not.
func residentKinds() map[string]float64 {
	kinds := map[string]float64{}
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return kinds
	}
	for line := range strings.Lines(string(status)) {
		if f := strings.Fields(line); len(f) > 1 && (f[0] == "VmRSS:" || strings.HasPrefix(f[0], "Rss")) {
			kinds[f[0]], _ = strconv.ParseFloat(f[1], 64) // 0 says that it is not known
		}
	}
	return kinds
}

// reportGrowth prints the slope of each column over the second half of the run, as growth a week: the first half fills windows and caches.
func reportGrowth(w io.Writer, rows []footprint) error {
	half := rows[len(rows)/2:]
	if len(half) < 3 {
		return errors.New("the run was too short to tell what grows")
	}
	fmt.Fprintf(w, "\ngrowth a week, by the second half of the run:\n")
	for _, c := range columns {
		fmt.Fprintf(w, "%12s %+.1f\n", c.name, 7*slopeOf(half, c.value))
	}
	return nil
}

// slopeOf is the least squares slope of a column, a day.
func slopeOf(rows []footprint, value func(*footprint) *float64) float64 {
	var n, x, y, xx, xy float64
	for i := range rows {
		day, v := rows[i].at.Hours()/24, *value(&rows[i])
		n, x, y, xx, xy = n+1, x+day, y+v, xx+day*day, xy+day*v
	}
	if d := n*xx - x*x; d != 0 {
		return (n*xy - x*y) / d
	}
	return 0
}
