package floor

import (
	"slices"

	"millwarden/gateway/web"
	"millwarden/rules/check"
	"millwarden/rules/models"
)

// Worked tells how a point is worked out that no probe gives: by a formula of the rules file, or by a model of its kind of station.
func (b books) Worked(name string) (web.Worked, bool) {
	plan := b.f.plan()
	i := slices.IndexFunc(plan.Points, func(p check.Point) bool { return p.Name == name && p.How != check.Measured })
	if i < 0 {
		return web.Worked{}, false
	}
	p := &plan.Points[i]
	w := web.Worked{From: p.From}
	for i := range plan.Engine.Points {
		if d := &plan.Engine.Points[i]; d.Name == name && d.Formula != nil {
			w.From, w.Formula = d.Formula.Points(), d.Formula.Text
		}
	}
	if f, known := models.Explain(plan.kinds[p.Station], p.Short); known && p.How == check.Computed {
		w.Formula, w.Source, w.When = f.Text, f.Source, f.When
	}
	return w, w.Formula != "" || len(w.From) > 0
}
