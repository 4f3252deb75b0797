package floor

import (
	"millwarden/internal/coffee"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// airPoints are, by kind of station, the measured temperature and humidity from which its air is worked out, and what is worked out.
var airPoints = map[string]struct {
	temperature, humidity string
	compute               []string
}{
	"deck":  {"air-temperature", "air-humidity", []string{"dew-point", "vapour-deficit", "wet-bulb", "equilibrium-moisture"}},
	"dryer": {"air-temperature", "air-humidity", []string{"dew-point", "vapour-deficit", "wet-bulb", "equilibrium-moisture"}},
	"bin":   {"temperature", "humidity", []string{"dew-point", "water-activity", "equilibrium-moisture"}},
	"store": {"temperature", "humidity", []string{"dew-point", "equilibrium-moisture"}},
	"room":  {"temperature", "humidity", []string{"dew-point"}},
	"yard":  {"temperature", "humidity", []string{"dew-point", "vapour-deficit"}},
}

// holdsLots are the kinds whose computed points speak of a lot.
var holdsLots = map[string]bool{"tank": true, "deck": true, "dryer": true, "bin": true}

// air is what a station's air is worked out from.
type air struct {
	t        units.Celsius
	rh       coffee.RelativeHumidity
	pressure coffee.KiloPascal
}

// worked gives one computed value of air, in its base unit.
var worked = map[string]struct {
	quantity units.Quantity
	value    func(air) (float64, error)
}{
	"dew-point": {units.Temperature, func(a air) (float64, error) {
		d, err := coffee.DewPoint(a.t, a.rh)
		return float64(d), err
	}},
	"wet-bulb": {units.Temperature, func(a air) (float64, error) {
		w, err := coffee.WetBulb(a.t, a.rh, a.pressure)
		return float64(w), err
	}},
	"vapour-deficit": {units.Pressure, func(a air) (float64, error) { return float64(coffee.VapourDeficit(a.t, a.rh)), nil }},
	"equilibrium-moisture": {units.Moisture, func(a air) (float64, error) {
		m, err := coffee.EquilibriumMoisture(a.t, a.rh)
		return float64(m.Wet()), err
	}},
	// The air that stands between beans in a bin is in balance with them: its humidity is their water activity.
	"water-activity": {units.WaterActivity, func(a air) (float64, error) { return float64(a.rh) / 100, nil }},
}

// modelReadings works out the computed points of every station's air. A point whose inputs are unknown, or outside the range of its formula, is bad with
// the reason; those of a tank, deck or bin where no lot stands are left out, as far as anybody enters lots.
func (f *Floor) modelReadings(now reading.Stamp) []reading.Reading {
	pressure := coffee.PressureAt(f.plan().Site.Altitude)
	f.deciding.Lock()
	defer f.deciding.Unlock()
	var rs []reading.Reading
	for _, st := range f.plan().Stations {
		model, has := airPoints[st.Kind]
		if !has || !f.plan().measured[st.Name+"/"+model.temperature] || !f.plan().measured[st.Name+"/"+model.humidity] {
			continue
		}
		if _, loaded := f.stays[st.Name]; !loaded && f.entersLots.Load() && holdsLots[st.Kind] {
			continue
		}
		t, _ := f.engine.Look(st.Name + "/" + model.temperature)
		rh, _ := f.engine.Look(st.Name + "/" + model.humidity)
		for _, name := range model.compute {
			if !f.plan().pointKnown[st.Name+"/"+name] {
				continue
			}
			q := worked[name].quantity
			if !t.Known || !rh.Known {
				rs = append(rs, reading.Missing(st.Name+"/"+name, q, now, "its inputs are unknown"))
				continue
			}
			rs = append(rs, workOut(st.Name, name, air{units.Celsius(t.Value), coffee.RelativeHumidity(rh.Value), pressure}, max(t.Quality, rh.Quality), now))
		}
	}
	return rs
}

func workOut(station, name string, a air, quality reading.Quality, now reading.Stamp) reading.Reading {
	w := worked[name]
	value, err := w.value(a)
	if err != nil {
		return reading.Missing(station+"/"+name, w.quantity, now, err.Error())
	}
	r := reading.Reading{Point: station + "/" + name, Quantity: w.quantity, Value: value, Stamp: now, Quality: quality}
	if quality != reading.Good {
		r.Cause = "its inputs are uncertain"
	}
	return r
}
