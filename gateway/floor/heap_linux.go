package floor

import (
	"fmt"
	"os"
	"strings"

	"golang.org/x/sys/unix"
)

// forgetStart lets go of the pages of the program's own file, of which a third was needed by the start alone: what is still used comes back at once from
// the kernel's cache. Where the kernel says no they stay. [madvise(2), MADV_DONTNEED]
func forgetStart() {
	program, err := os.Readlink("/proc/self/exe")
	if err != nil {
		return
	}
	maps, err := os.ReadFile("/proc/self/smaps")
	if err != nil {
		return
	}
	for _, m := range unwritten(string(maps), program) {
		if _, _, failed := unix.Syscall(unix.SYS_MADVISE, m.from, m.to-m.from, unix.MADV_DONTNEED); failed != 0 {
			return
		}
	}
}

// mapped is a stretch of this process's memory.
type mapped struct{ from, to uintptr }

// unwritten finds, in the kernel's list, where a file is mapped that cannot be written and of which no page ever was: to let go of one that was, as a
// loader does, would lose it. [proc_pid_smaps(5)]
func unwritten(smaps, file string) (found []mapped) {
	theFile := false
	for line := range strings.Lines(smaps) {
		var m mapped
		var rights string
		if _, err := fmt.Sscanf(line, "%x-%x %s", &m.from, &m.to, &rights); err == nil {
			theFile = strings.HasSuffix(line, " "+file+"\n") && !strings.Contains(rights, "w")
			if theFile {
				found = append(found, m)
			}
			continue
		}
		name, amount, _ := strings.Cut(line, ":")
		if theFile && (name == "Anonymous" || name == "Swap") && strings.TrimSpace(amount) != "0 kB" {
			found, theFile = found[:len(found)-1], false
		}
	}
	return found
}
