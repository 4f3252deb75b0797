package command

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/rules/rehearse"
)

// historyFile is the file by which a data folder is known.
const historyFile = "history.db"

// openReadings opens what was recorded: a data folder, a SenML pack or several (.json, one a line or one alone), else CSV. A data folder also tells its lots.
func openReadings(name string, known func(string) (units.Quantity, bool)) (rehearse.Source, []reading.Stay, io.Closer, error) {
	info, err := os.Stat(name)
	if err != nil {
		return nil, nil, nil, fmt.Errorf("reading what was recorded: %w", err)
	}
	if info.IsDir() {
		return openFolder(name)
	}
	file, err := os.Open(name)
	if err != nil {
		return nil, nil, nil, fmt.Errorf("reading what was recorded: %w", err)
	}
	base := filepath.Base(name)
	if strings.HasSuffix(name, ".json") || strings.HasSuffix(name, ".senml") {
		source, err := senml(file, known)
		if err != nil {
			return nil, nil, nil, errors.Join(fmt.Errorf("%s: %w", base, err), file.Close())
		}
		return source, nil, file, nil
	}
	rows, err := reading.NewRows(file, known)
	if err != nil {
		return nil, nil, nil, errors.Join(fmt.Errorf("%s: %w", base, err), file.Close())
	}
	return named{base, rows}, nil, file, nil
}

// named says in which file a row is wrong.
type named struct {
	name string
	from rehearse.Source
}

func (n named) Next() (reading.Reading, error) {
	r, err := n.from.Next()
	if err != nil && !errors.Is(err, io.EOF) {
		err = fmt.Errorf("%s: %w", n.name, err)
	}
	return r, err
}

// listed gives readings that are all in memory.
type listed struct{ rest []reading.Reading }

func (l *listed) Next() (reading.Reading, error) {
	if len(l.rest) == 0 {
		return reading.Reading{}, io.EOF
	}
	r := l.rest[0]
	l.rest = l.rest[1:]
	return r, nil
}

// senml reads packs, each on a line of its own or one over the whole file.
func senml(from io.Reader, known func(string) (units.Quantity, bool)) (rehearse.Source, error) {
	text, err := io.ReadAll(from)
	if err != nil {
		return nil, err
	}
	packs := [][]byte{text}
	if bytes.Count(text, []byte("]\n[")) > 0 {
		packs = bytes.Split(text, []byte("\n"))
	}
	var all []reading.Reading
	for i, pack := range packs {
		if len(bytes.TrimSpace(pack)) == 0 {
			continue
		}
		// A time relative to now would make every rehearsal another: it counts from the beginning of 1970, where it is seen at once.
		records, err := reading.DecodeSenML(pack, time.Unix(0, 0), nil)
		if err == nil {
			all, err = reading.ReadingsOf(records, known, all)
		}
		if err != nil {
			return nil, fmt.Errorf("pack %d: %w", i+1, err)
		}
	}
	return &listed{all}, nil
}

// folder reads the history of a board: what it rolled up in the order of time, the rest in the order in which it was written.
type folder struct {
	history *history.History
	next    func() (reading.Reading, error, bool)
	stop    func()
}

func newFolder(h *history.History) *folder {
	f := &folder{history: h}
	f.next, f.stop = iter.Pull2(func(yield func(reading.Reading, error) bool) {
		err := h.Replay(context.Background(), func(e *history.Entry) error {
			if !yield(e.Reading, nil) {
				return errStopped
			}
			return nil
		})
		var damage *history.Damage
		if err != nil && !errors.Is(err, errStopped) && !errors.As(err, &damage) { // beside what is damaged the others are worth playing
			yield(reading.Reading{}, err)
		}
	})
	return f
}

var errStopped = errors.New("no more is asked for")

func (f *folder) Next() (reading.Reading, error) {
	r, err, more := f.next()
	if !more {
		return reading.Reading{}, io.EOF
	}
	return r, err
}

func (f *folder) Close() error {
	f.stop()
	return f.history.Close()
}

// openFolder opens the history of a board that does not run, and its lots.
func openFolder(name string) (rehearse.Source, []reading.Stay, io.Closer, error) {
	if _, err := os.Stat(filepath.Join(name, historyFile)); err != nil {
		return nil, nil, nil, fmt.Errorf("%s is no data folder: it has no %s", name, historyFile)
	}
	h, err := history.Open(name, history.Options{})
	if errors.Is(err, history.ErrInUse) {
		return nil, nil, nil, fmt.Errorf("a gateway runs on %s: stop it, or rehearse a copy of the folder: %w", name, err)
	}
	if err != nil {
		return nil, nil, nil, fmt.Errorf("opening the history: %w", err)
	}
	stays, err := folderLots(name)
	if err != nil {
		return nil, nil, nil, errors.Join(err, h.Close())
	}
	f := newFolder(h)
	return f, stays, f, nil
}

func folderLots(name string) (acts []reading.Stay, err error) {
	book, err := logbook.Open(name)
	if err != nil {
		return nil, fmt.Errorf("opening the logbook: %w", err)
	}
	defer func() { err = errors.Join(err, book.Close()) }()
	stays, err := book.Stays(context.Background(), "", "")
	if err != nil {
		return nil, fmt.Errorf("reading the lots: %w", err)
	}
	weight := func(kg float64) float64 {
		if kg == 0 {
			return math.NaN()
		}
		return kg
	}
	for _, s := range stays {
		acts = append(acts, reading.Stay{Stamp: s.From, Station: s.Station, Lot: s.Lot, Kg: weight(s.Loaded), Note: s.Note})
		if s.Ended {
			acts = append(acts, reading.Stay{Stamp: s.To, Station: s.Station, Lot: s.Lot, Kg: weight(s.Unloaded), Empty: true})
		}
	}
	return acts, nil
}
