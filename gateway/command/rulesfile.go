package command

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	"millwarden/gateway/floor"
	"millwarden/internal/diag"
	"millwarden/rules/check"
	"millwarden/rules/standard"
)

// rulesFile is the rules file on disk, as a running gateway watches it.
type rulesFile struct {
	path string

	mu   sync.Mutex // guards seen
	seen map[string]fileState
}

// fileState tells one content of a file from another without reading it.
type fileState struct {
	size     int64
	modified time.Time
}

// watch begins to watch the files of a plan.
func watch(path string, plan *check.Plan) *rulesFile {
	f := &rulesFile{path: path}
	f.look(plan.Files)
	return f
}

func (f *rulesFile) look(files []string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.seen = map[string]fileState{}
	for _, name := range files {
		if !strings.HasPrefix(name, standard.Prefix) {
			f.seen[name] = f.state(name)
		}
	}
}

func (f *rulesFile) state(name string) fileState {
	info, err := os.Stat(filepath.Join(filepath.Dir(f.path), name))
	if err != nil {
		return fileState{}
	}
	return fileState{info.Size(), info.ModTime()}
}

// Changed tells whether any of the files is another than when it was loaded, or refused.
func (f *rulesFile) Changed() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	changed := false
	for name, before := range f.seen {
		if now := f.state(name); now != before {
			f.seen[name] = now // a refused file is told once, not every two seconds
			changed = true
		}
	}
	return changed
}

// Load reads and checks the file with what it includes.
func (f *rulesFile) Load() (*check.Plan, string, error) {
	l, err := loadRules(f.path)
	if err != nil {
		return nil, "", err
	}
	if l.said.HasErrors() {
		return nil, "", firstError(l.said)
	}
	f.look(l.plan.Files)
	var text strings.Builder
	for _, name := range l.plan.Files {
		if !strings.HasPrefix(name, standard.Prefix) {
			fmt.Fprintf(&text, "# file %s\n%s\n", name, l.sources[name])
		}
	}
	return l.plan, text.String(), nil
}

// firstError is the first fault with its place, and how many more there are.
func firstError(said diag.List) error {
	var first *diag.Diagnostic
	count := 0
	for i := range said {
		if said[i].Severity != diag.Error {
			continue
		}
		if first == nil {
			first = &said[i]
		}
		count++
	}
	more := ""
	if count > 1 {
		more = fmt.Sprintf(" (and %d more; `millwarden check` shows all)", count-1)
	}
	return fmt.Errorf("%s: %s%s", first.Subject.Position, first.Summary, more)
}

// reloadOnHangup lets the signal by which services are told to read their files anew do so.
func reloadOnHangup(ctx context.Context, mill *floor.Floor) {
	hangup := make(chan os.Signal, 1)
	signal.Notify(hangup, syscall.SIGHUP)
	defer signal.Stop(hangup)
	for {
		select {
		case <-ctx.Done():
			return
		case <-hangup:
			_ = mill.Reload(ctx, floor.BySignal) // told, logged, and an alarm; the old plan goes on
		}
	}
}
