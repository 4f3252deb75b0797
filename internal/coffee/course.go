package coffee

import "math"

// Course is the way of one washed tank: its pH at even steps of its age at the reference temperature, from loading to the pH of wash. It is plain data, so that it can be kept.
type Course struct {
	PH  [coursePoints]float64
	Age [len(souringQ10)]float64 // h at the reference temperature at the end, by Q10; 0: there is none
}

const (
	coursePoints = 25
	// coursesKept are the newest of an estate: a habit changes within a season.
	coursesKept = 4
	courseDrop  = 0.12 // pH that the drop of another tank of the estate differs by; chosen
	// courseTrust is how likely a tank goes the way of an earlier one, after the first; chosen, on the tanks that may be looked at.
	courseTrust = 0.35
	restTrust   = 0.15 // the same for a way that rests, before any is known
	restDrop    = 0.2
)

// curve is the part of the drop that is done by the part of the age: straight between its points, and on beyond the last.
type curve struct {
	done [coursePoints]float64
	drop float64 // from its start to its end, pH
	wide float64 // deviation of it
}

// rests are curves whose pH rests on its way, as where one population follows another, or under water: the part of the drop before the rest, and the parts of the age at which it begins and
// ends. All chosen: no measured ones were found.
var rests = func() (list [5]curve) {
	for i, r := range [len(list)][3]float64{{0.3, 0.2, 0.5}, {0.3, 0.35, 0.65}, {0.55, 0.25, 0.55}, {0.55, 0.4, 0.75}, {0.75, 0.4, 0.7}} {
		c := &list[i]
		c.drop, c.wide = usualStart-usualEnd, restDrop
		for k := range c.done {
			u := float64(k) / (coursePoints - 1)
			switch {
			case u < r[1]:
				c.done[k] = r[0] * u / r[1]
			case u < r[2]:
				c.done[k] = r[0] + 0.02*(u-r[1])/(r[2]-r[1])
			default:
				c.done[k] = r[0] + 0.02 + (0.98-r[0])*(u-r[2])/(1-r[2])
			}
		}
	}
	return list
}()

// curve makes a way a curve; false: it does not fall.
func (c *Course) curve() (k curve, ok bool) {
	last := c.PH[coursePoints-1]
	k.drop, k.wide = c.PH[0]-last, courseDrop
	if c.Age[1] <= 0 || !(k.drop > 0.3) {
		return k, false
	}
	most := 0.0
	for i := range k.done {
		most = max(most, (c.PH[0]-c.PH[i])/k.drop) // an electrode that turns for a while
		k.done[i] = most
	}
	return k, true
}

// at is the part of the drop by a part of the age.
func (k *curve) at(u float64) float64 {
	x := max(0, u) * (coursePoints - 1)
	i := min(int(x), coursePoints-2)
	if i == coursePoints-2 && x > float64(coursePoints-1) {
		return k.done[coursePoints-1] + (x-(coursePoints-1))*k.late()
	}
	return k.done[i] + (x-float64(i))*(k.done[i+1]-k.done[i])
}

// late is the fall of a point at the end, over its last six.
func (k *curve) late() float64 {
	const over = 6
	return max(0.01, (k.done[coursePoints-1]-k.done[coursePoints-1-over])/over)
}

// when is the part of the age by which a part of the drop is done.
func (k *curve) when(part float64) float64 {
	if part >= k.done[coursePoints-1] {
		return 1 + (part-k.done[coursePoints-1])/k.late()/(coursePoints-1)
	}
	for i := range coursePoints - 1 {
		if next := k.done[i+1]; next > part {
			return (float64(i) + max(0, part-k.done[i])/(next-k.done[i])) / (coursePoints - 1)
		}
	}
	return 1
}

// trail is what was seen of a tank, thinned so that it always fits.
type trail struct {
	age [trailMost][len(souringQ10)]float64
	ph  [trailMost]float64
	n   int
	// every so many values one is kept.
	every, skip int
}

const trailMost = 128

func (t *trail) add(age [len(souringQ10)]float64, ph float64) {
	if t.skip++; t.skip < t.every {
		return
	}
	t.skip = 0
	if t.n == trailMost {
		for i := range trailMost / 2 {
			t.age[i], t.ph[i] = t.age[2*i], t.ph[2*i]
		}
		t.n, t.every = trailMost/2, 2*max(1, t.every)
	}
	t.age[t.n], t.ph[t.n] = age, ph
	t.n++
}

// course is the way up to ages; false: too little was seen of it.
func (t *trail) course(end [len(souringQ10)]float64) (c Course, ok bool) {
	const least = 12
	if t.n < least || end[1] <= 0 {
		return c, false
	}
	c.Age = end
	i := 0
	for k := range c.PH {
		at := end[1] * float64(k) / (coursePoints - 1)
		for i < t.n-2 && t.age[i+1][1] < at {
			i++
		}
		a, b := t.age[i][1], t.age[i+1][1]
		part := 0.0
		if b > a {
			part = math.Max(0, math.Min(1, (at-a)/(b-a)))
		}
		c.PH[k] = t.ph[i] + part*(t.ph[i+1]-t.ph[i])
	}
	return c, true
}
