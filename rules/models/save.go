package models

import (
	"encoding/json"
	"fmt"
	"maps"
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/reading"
)

// savedVersion changes when old saved state can no longer be read.
const savedVersion = 1

// Saved is the state of all models as plain data. Its durations are on the monotonic clock of At.
type Saved struct {
	Version  int
	At       reading.Stamp
	Enters   bool
	Habits   map[string]coffee.Habit
	Layers   map[string]coffee.LayerHabit `json:",omitempty"`
	Lots     map[string]Lot
	Stations map[string]SavedStation
}

// SavedStation is the state of one station.
type SavedStation struct {
	Kind  string // type of the model, so that another kind of the same name does not take it
	Stay  *SavedStay
	Model json.RawMessage
}

// SavedStay is a stay that lasts.
type SavedStay struct {
	Lot  string
	From reading.Stamp
	// Began is when a stay of another boot began on the monotonic clock of Saved.At; absent: not yet reckoned.
	Began *time.Duration `json:",omitempty"`
}

// Save gives the whole state as JSON.
func (m *Models) Save(now reading.Stamp) ([]byte, error) {
	s := Saved{Version: savedVersion, At: now, Enters: m.enters, Habits: map[string]coffee.Habit{}, Layers: map[string]coffee.LayerHabit{}, Lots: maps.Clone(m.lots), Stations: map[string]SavedStation{}}
	for key, h := range m.habits {
		s.Habits[key] = *h
	}
	for key, h := range m.layers {
		s.Layers[key] = *h
	}
	for _, st := range m.order {
		text, err := json.Marshal(st.model.state())
		if err != nil {
			return nil, fmt.Errorf("models: saving %s: %w", st.name, err)
		}
		saved := SavedStation{Kind: fmt.Sprintf("%T", st.model), Model: text}
		if st.stay.Loaded {
			saved.Stay = &SavedStay{Lot: st.stay.Lot, From: st.stay.From}
			if began := st.stay.began; st.stay.reckoned {
				saved.Stay.Began = &began
			}
		}
		s.Stations[st.name] = saved
	}
	return json.Marshal(&s)
}

// Restore takes a saved state back, right after New. What lies between then and now is a gap to the models, until Fill fills it. It gives the monotonic time on the
// clock of now up to which readings are in the state.
func (m *Models) Restore(text []byte, now reading.Stamp) (filled time.Duration, err error) {
	var s Saved
	if err := json.Unmarshal(text, &s); err != nil {
		return 0, fmt.Errorf("models: taking over the saved state: %w", err)
	}
	if s.Version != savedVersion {
		return 0, fmt.Errorf("models: taking over the saved state: it is of version %d, this program reads %d", s.Version, savedVersion)
	}
	moved := time.Duration(0)
	switch {
	case s.At.Boot == now.Boot && s.At.Mono <= now.Mono:
	case s.At.Set && now.Set:
		moved = now.Mono - max(0, now.Wall.Sub(s.At.Wall)) - s.At.Mono
	default: // nobody knows how long the board was off
		moved = now.Mono - s.At.Mono
	}
	m.enters, m.filled = s.Enters, s.At.Mono+moved
	for key, h := range s.Habits {
		if own := m.habits[key]; own != nil && h.Ready > 0 && h.Spread > 0 {
			*own = h
		}
	}
	for key, h := range s.Layers {
		if own := m.layers[key]; own != nil && h.Layers > 0 && h.Paces > 0 {
			*own = h
		}
	}
	if s.Lots != nil {
		m.lots = s.Lots
	}
	for _, st := range m.order {
		saved, there := s.Stations[st.name]
		if !there || saved.Kind != fmt.Sprintf("%T", st.model) {
			continue
		}
		if err := json.Unmarshal(saved.Model, st.model.state()); err != nil {
			return m.filled, fmt.Errorf("models: taking over the saved state of %s: %w", st.name, err)
		}
		st.model.restored(moved)
		if saved.Stay != nil {
			st.stay = stay{Loaded: true, Lot: saved.Stay.Lot, From: saved.Stay.From}
			if began := saved.Stay.Began; began != nil && s.At.Boot == now.Boot && s.At.Mono <= now.Mono {
				st.stay.reckoned, st.stay.began = true, *began // within a boot the wall clock is not asked twice
			}
		}
	}
	return m.filled, nil
}
