package coffee

import "slices"

// mostSloped bounds the points of a robust slope; chosen: two hours of ten-minute medians are 12, a roaster's half minute at a reading a second is 30.
const mostSloped = 48

// Slope is the median of the slopes of all pairs of points, per unit of x (Theil 1950, Sen 1968): up to 29 % of the points may be wild without moving it far.
// False with fewer than three different x, or more than 48 points.
func Slope(x, y []float64) (float64, bool) {
	if len(x) != len(y) || len(x) > mostSloped {
		return 0, false
	}
	var slopes [mostSloped * (mostSloped - 1) / 2]float64
	n, different := 0, 0
	for i := range x {
		if i == 0 || x[i] != x[i-1] {
			different++
		}
		for j := range i {
			if x[i] != x[j] {
				slopes[n] = (y[i] - y[j]) / (x[i] - x[j])
				n++
			}
		}
	}
	if different < 3 {
		return 0, false
	}
	return Median(slopes[:n]), true
}

// Median sorts the values and gives the middle one, the mean of the two middle ones where they are even in number; 0 without values.
func Median(values []float64) float64 {
	if len(values) == 0 {
		return 0
	}
	slices.Sort(values)
	middle := len(values) / 2
	if len(values)%2 == 1 {
		return values[middle]
	}
	return (values[middle-1] + values[middle]) / 2
}
