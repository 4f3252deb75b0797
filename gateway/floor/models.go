package floor

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"millwarden/internal/reading"
	"millwarden/rules/engine"
	"millwarden/rules/models"
)

// ModelsFile holds what the models know of the past, in the data folder.
const ModelsFile = "models.json"

const (
	// modelsEvery is how often it is written. Chosen: what a start has to read of the history stays short, and a card bears it.
	modelsEvery = 10 * time.Minute
	// modelsReach is how far back the history is read where that file is not there; chosen: longer than a fermentation.
	modelsReach = 48 * time.Hour
)

// beginModels makes the models of the plan and takes back what they knew. It gives the monotonic time from which they need the history.
func (f *Floor) beginModels(now reading.Stamp) (from time.Duration) {
	f.models = models.New(models.Of(f.plan().Plan))
	from = max(0, now.Mono-modelsReach) // this boot's history holds nothing older
	text, err := os.ReadFile(filepath.Join(f.o.Data, ModelsFile))
	if err == nil {
		from, err = f.models.Restore(text, now)
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		f.log.Error("models begin with what the history knows", "cause", err)
		f.models = models.New(models.Of(f.plan().Plan))
		from = max(0, now.Mono-modelsReach)
	}
	begins := now
	begins.Mono, begins.Wall = from, now.Wall.Add(from-now.Mono)
	f.loadModels(f.models, begins)
	return from
}

// loadModels tells models which lots stand where.
func (f *Floor) loadModels(m *models.Models, now reading.Stamp) {
	if f.entersLots.Load() {
		m.Enters()
	}
	for station, s := range f.stays {
		m.Load(station, s.Lot, s.From, now)
	}
}

// reloadModels makes models of the plan that is in force now and hands over what the old ones knew. The caller holds deciding.
func (f *Floor) reloadModels(now reading.Stamp) {
	next := models.New(models.Of(f.plan().Plan))
	text, err := f.models.Save(now)
	if err == nil {
		_, err = next.Restore(text, now)
	}
	if err != nil {
		f.log.Error("models begin anew with the new rules", "cause", err)
		next = models.New(models.Of(f.plan().Plan))
	}
	f.loadModels(next, now)
	f.models = next
}

// tickModels gives the engine the computed points that are due, and the moments that models have found. The caller holds deciding.
func (f *Floor) tickModels(now reading.Stamp, transitions []engine.Transition) []engine.Transition {
	f.marks = f.models.Marks(f.marks[:0])
	for i := range f.marks {
		transitions = f.engine.Moment(f.marks[i].Name, f.marks[i].At, transitions)
	}
	f.computed = f.models.Tick(now, f.computed[:0])
	return f.restEntries(now, f.decide(f.computed, transitions))
}

// saveModels writes what the models know, whole or not at all.
func (f *Floor) saveModels() {
	f.deciding.Lock()
	text, err := f.models.Save(f.clock.Now())
	f.deciding.Unlock()
	if err == nil {
		err = replaceFile(filepath.Join(f.o.Data, ModelsFile), text)
	}
	if err != nil {
		f.log.Error("what the models know cannot be saved", "cause", err)
	}
}

// replaceFile puts a file in the place of another by a name change, so that a power cut leaves the old one or the new one.
func replaceFile(name string, text []byte) error {
	file, err := os.CreateTemp(filepath.Dir(name), filepath.Base(name)+".*")
	if err != nil {
		return err
	}
	_, err = file.Write(text)
	if err = errors.Join(err, file.Sync(), file.Close()); err == nil {
		err = os.Rename(file.Name(), name)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("replacing %s: %w", name, err), os.Remove(file.Name()))
	}
	return nil
}
