package web

import "slices"

// kept is what the plan was made of. The plan is the large part of a frame and changes only with the rules: while what it was made of is the
// same, the same plan is used, and neither printed nor encoded again.
type kept struct {
	plan   *wirePlan
	site   Site
	demo   string
	speed  float64
	areas  []Place
	people []Person
	said   []Translation
	points []Point // without their readings
}

// planOf is the plan of the snapshot: the very same pointer as long as nothing in it changed.
func (k *kept) planOf(s *Snapshot, version string) *wirePlan {
	if k.plan != nil && k.holds(s) {
		return k.plan
	}
	*k = kept{site: s.Site, demo: s.Demo, speed: s.Speed, areas: slices.Clone(s.Areas), people: slices.Clone(s.People), said: slices.Clone(s.Said), points: slices.Clone(s.Points)}
	for i := range k.points {
		k.points[i].Limits = slices.Clone(k.points[i].Limits) // the Model may reuse its own
	}
	k.plan = s.plan(printer{now: s.Now, choice: s.Site.Show}, version)
	return k.plan
}

func (k *kept) holds(s *Snapshot) bool {
	return k.site == s.Site && k.demo == s.Demo && k.speed == s.Speed && slices.Equal(k.areas, s.Areas) && slices.Equal(k.people, s.People) && slices.Equal(k.said, s.Said) &&
		slices.EqualFunc(k.points, s.Points, samePoint)
}

// samePoint compares all but the readings. A NaN in a band never equals itself: such a band is not drawn, and costs only time.
func samePoint(a, b Point) bool {
	return a.Name == b.Name && a.Station == b.Station && a.Title == b.Title && a.Quantity == b.Quantity && a.Computed == b.Computed &&
		a.Leading == b.Leading && a.Corrected == b.Corrected && a.Range == b.Range && a.Normal == b.Normal && slices.Equal(a.Limits, b.Limits)
}

func (s *Snapshot) plan(p printer, version string) *wirePlan {
	speed := s.Speed
	if speed == 0 {
		speed = 1
	}
	w := &wirePlan{Site: wireSite{s.Site.Name, s.Site.Title, s.Site.Zone, s.Site.Board, s.Site.Language, s.Site.RulesHash, offsetsOf(s.Site.Zone, s.Now.Wall)},
		Areas: make([]wirePlace, 0, len(s.Areas)), Points: make([]wirePoint, 0, len(s.Points)), People: make([]wirePerson, 0, len(s.People)),
		Language: english, Demo: s.Demo, Speed: speed, Version: version, Warnings: s.Site.Warnings}
	for _, a := range s.Areas {
		w.Areas = append(w.Areas, wirePlace(a))
	}
	for i := range s.Points {
		w.Points = append(w.Points, p.point(&s.Points[i]))
	}
	for _, person := range s.People {
		w.People = append(w.People, wirePerson(person))
	}
	return w
}
