package floor

import (
	"millwarden/gateway/web"
	"millwarden/rules/check"
)

// scale is how a point's bar is drawn: its ends and the stretch in which it usually lies. They are a picture, not limits: nothing is decided on
// them. All chosen, around the figures of the trade that the built-in limits cite.
type scale struct{ ends, normal web.Band }

var scales = map[string]scale{
	"tank/ph":                     {web.Band{Low: 3.5, High: 6.5}, web.Band{Low: 4.5, High: 5.8}},
	"tank/temperature":            {web.Band{Low: 10, High: 45}, web.Band{Low: 18, High: 28}},
	"deck/air-temperature":        {web.Band{Low: 5, High: 50}, web.Band{Low: 15, High: 35}},
	"deck/air-humidity":           {web.Band{Low: 20, High: 100}, web.Band{Low: 35, High: 75}},
	"deck/bean-temperature":       {web.Band{Low: 5, High: 50}, web.Band{Low: 15, High: 35}},
	"deck/moisture":               {web.Band{Low: 8, High: 56}, web.Band{Low: 10, High: 12}},
	"dryer/air-temperature":       {web.Band{Low: 15, High: 70}, web.Band{Low: 35, High: 45}},
	"dryer/exhaust-temperature":   {web.Band{Low: 15, High: 70}, web.Band{Low: 20, High: 38}},
	"bin/moisture":                {web.Band{Low: 8, High: 16}, web.Band{Low: 10, High: 12}},
	"bin/temperature":             {web.Band{Low: 5, High: 40}, web.Band{Low: 15, High: 25}},
	"bin/humidity":                {web.Band{Low: 30, High: 100}, web.Band{Low: 50, High: 65}},
	"store/temperature":           {web.Band{Low: 5, High: 40}, web.Band{Low: 15, High: 25}},
	"store/humidity":              {web.Band{Low: 20, High: 100}, web.Band{Low: 50, High: 65}},
	"roaster/bean-temperature":    {web.Band{Low: 0, High: 260}, web.Band{}},
	"roaster/exhaust-temperature": {web.Band{Low: 0, High: 320}, web.Band{}},
	"room/co":                     {web.Band{Low: 0, High: 100}, web.Band{Low: 0, High: 25}},
	"room/co2":                    {web.Band{Low: 0, High: 10000}, web.Band{Low: 0, High: 5000}},
}

// leading is the point that stands for a station on the overview, the first that it has.
var leading = map[string][]string{
	"tank":    {"ph", "temperature"},
	"deck":    {"moisture", "air-humidity", "air-temperature"},
	"dryer":   {"air-temperature", "moisture"},
	"bin":     {"moisture", "humidity", "temperature"},
	"huller":  {"motor", "power"},
	"roaster": {"bean-temperature", "exhaust-temperature"},
	"store":   {"humidity", "temperature"},
	"room":    {"co", "co2", "temperature"},
	"yard":    {"temperature", "rain"},
}

// scaleOf gives a point's bar: as drawn for its kind, else from what its probe can read.
func scaleOf(kind string, p check.Point) scale {
	if s, ok := scales[kind+"/"+p.Short]; ok {
		return s
	}
	if p.Range != nil {
		return scale{ends: web.Band(*p.Range)}
	}
	return scale{}
}
