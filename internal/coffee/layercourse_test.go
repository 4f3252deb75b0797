package coffee

import (
	"math"
	"testing"
)

// stalling dries by a law that no way has: steadily to 32 % of the dry weight, then ever slower towards 9. Invented; so many hours of it.
func stalling(hours, pace float64) DryBasis {
	const fresh, turns, end, steady, slow = 115, 32, 9, 8.3, 6.5
	if m := fresh - steady*pace*hours; m > turns {
		return DryBasis(m)
	}
	return DryBasis(end + (turns-end)*math.Exp(-(hours*pace-(fresh-turns)/steady)/slow))
}

// stalls is when that law comes to a moisture.
func stalls(to DryBasis, pace float64) (hours float64) {
	for stalling(hours, pace) > to {
		hours += 0.01
	}
	return hours
}

var dryerAir = Air{T: 42, RH: 22}

func stallingLayer(h *LayerHabit, hours int, pace float64) *Layer {
	l := &Layer{}
	l.Habit(h)
	l.Begin(115, 2)
	for i := range hours {
		if m := stalling(float64(i)+0.5, pace); m < 75 { // above that no meter tells
			l.Measure(m)
		}
		l.Add(dryerAir)
	}
	l.settle()
	return l
}

// Aim: a house's own layers teach how it dries by a law that no way has: what they took from the present moisture on, a little quicker or slower as this one was so far, makes the forecast better by a fifth and more. A first layer goes as no other.
func TestLayer_asOthers(t *testing.T) {
	target := WetBasis(11).Dry()
	var airs Airs
	for range 24 {
		airs.Add(dryerAir)
	}
	var ahead AirAhead
	ahead.Like(&airs, dryerAir)
	habit := UsualLayers(false)
	if _, ok := stallingLayer(&habit, 12, 1).asOthers(target, &ahead); ok {
		t.Error("the first layer goes as others did")
	}
	for _, pace := range []float64{1, 1.1} {
		habit = habit.With(stallingLayer(&habit, int(stalls(target, pace))+1, pace), target)
	}
	alone := habit
	alone.Courses = [layerCourses]LayerCourse{}
	off := func(h *LayerHabit, gone int, pace, left float64) float64 {
		f, _ := stallingLayer(h, gone, pace).Until(target, &ahead)
		return math.Abs(f.Middle.Hours()-left) / left
	}
	with, without := 0.0, 0.0
	for _, pace := range []float64{0.95, 1.05, 1.15} {
		for _, part := range []float64{0.4, 0.6, 0.8} {
			gone := int(part * stalls(target, pace))
			left := stalls(target, pace) - float64(gone)
			with, without = with+off(&habit, gone, pace, left)/9, without+off(&alone, gone, pace, left)/9
		}
	}
	if with > 0.8*without {
		t.Errorf("off by %.2f of the time left with the house's own layers, by %.2f without", with, without)
	}
}

// Between its levels a course is read by the logarithm of what is free; of what it did not pass it says nothing.
func TestLayerCourse_left(t *testing.T) {
	target := WetBasis(11).Dry()
	var c LayerCourse
	for k, level := range layerLevels[:8] {
		c.Left[k] = math.Log((level - 9) / (float64(target) - 9)) // an exponential, 1 an hour of drive
	}
	for _, m := range []float64{12.5, 13.4, 17, 25, 36.9, 37} {
		got, ok := c.left(m, target)
		near(t, "left", got, math.Log((m-9)/(float64(target)-9)), 1e-9)
		if !ok {
			t.Errorf("from %v on nothing is known", m)
		}
	}
	if _, ok := c.left(40, target); ok {
		t.Error("it knows what it did not pass")
	}
}
