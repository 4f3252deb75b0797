package models

import (
	"slices"
	"strconv"
	"time"

	"millwarden/internal/coffee"
	"millwarden/internal/units"
	"millwarden/rules/check"
)

// Config is what models need of a plan.
type Config struct {
	Altitude float64 // m
	Stations []Station
}

// Station is one station: what is measured there, what is to be worked out, and its settings in base units.
type Station struct {
	Name, Kind string
	Measured   map[string]time.Duration // short names, with the time after which each is overdue; 0: never
	ByHand     map[string]bool          // of them, those that people read and enter
	Computed   map[string]units.Quantity
	Settings   map[string]float64 // of the rules file: ready-after in s, reference in °C, q10, target-moisture in %wb, drop-temperature, first-crack-at
	Limits     map[string]float64 // ready-ph, over-fermented-ph, mould-bin-air, as in force at this station
}

// settings that models look at, with their value where the declaration has no default.
var settings = map[string]float64{"ready-after": 15 * 3600, "reference": 23, "q10": 2, "target-moisture": 11, "drop-temperature": 220, "first-crack-at": 200}

// limits that models look at, with their built-in value where the subject is not in use.
var limits = map[string]float64{"ready-ph": 4.6, "over-fermented-ph": 4.2, "mould-bin-air": 70}

// Of takes from a plan what models need.
func Of(plan *check.Plan) Config {
	c := Config{Altitude: plan.Site.Altitude}
	at := map[string]int{}
	for i := range plan.Stations {
		st := &plan.Stations[i]
		if st.Remote {
			continue // the other board works them out
		}
		at[st.Name] = len(c.Stations)
		s := Station{Name: st.Name, Kind: st.Kind, Measured: map[string]time.Duration{}, ByHand: map[string]bool{}, Computed: map[string]units.Quantity{}, Settings: map[string]float64{}, Limits: map[string]float64{}}
		for key, usual := range settings {
			s.Settings[key] = usual
			if line, ok := st.Settings.Find(key); ok && len(line.Slots) > 0 {
				s.Settings[key] = line.Slots[0].Amount.Value
			}
		}
		for name, usual := range limits {
			s.Limits[name] = limitAt(plan, name, st.Name, usual)
		}
		c.Stations = append(c.Stations, s)
	}
	overdue, byHand := map[string]time.Duration{}, map[string]bool{}
	for i := range plan.Probes {
		for _, g := range plan.Probes[i].Gives {
			byHand[g.Point] = plan.Probes[i].Bus == check.ByHand
		}
	}
	for i := range plan.Engine.Points {
		overdue[plan.Engine.Points[i].Name] = plan.Engine.Points[i].OverdueAfter
	}
	for i := range plan.Points {
		p := &plan.Points[i]
		n, ours := at[p.Station]
		switch {
		case !ours:
		case p.How == check.Computed:
			c.Stations[n].Computed[p.Short] = p.Quantity
		default:
			c.Stations[n].Measured[p.Short] = overdue[p.Name]
			c.Stations[n].ByHand[p.Short] = byHand[p.Name]
		}
	}
	return c
}

// quantities of the settings and limits.
var quantities = map[string]units.Quantity{"ready-after": units.Duration, "reference": units.Temperature, "target-moisture": units.Moisture, "drop-temperature": units.Temperature,
	"first-crack-at": units.Temperature, "ready-ph": units.PH, "over-fermented-ph": units.PH, "mould-bin-air": units.Humidity}

// Setting is a setting or limit that models look at, as it holds at a station, in words.
func Setting(plan *check.Plan, station, name string) string {
	number := limitAt(plan, name, station, limits[name])
	if usual, is := settings[name]; is {
		number = usual
	}
	for i := range plan.Stations {
		if st := &plan.Stations[i]; st.Name == station {
			if line, ok := st.Settings.Find(name); ok && len(line.Slots) > 0 {
				number = line.Slots[0].Amount.Value
			}
		}
	}
	if q, ok := quantities[name]; ok {
		return units.Choice{}.Print(number, q)
	}
	return strconv.FormatFloat(number, 'g', 4, 64)
}

// limitAt is a named limit as in force at a station: its own, or the general one.
func limitAt(plan *check.Plan, name, station string, usual float64) float64 {
	value := usual
	for i := range plan.Limits {
		l := &plan.Limits[i]
		switch {
		case l.Name != name:
		case slices.Contains(l.At, station):
			return l.Value.Value
		case len(l.At) == 0:
			value = l.Value.Value
		}
	}
	return value
}

// builder makes the model of one station.
type builder struct {
	m        *Models
	spec     *Station
	station  *station
	pressure coffee.KiloPascal
	inputs   []*input
	outputs  points
}

// in is a measured point; nil where no probe gives it.
func (b *builder) in(short string) *input {
	overdue, measured := b.spec.Measured[short]
	if !measured {
		return nil
	}
	for _, in := range b.inputs {
		if in.short == short {
			return in
		}
	}
	in := &input{short: short, overdue: overdue, byHand: b.spec.ByHand[short], moves: movesWarmth}
	if short == "humidity" || short == "air-humidity" {
		in.moves = movesHumidity
	}
	b.inputs = append(b.inputs, in)
	return in
}

// out fills a computed point.
func (b *builder) out(p *output, short string) {
	quantity, stands := b.spec.Computed[short]
	*p = output{name: b.spec.Name + "/" + short, quantity: quantity, stands: stands}
	b.outputs.all = append(b.outputs.all, p)
}

func (b *builder) presence(p *presence, time string) {
	quantity, stands := b.spec.Computed["loaded"]
	p.loaded = output{name: b.spec.Name + "/loaded", quantity: quantity, stands: stands}
	quantity, stands = b.spec.Computed["empty"]
	p.empty = output{name: b.spec.Name + "/empty", quantity: quantity, stands: stands}
	b.out(&p.time, time)
}

// build makes the model of the station's kind; nil where nothing is computed.
func (b *builder) build() model {
	switch b.spec.Kind {
	case "tank":
		return newTank(b)
	case "deck", "dryer":
		return newBed(b)
	case "bin":
		return newBin(b)
	case "store", "room", "yard":
		return newRoom(b)
	case "huller":
		return newHuller(b)
	case "roaster":
		return newRoaster(b)
	}
	return nil
}
