package record

import (
	"cmp"
	"regexp"
	"strings"

	"millwarden/rules/check"
)

// names are stations and points by their names in the rules file, with the titles that people use.
type names struct{ stations, points map[string]string }

func namesOf(plan *check.Plan) names {
	n := names{map[string]string{}, map[string]string{}}
	for i := range plan.Stations {
		n.stations[plan.Stations[i].Name] = plan.Stations[i].Title
	}
	for i := range plan.Points {
		n.points[plan.Points[i].Name] = plan.Points[i].Title
	}
	return n
}

// named finds what may be a name of the rules file: tank-1, tank-1/ph, tank-1-electrode.
var named = regexp.MustCompile(`[a-z][a-z0-9]*(?:[-/][a-z0-9]+)+`)

// ageOf finds how long a point has not been read, as the engine writes it and as it is turned into Spanish.
var ageOf = regexp.MustCompile(`value is bad; age\(value\) is|value: mala; age\(value\):`)

// called gives a text of the program with the titles of stations, points and probes in the place of their names.
func (r *Record) called(text string) string {
	text = ageOf.ReplaceAllString(text, map[bool]string{false: "not read for", true: "sin lectura hace"}[r.Language == "es"])
	return named.ReplaceAllStringFunc(text, func(name string) string {
		if title, is := r.names.stations[name]; is {
			return title
		}
		station, point, found := strings.Cut(name, "/")
		own, known := r.names.points[name]
		if title := r.placed(station); found && (known || r.names.stations[station] != "") {
			return title + " " + worded(r.say(strings.ReplaceAll(cmp.Or(own, point), "-", " ")))
		}
		for station, title := range r.names.stations {
			if rest, is := strings.CutPrefix(name, station+"-"); is {
				return title + " " + strings.ReplaceAll(rest, "-", " ")
			}
		}
		return name
	})
}

// placed is what a point belongs to, as people call it: a station by its title, the board by what it is, else its name in words.
func (r *Record) placed(name string) string {
	if name == r.Site.Board {
		return r.say("board")
	}
	return cmp.Or(r.names.stations[name], strings.ReplaceAll(name, "-", " "))
}
