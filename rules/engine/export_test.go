package engine

// Judged is how often alarms were judged, for tests of other packages.
func (e *Engine) Judged() int { return e.m.judged }
