package metrics

import (
	"bytes"
	"os"
	"runtime"
	"strconv"
)

// ticks is how many parts of a second the kernel counts processor time in [proc(5): sysconf(_SC_CLK_TCK); 100 on every Linux].
const ticks = 100

// Process writes what scrapers look for of any program, under the names that the guidelines for clients of Prometheus give ("Writing client libraries", standard and runtime
// collectors). What the system does not tell is left out.
func Process(p *Page) {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	p.Gauge("go_goroutines", "Number of goroutines that currently exist.", float64(runtime.NumGoroutine()))
	p.Gauge("go_memstats_heap_alloc_bytes", "Memory of objects that are in use.", float64(m.HeapAlloc))
	p.Gauge("go_memstats_sys_bytes", "Memory that was asked of the system.", float64(m.Sys))
	p.Counter("go_gc_cycles_total", "Collections of unused memory since the start.", float64(m.NumGC))
	if stat, err := os.ReadFile("/proc/self/stat"); err == nil {
		fields := bytes.Fields(stat[bytes.LastIndexByte(stat, ')')+1:]) // from field 3 on [proc(5)]
		if len(fields) > 21 {
			p.Counter("process_cpu_seconds_total", "Processor time spent, in seconds.", (whole(fields[11])+whole(fields[12]))/ticks)
			p.Gauge("process_virtual_memory_bytes", "Size of the address space.", whole(fields[20]))
			p.Gauge("process_resident_memory_bytes", "Memory that is resident.", whole(fields[21])*float64(os.Getpagesize()))
		}
	}
	if files, err := os.ReadDir("/proc/self/fd"); err == nil {
		p.Gauge("process_open_fds", "Number of open files.", float64(len(files)))
	}
}

func whole(text []byte) float64 {
	n, err := strconv.ParseUint(string(text), 10, 64)
	if err != nil {
		return 0
	}
	return float64(n)
}
