package models

import (
	"slices"
	"time"
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

// Learned gives what was learned, groups in the order of their first station.
func (m *Models) Learned() []Learned {
	var list []Learned
	at := map[any]int{}
	for _, s := range m.order {
		t, is := s.model.(*tank)
		if !is {
			continue
		}
		i, known := at[t.habit]
		if !known {
			i, at[t.habit] = len(list), len(list)
			list = append(list, Learned{Tanks: t.habit.Tanks, Usual: t.usual, Ready: t.habit.Ready, Spread: t.habit.Spread, Reference: float64(t.pace.Reference)})
		}
		list[i].Stations = append(list[i].Stations, s.name)
	}
	for i := range list {
		slices.Sort(list[i].Stations)
	}
	return list
}
