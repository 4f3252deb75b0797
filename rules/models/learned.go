package models

import (
	"math"
	"slices"
	"time"

	"millwarden/internal/coffee"
)

// Learned is what the estate's own washed tanks have taught the forecasts of one group of tanks with the same settings.
type Learned struct {
	Stations  []string
	Tanks     int           // washed tanks that it rests on
	Usual     time.Duration // to pH 4.6 at the reference temperature, as the rules file says
	Ready     time.Duration // the same, as the tanks have shown
	Spread    float64       // standard deviation of the logarithm of that time: two tanks of three lie within a factor of its exponential
	Reference float64       // °C
}

// Dried is what the estate's own dried layers have taught the forecasts of one group of decks or dryers with the same target.
type Dried struct {
	Stations []string
	Layers   int // laid fresh, that it rests on
	Target   coffee.WetBasis
	Took     time.Duration // from load to target
	Spread   float64       // as that of Learned
}

// group are stations with one habit, the first of them for its settings.
type group[M any] struct {
	first    M
	stations []string
}

// groups gives stations by the habit that they share, groups in the order of their first station.
func groups[M any, H comparable](m *Models, habit func(M) H) (list []group[M]) {
	at := map[H]int{}
	for _, s := range m.order {
		model, is := s.model.(M)
		if !is {
			continue
		}
		i, known := at[habit(model)]
		if !known {
			i, at[habit(model)] = len(list), len(list)
			list = append(list, group[M]{first: model})
		}
		list[i].stations = append(list[i].stations, s.name)
	}
	for i := range list {
		slices.Sort(list[i].stations)
	}
	return list
}

// Learned gives what tanks taught.
func (m *Models) Learned() (list []Learned) {
	for _, g := range groups(m, func(t *tank) *coffee.Habit { return t.habit }) {
		t := g.first
		list = append(list, Learned{g.stations, t.habit.Tanks, t.usual, t.habit.Ready, t.habit.Spread, float64(t.pace.Reference)})
	}
	return list
}

// Dried gives what layers taught, of groups in which one was dried.
func (m *Models) Dried() (list []Dried) {
	for _, g := range groups(m, func(d *bed) *coffee.LayerHabit { return d.habit }) {
		if hours, spread, known := g.first.habit.Usual(); known {
			took := time.Duration(math.Round(hours * float64(time.Hour)))
			list = append(list, Dried{g.stations, g.first.habit.Timed, g.first.target.Wet(), took, spread})
		}
	}
	return list
}
