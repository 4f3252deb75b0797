package wire

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
)

func area(station string) string {
	if station == "tank-1" || station == "bin-1" {
		return "wet-mill"
	}
	return ""
}

// at is the RFC's own example instant [RFC 8428 section 5.1.2], to the millisecond.
var at = time.UnixMilli(1320078429123).UTC()

func sample(point string, q units.Quantity, v float64, quality reading.Quality, cause string) reading.Reading {
	return reading.Reading{Point: point, Quantity: q, Value: v, Quality: quality, Cause: cause, Stamp: reading.Stamp{Wall: at, Set: true}}
}

// Aim: the form does not change. The text is what doc.go says; a change of it breaks every board and store already out there.
func TestPack_staysAsItIs(t *testing.T) {
	e := NewEncoder("fern-hollow", "hub", area)
	pack, left, err := e.Append(nil, Header{Stream: "c0ffee", From: 7, To: 12, Watermark: 3, Stored: 6, Boot: "1700000000"}, []reading.Reading{
		sample("tank-1/ph", units.PH, 4.312, reading.Good, ""),
		sample("bin-1/moisture", units.Moisture, 11.3, reading.Uncertain, "calibration overdue"),
		reading.Missing("tank-1/temperature", units.Temperature, reading.Stamp{Wall: at, Set: true}, "no answer"),
		sample("board/disk-free", units.Share, 71, reading.Good, ""),
	})
	want := `[{"bn":"fern-hollow/hub:pack/","n":"stream","vs":"c0ffee"},{"n":"from","v":7},{"n":"to","v":12},{"n":"watermark","v":3},{"n":"stored","v":6},` +
		`{"n":"boot","vs":"1700000000"},{"bn":"fern-hollow/wet-mill/tank-1/","bt":1320078429.123,"n":"ph","u":"pH","v":4.312},` +
		`{"bn":"fern-hollow/wet-mill/bin-1/","n":"moisture:quantity","vs":"moisture"},{"n":"moisture:quality","u":"/","vs":"uncertain:calibration overdue"},` +
		`{"n":"moisture","u":"/","v":0.113},{"bn":"fern-hollow/wet-mill/tank-1/","n":"temperature:quality","u":"Cel","vs":"bad:no answer"},` +
		`{"bn":"fern-hollow/hub/board/","n":"disk-free:quantity","vs":"share"},{"n":"disk-free","u":"/","v":0.71}]`
	if err != nil || left != 0 || string(pack) != want {
		t.Errorf("Append() = %d left, %v\n%s\nwant\n%s", left, err, pack, want)
	}
	var generic []map[string]any // and it is JSON for everybody
	if err := json.Unmarshal(pack, &generic); err != nil || len(generic) != 13 {
		t.Errorf("encoding/json: %d records, %v", len(generic), err)
	}
}

var quantities = []units.Quantity{units.Temperature, units.Difference, units.PH, units.Humidity, units.Moisture, units.WaterActivity,
	units.Concentration, units.Pressure, units.Mass, units.Length, units.Volume, units.Speed, units.Voltage, units.Current, units.Resistance,
	units.Power, units.Irradiance, units.Rotation, units.Duration, units.HeatDose, units.Share, units.Count, units.State, units.YesNo,
	units.PH.Rate(), units.Temperature.Rate(), units.Volume.Rate()}

// randomReadings are readings as the history gives them: values on its steps, any quality, some missing, some points again.
func randomReadings(r *rand.Rand, n int) []reading.Reading {
	var list []reading.Reading
	for i := range n {
		q := quantities[r.IntN(len(quantities))]
		steps := q.StepsPerUnit()
		point := []string{"tank-1/", "bin-1/", "board/"}[r.IntN(3)] + strings.ReplaceAll(q.Name(), ":", "-")
		rd := sample(point, q, math.Round((r.Float64()*2000-500)*steps)/steps, reading.Quality(r.IntN(3)), "")
		rd.Stamp.Wall = at.Add(time.Duration(i/4) * 250 * time.Millisecond)
		if rd.Quality != reading.Good {
			rd.Cause = []string{"", "no answer", `odd "cause" – of: many`}[r.IntN(3)]
		}
		if r.IntN(10) == 0 {
			rd = reading.Missing(point, q, rd.Stamp, "no answer")
		}
		// One reading per point and time, as the history sees to it.
		if i%4 == 0 || point != list[len(list)-1].Point {
			list = append(list, rd)
		}
	}
	return list
}

// Aim: what goes in comes out, every bit of it, for every quantity, quality and mixture.
func TestPack_comesBack(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	e, d, p := NewEncoder("fern-hollow", "hub", area), new(Decoder), new(Pack)
	for n := range 500 {
		in := randomReadings(r, r.IntN(Most+1))
		h := Header{Stream: "s", From: uint64(n + 1), To: uint64(n + Most), Watermark: uint64(n / 2), Stored: uint64(n), Boot: "17e5"}
		data, left, err := e.Append(nil, h, in)
		if err != nil || left != 0 {
			t.Fatal(left, err)
		}
		if err := d.Decode(data, p); err != nil {
			t.Fatalf("%v\n%s", err, data)
		}
		if p.Header != h || p.Site != "fern-hollow" || p.Board != "hub" || len(p.Readings) != len(in) {
			t.Fatalf("got %+v with %d readings, want %+v with %d\n%s", p.Header, len(p.Readings), h, len(in), data)
		}
		for i, got := range p.Readings {
			want := in[i]
			_, gotArea, point, _ := Split(got.Point)
			same := math.Float64bits(got.Value) == math.Float64bits(want.Value+0) || math.IsNaN(got.Value) && math.IsNaN(want.Value)
			if !same || point != want.Point || gotArea != e.Area(point) || got.Quantity != want.Quantity || got.Quality != want.Quality ||
				got.Cause != want.Cause || got.Stamp.Wall.UnixMilli() != want.Stamp.Wall.UnixMilli() {
				t.Fatalf("reading %d = %+v, want %+v\n%s", i, got, want, data)
			}
		}
	}
}

func TestPack_leavesOutWhatCannotBeTold(t *testing.T) {
	e := NewEncoder("s", "b", nil)
	unset := sample("a/b", units.PH, 1, reading.Good, "")
	unset.Stamp.Set = false
	good := sample("a/c", units.PH, 2, reading.Good, "")
	old := sample("a/d", units.PH, 3, reading.Good, "")
	old.Stamp.Wall = time.Unix(0, 0)
	data, left, err := e.Append(nil, Header{Stream: "x", From: 1, To: 3}, []reading.Reading{unset, good, old})
	var p Pack
	if err != nil || left != 2 || new(Decoder).Decode(data, &p) != nil || len(p.Readings) != 1 || p.Readings[0].Point != "s/b/a/c" || p.To != 3 {
		t.Errorf("%d left, %v: %s", left, err, data)
	}
	data, left, err = e.Append(nil, Header{Stream: "x", From: 1, To: 3}, []reading.Reading{unset, old})
	if err != nil || left != 2 || new(Decoder).Decode(data, &p) != nil || len(p.Readings) != 0 {
		t.Errorf("nothing to tell: %d left, %v: %s", left, err, data)
	}
}

func TestDecode_refuses(t *testing.T) {
	good, _, err := NewEncoder("s", "b", nil).Append(nil, Header{Stream: "x", From: 4, To: 4, Watermark: 2, Stored: 3}, []reading.Reading{sample("a/c", units.PH, 2, reading.Good, "")})
	if err != nil {
		t.Fatal(err)
	}
	for _, change := range [][2]string{{"", ""}, {`"vs":"x"`, `"vs":""`}, {`"n":"from","v":4`, `"n":"from","v":0`}, {`"n":"to","v":4`, `"n":"to","v":3`},
		{`"n":"to","v":4`, `"n":"to","v":4.5`}, {`"n":"watermark","v":2`, `"n":"watermark","v":9`}, {`"n":"stored","v":3`, `"n":"stored","v":1`},
		{`"n":"from"`, `"n":"form"`}, {`s/b:pack/`, `s:pack/`}, {`"bn":"s/b/a/"`, `"bn":"t/b/a/"`}, {`"bn":"s/b/a/"`, `"bn":"s/"`}, {`"v":2}]`, `"v":2},`},
		{`"n":"stream","vs":"x"`, `"n":"stream","v":1`}} {
		text := strings.Replace(string(good), change[0], change[1], 1)
		if (change[0] != "") != (text != string(good)) {
			t.Fatalf("%q is not in %s", change[0], good)
		}
		if err := new(Decoder).Decode([]byte(text), new(Pack)); (err == nil) != (change[0] == "") {
			t.Errorf("%q for %q: %v", change[1], change[0], err)
		}
	}
}

func TestMark_comesBack(t *testing.T) {
	m := Mark{Stream: "c0ffee", Store: "store", Commit: 5, Next: 9, Boot: "1.7e9", Refused: 1, Trouble: `401: "token"`}
	got, err := ParseMark(m.Append(nil))
	if err != nil || got != m {
		t.Errorf("%+v, %v", got, err)
	}
	m.Trouble = strings.Repeat("<é>", maxMark)
	if got, err = ParseMark(m.Append(nil)); err != nil || got.Next != 9 || len(got.Trouble) < 100 || !strings.HasPrefix(m.Trouble, got.Trouble) {
		t.Errorf("with endless trouble: %+v, %v", got, err)
	}
	for _, bad := range []string{``, `{}`, `{"stream":"a","commit":2,"next":1}`, `{"stream":"a","commit":-1}`, `{"stream":"` + strings.Repeat("a", maxMark) + `"}`, "{\"stream\":\"\x94\"}"} {
		if m, err := ParseMark([]byte(bad)); err == nil {
			t.Errorf("%.40s is taken as %+v", bad, m)
		}
	}
}

func TestTopics_nameTheirBoard(t *testing.T) {
	topics := Topics{"mill/warden", "fern-hollow"}
	for _, topic := range []string{topics.Pack("hub"), topics.Mark("hub"), topics.State("hub")} {
		if board, ok := topics.Board(topic); !ok || board != "hub" {
			t.Errorf("Board(%s) = %s, %v", topic, board, ok)
		}
	}
	for _, topic := range []string{"mill/warden/fern-hollow/hub/other", "mill/fern-hollow/hub/pack", "mill/warden/fern-hollow//pack", topics.Latest("deck", "bay-1/pack")} {
		if board, ok := topics.Board(topic); ok {
			t.Errorf("Board(%s) = %s", topic, board)
		}
	}
}

// Aim: nothing that comes over the wire harms: no panic, and what is taken as a pack can be written again and reads the same.
func FuzzDecode(f *testing.F) {
	r := rand.New(rand.NewPCG(3, 4))
	e := NewEncoder("s", "b", area)
	for n := range 8 {
		data, _, err := e.Append(nil, Header{Stream: "x", From: 1, To: 64, Boot: "b"}, randomReadings(r, n*3))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte(`[{"bn":"s/b:pack/","n":"stream","vs":"x"}]`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var p, again Pack
		d := new(Decoder)
		if err := d.Decode(data, &p); err != nil {
			return
		}
		if p.From == 0 || p.To < p.From || p.Watermark >= p.From || len(p.Readings) > Most {
			t.Fatalf("taken: %+v", p.Header)
		}
		// Written again by an encoder whose areas are those that came.
		areas := map[string]string{}
		var out []reading.Reading
		for _, rd := range p.Readings {
			_, area, point, ok := Split(rd.Point)
			if !ok {
				t.Fatalf("taken: point %q", rd.Point)
			}
			station, _, _ := strings.Cut(point, "/")
			if known, ok := areas[station]; ok && known != area {
				return
			}
			areas[station] = area
			rd.Point = point
			out = append(out, rd)
		}
		text, left, err := NewEncoder(p.Site, p.Board, func(s string) string { return areas[s] }).Append(nil, p.Header, out)
		if err != nil || left > 0 {
			return // a time or a name that can be read but not told
		}
		if err := new(Decoder).Decode(text, &again); err != nil {
			t.Fatalf("written again: %v\n%s\nfrom\n%s", err, text, data)
		}
		if again.Header != p.Header || len(again.Readings) != len(p.Readings) {
			t.Fatalf("written again: %+v, %d readings, was %+v, %d", again.Header, len(again.Readings), p.Header, len(p.Readings))
		}
	})
}

func FuzzParseMark(f *testing.F) {
	f.Add(Mark{Stream: "a", Next: 1}.Append(nil))
	f.Add([]byte(`{"stream":"` + strings.Repeat("\x94", maxMark/2) + `"}`)) // found in 25 s of fuzzing: read as another sign, it was too long when written again
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := ParseMark(data)
		if err != nil {
			return
		}
		text := m.Append(nil)
		if len(text) > maxMark { // its names were near the bound, and what needs an escape grew
			return
		}
		again, err := ParseMark(text)
		if whole, _ := json.Marshal(m); len(whole) > maxMark && strings.HasPrefix(m.Trouble, again.Trouble) {
			again.Trouble = m.Trouble // was cut
		}
		if err != nil || !reflect.DeepEqual(again, m) {
			t.Fatalf("%+v became %+v, %v", m, again, err)
		}
	})
}
