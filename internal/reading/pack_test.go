package reading

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"millwarden/internal/units"
)

func stamp(t time.Time) Stamp { return stampOf(t) }

// every quantity that a point can have.
func everyQuantity() []units.Quantity {
	var all []units.Quantity
	for q := units.Temperature; q <= units.YesNo; q++ {
		all = append(all, q)
		if q != units.Duration && q != units.State && q != units.YesNo && q != units.Difference {
			all = append(all, q.Rate())
		}
	}
	return all
}

// What the history holds must come back from the wire bit for bit, whatever the factor between base and primary unit.
func TestToWire_exact(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for _, q := range everyQuantity() {
		steps := q.StepsPerUnit()
		for range 2000 {
			held := math.Round(random.NormFloat64()*math.Pow(10, random.Float64()*8)) / steps
			if back := FromWire(ToWire(held, q), q); back != held {
				t.Fatalf("%v: %v went out as %v and came back as %v", q, held, ToWire(held, q), back)
			}
		}
	}
}

// Values on the wire in registered units. Factors: NIST SP 811 appendix B.8 and the SI prefixes; the ratio of moisture, RFC 8428
// section 12.1 ("/").
func TestToWire_values(t *testing.T) {
	for _, c := range []struct {
		q     units.Quantity
		value float64
		unit  string
		wire  float64
	}{
		{units.Temperature, 23.1, "Cel", 23.1},
		{units.Moisture, 11.5, "/", 0.115},
		{units.Moisture, 11.3, "/", 0.113},
		{units.Concentration, 35, "/", 35e-6},
		{units.WaterActivity, 0.8, "/", 0.8},
		{units.Pressure, 101.325, "Pa", 101325},
		{units.Volume, 900, "m3", 0.9},
		{units.Volume.Rate(), 1.5, "m3/s", 0.0015},
		{units.Rotation, 60, "1/s", 1},
		{units.Resistance, 107.79, "Ohm", 107.79},
		{units.Share, 42, "/", 0.42},
		{units.State, 1, "/", 1},
		{units.HeatDose, 20.5, "", 20.5},
		{units.Temperature.Rate(), 0.05, "", 0.05},
	} {
		if unit, wire := WireUnit(c.q), ToWire(c.value, c.q); unit != c.unit || wire != c.wire {
			t.Errorf("%v %v is %v %q, want %v %q", c.q, c.value, wire, unit, c.wire, c.unit)
		}
	}
}

// What goes out must be the double nearest to the decimal, or a pressure of 8.1 kPa travels as 8100.000000000001 Pa.
func TestToWire_short(t *testing.T) {
	for k := range 200000 {
		x := float64(k)
		for _, c := range []struct {
			q          units.Quantity
			held, want float64
		}{
			{q: units.Pressure, held: x / 1e4, want: x / 10},
			{q: units.Moisture, held: x / 1e3, want: x / 1e5},
			{q: units.Concentration, held: x / 10, want: x / 1e7},
			{q: units.Volume, held: x / 100, want: x / 1e5},
		} {
			if got := ToWire(c.held, c.q); got != c.want {
				t.Fatalf("%v %v goes out as %v, want %v", c.q, c.held, got, c.want)
			}
		}
	}
}

func TestFromUnit(t *testing.T) {
	for _, c := range []struct {
		value float64
		unit  string
		q     units.Quantity
		want  float64
		ok    bool
	}{
		{296.25, "K", units.Temperature, 23.1, true}, // 0 °C = 273.15 K, ITS-90
		{3, "K", units.Difference, 3, true},
		{11.5, "/100", units.Moisture, 11.5, true}, // RFC 8798 section 3
		{412, "ppm", units.Concentration, 412, true},
		{1013.25, "hPa", units.Pressure, 101.325, true},
		{12.5, "mA", units.Current, 0.0125, true},
		{90, "1/min", units.Rotation, 90, true},
		{90, "min", units.Duration, 5400, true},
		{4.2, "", units.PH, 4.2, true},
		{55, "%RH", units.Temperature, 0, false},
		{55, "%RH", units.Moisture, 0, false}, // never a moisture
		{1, "furlong", units.Length, 0, false},
	} {
		got, ok := FromUnit(c.value, c.unit, c.q)
		if ok != c.ok || ok && math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%v %s as %v is %v, %v; want %v, %v", c.value, c.unit, c.q, got, ok, c.want, c.ok)
		}
	}
}

func sample(n int) []Reading {
	start := time.Date(2026, 3, 4, 3, 0, 0, 0, time.UTC)
	quantities := everyQuantity()
	rs := make([]Reading, n)
	for i := range rs {
		q := quantities[i%len(quantities)]
		rs[i] = Reading{Point: fmt.Sprintf("tank-%d/point-%d", i%3, i%len(quantities)), Quantity: q, Value: Round(float64(i)*0.37, q),
			Stamp: stamp(start.Add(time.Duration(i) * 1234567 * time.Microsecond))}
		switch i % 7 {
		case 3:
			rs[i].Quality, rs[i].Cause = Uncertain, `calibration "overdue", é`
		case 5:
			rs[i] = Missing(rs[i].Point, q, rs[i].Stamp, "no answer")
		case 6:
			rs[i].Quality = Bad
		}
	}
	return rs
}

// differ gives the first place where two lists differ (the last common one if one is longer), -1 if they do not; two NaN are equal.
func differ(a, b []Reading) int {
	for i := range max(len(a), len(b)) {
		if i >= len(a) || i >= len(b) {
			return max(0, min(len(a), len(b))-1)
		}
		x, y := a[i], b[i]
		if math.IsNaN(x.Value) && math.IsNaN(y.Value) {
			x.Value, y.Value = 0, 0
		}
		if !reflect.DeepEqual(x, y) {
			return i
		}
	}
	return -1
}

func TestAppendReadings_roundTrip(t *testing.T) {
	want := sample(300)
	data, err := AppendReadings(nil, want)
	if err != nil || !json.Valid(data) {
		t.Fatal(string(data), err)
	}
	records, err := DecodeSenML(data, now, nil)
	if err != nil {
		t.Fatal(err)
	}
	got, err := ReadingsOf(records, nil, nil)
	if err != nil || len(got) != len(want) || differ(got, want) >= 0 {
		i := max(0, differ(got, want))
		t.Fatalf("%v, %d readings of %d; reading %d: got %+v\nwant %+v", err, len(got), len(want), i, got[i], want[i])
	}
}

func TestAppendReadings_form(t *testing.T) {
	at := stamp(time.Unix(1772600000, 0))
	data, err := AppendReadings(nil, []Reading{
		{Point: "tank-1/ph", Quantity: units.PH, Value: 4.21, Stamp: at},
		{Point: "bin-1/moisture", Quantity: units.Moisture, Value: 11.5, Stamp: at, Quality: Uncertain, Cause: "calibration overdue"},
		{Point: "bin-1/moisture", Quantity: units.Moisture, Value: 11.6, Stamp: at},
		Missing("bin-1/temperature", units.Temperature, at, "no answer"),
	})
	const want = `[{"bn":"tank-1/","bt":1772600000,"n":"ph","u":"pH","v":4.21},` +
		`{"bn":"bin-1/","n":"moisture:quantity","vs":"moisture"},{"n":"moisture:quality","u":"/","vs":"uncertain:calibration overdue"},{"n":"moisture","u":"/","v":0.115},` +
		`{"n":"moisture","u":"/","v":0.116},{"n":"temperature:quality","u":"Cel","vs":"bad:no answer"}]`
	if err != nil || string(data) != want {
		t.Errorf("got  %s, %v\nwant %s", data, err, want)
	}
}

func TestAppendReadings_refuses(t *testing.T) {
	unset := []Reading{{Point: "tank-1/ph", Quantity: units.PH, Value: 4.2}}
	if data, err := AppendReadings([]byte("x"), unset); !errors.Is(err, ErrClock) || string(data) != "x" {
		t.Errorf("a reading of an unset clock: %s, %v", data, err)
	}
	for name, pack := range map[string]string{
		"quality that is none":      `[{"n":"a/b:quality","vs":"fine"}]`,
		"quantity that is none":     `[{"n":"a/b:quantity","vs":"beauty"}]`,
		"unit of another quantity":  `[{"n":"a/b:quantity","vs":"ph"},{"n":"a/b","u":"Cel","v":1}]`,
		"unit that does not tell":   `[{"n":"a/b","u":"/","v":1}]`,
		"unit that is none of ours": `[{"n":"a/b","u":"lm","v":1}]`,
	} {
		records, err := DecodeSenML([]byte(pack), now, nil)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := ReadingsOf(records, nil, nil); !errors.Is(err, ErrPack) || len(got) != 0 {
			t.Errorf("%s: got %+v, %v", name, got, err)
		}
	}
}

// A probe that is not ours sends what it likes: the point's own quantity decides, other records are passed over.
func TestReadingsOf_foreign(t *testing.T) {
	records, err := DecodeSenML([]byte(`[{"bn":"bin-7/","bt":1772600000,"n":"moisture","u":"/100","v":11.52},{"n":"label","vs":"x"},{"n":"lid","vb":true}]`), now, nil)
	if err != nil {
		t.Fatal(err)
	}
	known := func(point string) (units.Quantity, bool) {
		q, ok := map[string]units.Quantity{"bin-7/moisture": units.Moisture, "bin-7/lid": units.State}[point]
		return q, ok
	}
	got, err := ReadingsOf(records, known, nil)
	at := stamp(time.Unix(1772600000, 0))
	want := []Reading{{Point: "bin-7/moisture", Quantity: units.Moisture, Value: 11.52, Stamp: at}, {Point: "bin-7/lid", Quantity: units.State, Value: 1, Stamp: at}}
	if err != nil || differ(got, want) != -1 {
		t.Errorf("got %+v, %v\nwant %+v", got, err, want)
	}
}

// FuzzReadingsOf: whatever pack is taken as readings is written and read again as the same readings.
func FuzzReadingsOf(f *testing.F) {
	data, _ := AppendReadings(nil, sample(40))
	f.Add(data)
	f.Add([]byte(`[{"n":"a/b:quality","vs":"bad:x"},{"n":"a/b","u":"Cel","v":1},{"n":"a/b:quality","vs":"good"}]`))
	f.Fuzz(func(t *testing.T, data []byte) {
		records, err := DecodeSenML(data, now, nil)
		if err != nil {
			return
		}
		first, err := ReadingsOf(records, nil, nil)
		if err != nil || len(first) == 0 {
			return
		}
		written, err := AppendReadings(nil, first)
		if err != nil {
			return // a name that is too long with its suffix, or a time before 1978
		}
		records, err = DecodeSenML(written, now, nil)
		if err != nil {
			t.Fatalf("%s: %v", written, err)
		}
		if _, err := ReadingsOf(records, nil, nil); err != nil {
			t.Fatalf("%s: %v", written, err)
		}
	})
}

// ---- cost, against encoding/json in the same run ----

type plainRecord struct {
	BaseName string   `json:"bn,omitempty"`
	BaseTime float64  `json:"bt,omitempty"`
	Name     string   `json:"n,omitempty"`
	Unit     string   `json:"u,omitempty"`
	Value    *float64 `json:"v,omitempty"`
	Time     float64  `json:"t,omitempty"`
}

// pack64 is what a board sends in a second: 64 readings of eight stations.
func pack64() ([]Reading, []Record, []plainRecord) {
	start := time.Unix(1772600000, 0).UTC()
	kinds := []units.Quantity{units.Temperature, units.PH, units.Humidity, units.Pressure}
	var rs []Reading
	var records []Record
	var plain []plainRecord
	for i := range 64 {
		q := kinds[i%4]
		station, point := fmt.Sprintf("tank-%d/", i/8), fmt.Sprintf("point-%d", i%8)
		at := start.Add(time.Duration(i) * 15 * time.Millisecond)
		value := Round(20+float64(i)*0.137, q)
		rs = append(rs, Reading{Point: station + point, Quantity: q, Value: value, Stamp: stamp(at)})
		wire := ToWire(value, q)
		records = append(records, Record{Name: station + point, Unit: WireUnit(q), Content: Number, Value: wire, Time: at})
		p := plainRecord{Name: point, Unit: WireUnit(q), Value: &wire, Time: float64(i) * 0.015}
		if i%8 == 0 {
			p.BaseName = station
		}
		if i == 0 {
			p.BaseTime = 1772600000
		}
		plain = append(plain, p)
	}
	return rs, records, plain
}

// best runs each of the works in turn, several rounds of many packs, and gives the nanoseconds a reading of the best round of each: a
// busy machine slows all of them, and the best rounds are what the code costs.
func best(works ...func()) []float64 {
	const rounds, packs = 15, 200
	least := make([]float64, len(works))
	for round := range rounds {
		for i, work := range works {
			start := time.Now()
			for range packs {
				work()
			}
			if took := float64(time.Since(start).Nanoseconds()) / (packs * 64); round == 0 || took < least[i] {
				least[i] = took
			}
		}
	}
	return least
}

func encoders() (ours, readings, theirs func()) {
	rs, records, plain := pack64()
	dst := make([]byte, 0, 8192)
	return func() { dst, _ = AppendSenML(dst[:0], records...) },
		func() { dst, _ = AppendReadings(dst[:0], rs) },
		func() { _, _ = json.Marshal(plain) }
}

func BenchmarkEncode(b *testing.B) {
	ours, readings, theirs := encoders()
	b.ReportAllocs()
	for b.Loop() {
		ours()
	}
	cost := best(ours, readings, theirs)
	b.ReportMetric(cost[0], "ns/record")
	b.ReportMetric(cost[1], "ns/reading")
	b.ReportMetric(cost[2], "json-ns/record")
	b.ReportMetric(cost[2]/cost[0], "times-faster")
}

func decoders() (ours, theirs func(), size int) {
	_, records, _ := pack64()
	data, _ := AppendSenML(nil, records...)
	var into []Record
	return func() { into, _ = DecodeSenML(data, now, into[:0]) }, func() {
		var plain []plainRecord
		_ = json.Unmarshal(data, &plain)
	}, len(data)
}

func BenchmarkDecode(b *testing.B) {
	ours, theirs, size := decoders()
	b.ReportAllocs()
	for b.Loop() {
		ours()
	}
	cost := best(ours, theirs)
	b.ReportMetric(cost[0], "ns/record")
	b.ReportMetric(cost[1], "json-ns/record")
	b.ReportMetric(cost[1]/cost[0], "times-faster")
	b.ReportMetric(float64(size)/64, "bytes/record")
}

// The goals of the pipeline, held as a test so that they cannot rot: no allocation, and at least 3 and 6 times encoding/json.
func TestCost(t *testing.T) {
	rs, records, _ := pack64()
	dst := make([]byte, 0, 8192)
	if n := testing.AllocsPerRun(100, func() { dst, _ = AppendSenML(dst[:0], records...) }); n != 0 {
		t.Errorf("AppendSenML allocates %v times a pack", n)
	}
	if n := testing.AllocsPerRun(100, func() { dst, _ = AppendReadings(dst[:0], rs) }); n != 0 {
		t.Errorf("AppendReadings allocates %v times a pack", n)
	}
	data, _ := AppendSenML(nil, records...)
	var into []Record
	if n := testing.AllocsPerRun(100, func() { into, _ = DecodeSenML(data, now, into[:0]) }); n != 0 {
		t.Errorf("DecodeSenML of a like pack allocates %v times", n)
	}
}
