package models

// All asks for all points of all stations at the next tick.
func (m *Models) All() {
	for _, s := range m.order {
		s.atOnce()
	}
}

// Taught takes over what the dried layers of other models have taught, and tells on how many the beds of a kind rest.
func (m *Models) Taught(by *Models) (layers int) {
	for key, h := range by.layers {
		if own := m.layers[key]; own != nil {
			*own, layers = *h, h.Layers
		}
	}
	return layers
}
