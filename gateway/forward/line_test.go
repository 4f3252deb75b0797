package forward

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/url"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"millwarden/internal/peers"
	"millwarden/internal/reading"
	"millwarden/internal/units"
	"millwarden/internal/wire"
)

// theirs writes a reading with the encoder of the store's own maker: the outside check of ours, and the baseline of its speed.
func theirs(e *lineprotocol.Encoder, board string, r *reading.Reading) {
	site, area, point, _ := wire.Split(r.Point)
	station, point, _ := strings.Cut(point, "/")
	e.StartLine(r.Quantity.Name())
	for _, tag := range [...][2]string{{"area", area}, {"board", board}, {"point", point}, {"quality", r.Quality.String()}, {"site", site}, {"station", station}} {
		e.AddTag(tag[0], tag[1])
	}
	if !math.IsNaN(r.Value) && !math.IsInf(r.Value, 0) {
		e.AddField("value", lineprotocol.MustNewValue(r.Value))
	} else {
		e.AddField("missing", lineprotocol.MustNewValue(1.0))
	}
	e.EndLine(r.Stamp.Wall)
}

func theirEncoder() *lineprotocol.Encoder {
	e := new(lineprotocol.Encoder)
	e.SetPrecision(lineprotocol.Millisecond)
	return e
}

func some(n int, r *rand.Rand) []reading.Reading {
	quantities := []units.Quantity{units.PH, units.Temperature, units.Moisture, units.WaterActivity, units.PH.Rate(), units.State}
	list := make([]reading.Reading, n)
	for i := range list {
		q := quantities[i%16%len(quantities)]
		list[i] = reading.Reading{Point: fmt.Sprintf("fern-hollow/wet-mill/tank-%d/p%d", i%4, i%16), Quantity: q, Quality: reading.Quality(r.IntN(3)),
			Value: math.Round(r.Float64()*5e4) / 1000, Stamp: reading.Stamp{Wall: time.UnixMilli(1.7e12 + int64(i)), Set: true}}
		if r.IntN(20) == 0 {
			list[i].Value = math.NaN()
		}
	}
	return list
}

// lineOf is the line of one reading.
func lineOf(l *lines, board string, r *reading.Reading) string {
	one := l.row(board, r)
	return string(one.append(nil))
}

func TestLine_isWhatTheMakersEncoderWrites(t *testing.T) {
	l, e := newLines(), theirEncoder()
	var ours []byte
	for _, r := range some(2000, rand.New(rand.NewPCG(1, 1))) {
		row := l.row("hub", &r)
		ours = row.append(ours)
		theirs(e, "hub", &r)
	}
	if err := e.Err(); err != nil {
		t.Fatal(err)
	}
	ourLines, theirLines := strings.Split(string(ours), "\n"), strings.Split(string(e.Bytes()), "\n")
	for i := range theirLines {
		if ourLines[i] != theirLines[i] {
			t.Fatalf("line %d\n%s\nwant\n%s", i, ourLines[i], theirLines[i])
		}
	}
}

// A point that changes its quantity is another series.
func TestLine_followsTheQuantity(t *testing.T) {
	l := newLines()
	r := reading.Reading{Point: "s/a/b/c", Quantity: units.PH, Value: 4, Stamp: reading.Stamp{Wall: time.UnixMilli(5)}}
	first := lineOf(l, "hub", &r)
	r.Quantity, r.Value = units.Temperature, math.Inf(1)
	second := lineOf(l, "hub", &r)
	if first != "ph,area=a,board=hub,point=c,quality=good,site=s,station=b value=4 5\n" || second != "temperature,area=a,board=hub,point=c,quality=good,site=s,station=b missing=1 5\n" {
		t.Errorf("%s%s", first, second)
	}
}

// Aim: the queries that README.md gives find the good readings of one station, and no others, in the lines as they are written.
func TestLine_asReadmeQueriesIt(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	query := func(begin string) string {
		_, rest, _ := strings.Cut(string(text), "\n    "+begin)
		rest, _, _ = strings.Cut(rest, "\n")
		return begin + rest
	}
	now := time.Now().Truncate(time.Second)
	l, lines := newLines(), ""
	for i, r := range []reading.Reading{
		{Point: "fern-hollow/wet-mill/tank-1/ph", Value: 4.5, Quality: reading.Uncertain},
		{Point: "fern-hollow/wet-mill/tank-2/ph", Value: 4.4},
		{Point: "fern-hollow/wet-mill/tank-1/ph", Value: 4.3},
		{Point: "fern-hollow/wet-mill/tank-1/ph", Value: math.NaN(), Quality: reading.Bad},
	} {
		r.Quantity, r.Stamp = units.PH, reading.Stamp{Wall: now.Add(time.Duration(i-4) * time.Second), Set: true}
		lines += lineOf(l, "hub", &r)
	}
	influx, victoria := peers.StartInflux(t), peers.StartVictoriaMetrics(t)
	for _, store := range []peers.Store{influx, victoria} {
		address, org, bucket, token := store.Write()
		s := Store{Address: address, Org: org, Bucket: bucket, Token: func() (string, error) { return token, nil }}
		w := newWriter(s, s.client(), nil)
		if err := w.try(t.Context(), lines); err != nil {
			t.Fatal(err)
		}
		if rows := store.Rows(t); len(rows) != 4 { // control: all four are there
			t.Fatalf("%+v", rows)
		}
	}
	if got := influx.Query(t, query("SELECT")); len(got) != 1 || len(got[0].Values) != 1 || got[0].Values[0][1] != 4.3 {
		t.Errorf("%s: %+v", query("SELECT"), got)
	}
	resp, err := http.Get(victoria.URL + "/api/v1/query?query=" + url.QueryEscape(query("ph_value")))
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	var answer struct {
		Data struct{ Result []struct{ Value [2]any } }
	}
	if err := json.NewDecoder(resp.Body).Decode(&answer); err != nil || len(answer.Data.Result) != 1 || answer.Data.Result[0].Value[1] != "4.3" {
		t.Errorf("%s: %v %+v", query("ph_value"), err, answer)
	}
}

func FuzzAppendFloat(f *testing.F) {
	for _, v := range []float64{0, math.Copysign(0, -1), 1, -1, 4.312, 1e-4, 9.9e-5, 999999.999999, 1e6, 1e21, 0.1 + 0.2, math.MaxFloat64, 5e-324} {
		f.Add(v)
	}
	f.Fuzz(func(t *testing.T, v float64) {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return
		}
		for _, v := range []float64{v, math.Round(v*1e3) / 1e3, math.Round(v*1e6) / 1e6} {
			if math.IsInf(v, 0) || math.IsNaN(v) {
				continue
			}
			if got, want := string(appendFloat(nil, v)), strconv.FormatFloat(v, 'g', -1, 64); got != want {
				t.Fatalf("%s, want %s", got, want)
			}
		}
	})
}

// Aim: whatever names come, the line is one line and the maker's decoder reads the same tags from it.
func FuzzLine(f *testing.F) {
	f.Add("hub", "wet-mill", "tank-1", "ph")
	f.Add("a b", "c,d", "e=f", `g\`)
	f.Add("a\nb", "#", "_", "é")
	f.Fuzz(func(t *testing.T, board, area, station, point string) {
		r := reading.Reading{Point: "s/" + area + "/" + station + "/" + point, Quantity: units.PH, Value: 4.5, Stamp: reading.Stamp{Wall: time.UnixMilli(5)}}
		if _, _, _, ok := wire.Split(r.Point); !ok || board == "" || strings.ContainsAny(area+station, "/") {
			return
		}
		line := []byte(lineOf(newLines(), board, &r))
		d := lineprotocol.NewDecoderWithBytes(line)
		tags, fields := map[string]string{}, 0
		if !d.Next() {
			t.Fatalf("%q: no line", line)
		}
		if _, err := d.Measurement(); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		for {
			k, v, err := d.NextTag()
			if err != nil {
				t.Fatalf("%q: %v", line, err)
			}
			if k == nil {
				break
			}
			tags[string(k)] = string(v)
		}
		for {
			k, _, err := d.NextField()
			if err != nil {
				t.Fatalf("%q: %v", line, err)
			}
			if k == nil {
				break
			}
			fields++
		}
		if d.Next() {
			t.Fatalf("%q is more than one line", line)
		}
		plain := strings.Map(func(c rune) rune {
			if c < ' ' || c == 0x7f || c == '\\' {
				return '_'
			}
			return c
		}, strings.ToValidUTF8(board, "\uFFFD"))
		if fields != 1 || len(tags) != 6 || utf8.ValidString(board) && tags["board"] != plain {
			t.Fatalf("%q: %d fields, %q, want board %q", line, fields, tags, plain)
		}
	})
}

// The baseline is measured in the same run, over the same readings: ns/reading of both, and how many times theirs costs.
func BenchmarkLine(b *testing.B) {
	readings := some(64, rand.New(rand.NewPCG(1, 1)))
	names := make([][5]string, len(readings))
	for i := range readings {
		site, area, point, _ := wire.Split(readings[i].Point)
		station, point, _ := strings.Cut(point, "/")
		names[i] = [5]string{readings[i].Quantity.Name(), area, point, site, station}
	}
	l, e := newLines(), theirEncoder()
	var buffer []byte
	ours := func() {
		buffer = buffer[:0]
		for i := range readings {
			row := l.row("hub", &readings[i])
			buffer = row.append(buffer)
		}
	}
	their := func() { // with the names taken apart beforehand: only the encoder is compared
		e.Reset()
		for i := range readings {
			r, n := &readings[i], &names[i]
			e.StartLine(n[0])
			e.AddTag("area", n[1])
			e.AddTag("board", "hub")
			e.AddTag("point", n[2])
			e.AddTag("quality", r.Quality.String())
			e.AddTag("site", n[3])
			e.AddTag("station", n[4])
			if !math.IsNaN(r.Value) {
				e.AddField("value", lineprotocol.MustNewValue(r.Value))
			} else {
				e.AddField("missing", lineprotocol.MustNewValue(1.0))
			}
			e.EndLine(r.Stamp.Wall)
		}
	}
	ours()
	their()
	if string(buffer) != string(e.Bytes()) {
		b.Fatal("not the same bytes")
	}
	if n := testing.AllocsPerRun(100, ours); n != 0 {
		b.Fatalf("%v allocations", n)
	}
	var ourTime, theirTime time.Duration
	for b.Loop() { // in turns, so that a busy machine slows both
		t0 := time.Now()
		ours()
		t1 := time.Now()
		their()
		ourTime, theirTime = ourTime+t1.Sub(t0), theirTime+time.Since(t1)
	}
	per := float64(b.N * len(readings))
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(float64(ourTime.Nanoseconds())/per, "ns/reading")
	b.ReportMetric(float64(theirTime.Nanoseconds())/per, "theirs-ns/reading")
	b.ReportMetric(float64(theirTime)/float64(ourTime), "times-theirs")
}

func TestLine_allocatesNothing(t *testing.T) {
	readings := some(64, rand.New(rand.NewPCG(1, 1)))
	l, buffer := newLines(), make([]byte, 0, 1<<16)
	if n := testing.AllocsPerRun(100, func() {
		for i := range readings {
			row := l.row("hub", &readings[i])
			buffer = row.append(buffer[:0])
		}
	}); n != 0 {
		t.Errorf("%v allocations for 64 readings", n)
	}
}
