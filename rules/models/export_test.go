package models

// All asks for all points of all stations at the next tick.
func (m *Models) All() {
	for _, s := range m.order {
		s.atOnce()
	}
}
