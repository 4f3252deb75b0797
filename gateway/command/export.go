package command

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"millwarden/gateway/history"
	"millwarden/internal/reading"
)

const (
	// exportWindow is what is read and put in order at once: 30 MB at 64 readings a second.
	exportWindow = time.Hour
	// packMost is how many readings a pack of SenML holds. Chosen: readers need not hold a day at once.
	packMost = 1000
)

// exportReadings writes kept readings for other programs, and for rehearse. The gateway may run: a copy of the history is read.
func exportReadings(ctx context.Context, std IO, args []string) (err error) {
	f := flags("export", std)
	data := f.String("data", defaultData, "folder of history and logbook")
	fromText := f.String("from", "", "first time, for example 2026-06-10 or 2026-06-10T18:00 in this machine's time zone; else a day before --to")
	toText := f.String("to", "", "time before which it ends; else now")
	senml := f.Bool("senml", false, "SenML (RFC 8428), one pack a line, in place of CSV")
	out := f.String("out", "", "a new file; else it is printed")
	points, err := parse(f, args)
	if err != nil {
		return err
	}
	span := rehearsal{zone: time.Local}
	if err := span.span(*fromText, *toText); err != nil {
		return err
	}
	if span.to.IsZero() {
		span.to = time.Now()
	}
	if span.from.IsZero() {
		span.from = span.to.AddDate(0, 0, -1)
	}
	if !span.from.Before(span.to) {
		return fmt.Errorf("%w: --from is not before --to", errUse)
	}
	h, done, err := openCopy(ctx, *data)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, done()) }()
	if points, err = pointsOf(h, points); err != nil {
		return err
	}
	to, finish, err := exportTo(std, *out)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, finish(err)) }()
	buffered := bufio.NewWriterSize(to, 1<<16)
	e := exporter{history: h, points: points}
	if e.sink, err = newSink(buffered, *senml); err != nil {
		return err
	}
	if err := e.run(ctx, span.from, span.to); err != nil {
		return err
	}
	if err := buffered.Flush(); err != nil {
		return err
	}
	return e.tell(std)
}

// openCopy opens a copy of a folder's history: the gateway may hold the folder, and to open a file is to change it.
func openCopy(ctx context.Context, data string) (h *history.History, done func() error, err error) {
	if !history.Exists(data) {
		return nil, nil, fmt.Errorf("%s is no data folder: it has no %s", data, historyFile)
	}
	scratch, err := os.MkdirTemp("", "millwarden-export-*")
	if err != nil {
		return nil, nil, fmt.Errorf("making room for a copy of the history (TMPDIR names another place): %w", err)
	}
	if err = history.CopyTo(ctx, data, scratch); err == nil {
		h, err = history.Open(scratch, history.Options{})
	}
	if err != nil {
		return nil, nil, errors.Join(fmt.Errorf("copying the history to %s (TMPDIR names another place): %w", scratch, copyFault(err)), os.RemoveAll(scratch))
	}
	return h, func() error { return errors.Join(h.Close(), os.RemoveAll(scratch)) }, nil
}

// pointsOf gives the points that are meant: those named, else all.
func pointsOf(h *history.History, named []string) ([]string, error) {
	all := h.Points()
	for _, name := range named {
		if !slices.Contains(all, name) {
			return nil, fmt.Errorf("the history knows no point %q; `millwarden readings` lists those of the running gateway", name)
		}
	}
	if len(named) > 0 {
		return named, nil
	}
	return all, nil
}

// exportTo opens what is written to. finish removes a file that was not written whole.
func exportTo(std IO, name string) (to io.Writer, finish func(error) error, err error) {
	if name == "" {
		return std.Out, func(error) error { return nil }, nil
	}
	file, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o640)
	if errors.Is(err, os.ErrExist) {
		return nil, nil, fmt.Errorf("%s is there already: nothing was written; name a new file", name)
	}
	if err != nil {
		return nil, nil, err
	}
	return file, func(failed error) error {
		if failed == nil || errors.Is(failed, errFaults) {
			return errors.Join(file.Sync(), file.Close())
		}
		return errors.Join(file.Close(), os.Remove(name))
	}, nil
}

// exporter writes readings in the order of their times.
type exporter struct {
	history *history.History
	points  []string
	sink    sink
	written int
	unset   int   // readings of a clock that was not set: their time cannot be told
	damage  error // what could not be read
	window  []history.Entry
	packed  []reading.Reading
}

func (e *exporter) run(ctx context.Context, from, to time.Time) error {
	for from.Before(to) {
		// Windows end on whole hours, as the pieces of the file do, but for those of a day, which are read again for each.
		end := from.Truncate(exportWindow).Add(exportWindow)
		if end.After(to) {
			end = to
		}
		if err := e.read(ctx, from, end); err != nil {
			return err
		}
		if err := e.write(); err != nil {
			return err
		}
		from = end
	}
	return nil
}

func (e *exporter) read(ctx context.Context, from, to time.Time) error {
	e.window = e.window[:0]
	for _, point := range e.points {
		found, err := e.history.Range(ctx, point, from, to, 0)
		var d *history.Damage
		if err != nil && !errors.As(err, &d) {
			return err
		}
		if err != nil {
			e.damage = err
		}
		e.window = append(e.window, found...)
	}
	slices.SortStableFunc(e.window, func(a, b history.Entry) int {
		return cmp.Or(a.Stamp.Wall.Compare(b.Stamp.Wall), cmp.Compare(a.Position, b.Position))
	})
	return nil
}

func (e *exporter) write() error {
	e.packed = e.packed[:0]
	for i := range e.window {
		if !e.window[i].Stamp.Set {
			e.unset++
			continue
		}
		e.packed = append(e.packed, e.window[i].Reading)
	}
	e.written += len(e.packed)
	return e.sink(e.packed)
}

func (e *exporter) tell(std IO) error {
	fmt.Fprintf(std.Err, "%d readings\n", e.written)
	if e.unset > 0 {
		fmt.Fprintf(std.Err, "%d more were taken before the clock was set and have no time to write\n", e.unset)
	}
	if e.damage == nil {
		return nil
	}
	fmt.Fprintf(std.Err, "%d readings of the history cannot be read any more: %v\n", e.history.Counts().Damaged, e.damage)
	return errFaults
}

// sink writes readings.
type sink func([]reading.Reading) error

func newSink(to io.Writer, senml bool) (sink, error) {
	if senml {
		return packs(to), nil
	}
	rows, err := reading.NewCSVWriter(to)
	if err != nil {
		return nil, err
	}
	return func(all []reading.Reading) error {
		for i := range all {
			if err := rows.Write(&all[i]); err != nil {
				return err
			}
		}
		return rows.Flush()
	}, nil
}

func packs(to io.Writer) sink {
	var text []byte
	return func(all []reading.Reading) error {
		for pack := range slices.Chunk(all, packMost) {
			var err error
			if text, err = reading.AppendReadings(text[:0], pack); err != nil {
				return err
			}
			if _, err := to.Write(append(text, '\n')); err != nil {
				return err
			}
		}
		return nil
	}
}
