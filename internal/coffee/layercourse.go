package coffee

import "math"

// LayerCourse is how one finished layer of a house went: the hours of drive that it took from each of layerLevels to its target, by the curves through all that was measured. It is plain data, so that it can be kept.
type LayerCourse struct {
	Left  [layerLevelsKept]float64
	Whole float64 // from the beginning; 0: there is none
}

// Chosen, on the layers that may be looked at.
const (
	layerLevelsKept = 12
	layerCourses    = 3   // the newest
	courseDrive     = 1   // index in layerExponents by which hours of drive are counted
	courseKeeps     = 0.7 // part of the pace so far, against that of the course, that goes on to the end
	courseCounts    = 0.7 // for the logarithm of the time left, against ways and usual time
	courseEnd       = 9.0 // % of the dry weight that layers tend to
)

// layerLevels are moistures, % of the dry weight.
var layerLevels = [layerLevelsKept]float64{14, 16, 18, 21, 24, 28, 32, 37, 43, 50, 58, 68}

// driven are the hours of drive of the first hours, the last one in part.
func (l *Layer) driven(hours float64) (sum float64) {
	d := &l.drives[0].driven[courseDrive]
	for i := range l.Hours {
		sum += max(0, min(1, hours-float64(i))) * d[i]
	}
	return sum
}

// course is how the layer went; false: its beginning is forgotten.
func (l *Layer) course(target DryBasis) (c LayerCourse, ok bool) {
	if l.Passed != len(l.Hours) {
		return c, false
	}
	c.Whole = l.driven(l.came(target))
	for k, level := range layerLevels {
		if level > float64(target) {
			c.Left[k] = c.Whole - l.driven(l.came(DryBasis(level)))
		}
	}
	return c, true
}

// left is what the course took from a moisture on, between its levels by the logarithm of what is free; false: there is none, or it begins below.
func (c *LayerCourse) left(m float64, target DryBasis) (drive float64, ok bool) {
	free := func(m float64) float64 { return math.Log(max(0.1, m-courseEnd)) }
	below, at := float64(target), 0.0
	for k, level := range layerLevels {
		switch {
		case level <= float64(target):
			continue
		case c.Left[k] <= at:
			return 0, false
		case m <= level:
			return at + (free(m)-free(below))/(free(level)-free(below))*(c.Left[k]-at), true
		}
		below, at = level, c.Left[k]
	}
	return 0, false
}

// asOthers is when the layer comes to its target if it goes on as the newest of the house did from its moisture on, h; false: nobody knows.
func (l *Layer) asOthers(target DryBasis, air *AirAhead) (hours float64, ok bool) {
	if l.blind || l.Passed != len(l.Hours) {
		return 0, false
	}
	now, gone, sum, n := l.now(), l.driven(float64(len(l.Hours))), 0.0, 0.0
	for i := range l.habit.Courses {
		c := &l.habit.Courses[i]
		if left, ok := c.left(now, target); ok && left > 0 && left < c.Whole && gone > 0 {
			sum, n = sum+math.Log(left)+courseKeeps*math.Log(gone/(c.Whole-left)), n+1
		}
	}
	if n == 0 {
		return 0, false
	}
	return air.passing(math.Exp(sum / n))
}

// now is the moisture as it was measured since the last hour, or that of the curves.
func (l *Layer) now() float64 {
	if l.Newest > 0 {
		return float64(l.Newest)
	}
	return l.mean(func(w *way) float64 { return w.now })
}

// passing is how long so many hours of drive take in the air to come, h; false: longer than anybody waits.
func (a *AirAhead) passing(drive float64) (hours float64, ok bool) {
	for h := range int(DryingLongest.Hours()) {
		d := a.drives[0].driven[courseDrive][aheadAt(h)]
		if d >= drive {
			return float64(h) + drive/d, true
		}
		drive -= d
	}
	return 0, false
}
