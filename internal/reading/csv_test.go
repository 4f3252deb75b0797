package reading

import (
	"bytes"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"millwarden/internal/units"
)

func readAll(t *testing.T, text string, known func(string) (units.Quantity, bool)) []Reading {
	t.Helper()
	rows, err := NewRows(strings.NewReader(text), known)
	if err != nil {
		t.Fatal(err)
	}
	var all []Reading
	for {
		r, err := rows.Next()
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
	}
}

func TestRows_read(t *testing.T) {
	got := readAll(t, "\xEF\xBB\xBFtime,point,value,unit,quality\r\n"+
		"2026-03-04T03:12:05Z,tank-1/ph,4.21,pH,good\r\n"+
		"2026-03-03T22:12:06.5-05:00,dryer-1/air-temperature,113,°F,uncertain:calibration overdue\n"+
		"2026-03-04T03:12:07Z,dryer-1/fan,on,,good\n"+
		"2026-03-04T03:12:08Z,deck-1/air-temperature,,°C,\"bad:no answer, \"\"twice\"\"\"\n"+
		"2026-03-04T03:12:09Z,bin-1/moisture,25,%db,good\n"+
		"2026-03-04T03:12:10Z,tank-1/loaded,yes,,good\n"+
		"2026-03-04T03:12:11Z,roaster/roasts,7,,good\n", nil)
	at := func(offset time.Duration) Stamp {
		return stamp(time.Date(2026, 3, 4, 3, 12, 5, 0, time.UTC).Add(offset))
	}
	want := []Reading{
		{Point: "tank-1/ph", Quantity: units.PH, Value: 4.21, Stamp: at(0)},
		{Point: "dryer-1/air-temperature", Quantity: units.Temperature, Value: 45, Stamp: at(1500 * time.Millisecond), Quality: Uncertain, Cause: "calibration overdue"},
		{Point: "dryer-1/fan", Quantity: units.State, Value: 1, Stamp: at(2 * time.Second)},
		{Point: "deck-1/air-temperature", Quantity: units.Temperature, Value: math.NaN(), Stamp: at(3 * time.Second), Quality: Bad, Cause: `no answer, "twice"`},
		{Point: "bin-1/moisture", Quantity: units.Moisture, Value: 20, Stamp: at(4 * time.Second)}, // 25 of water on 100 dry: 25/125
		{Point: "tank-1/loaded", Quantity: units.YesNo, Value: 1, Stamp: at(5 * time.Second)},
		{Point: "roaster/roasts", Quantity: units.Count, Value: 7, Stamp: at(6 * time.Second)},
	}
	if differ(got, want) >= 0 {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
}

func TestRows_messages(t *testing.T) {
	const head = "time,point,value,unit,quality\n"
	const good = "2026-03-04T03:12:05Z,tank-1/ph,4.21,pH,good\n"
	for _, c := range []struct{ text, says string }{
		{"", "csv: line 1: the file is empty; it begins with the line time,point,value,unit,quality"},
		{"time;point;value;unit;quality\n", "csv: line 1: the columns are parted by semicolons; part them by commas: time,point,value,unit,quality"},
		{"a,b\n", `csv: line 1: the first line is "a,b"; write time,point,value,unit,quality`},
		{head + good + "2026-03-04T03:12:05Z,tank-1/ph,4,2,pH,good\n", "csv: line 3: 6 columns where 5 are due: time,point,value,unit,quality"},
		{head + "yesterday,tank-1/ph,4.2,pH,good\n", `csv: line 2: "yesterday" is no time; write for example 2026-03-04T03:12:05Z or 2026-03-04T03:12:05-05:00`},
		{head + "1902-03-04T03:12:05Z,tank-1/ph,4.2,pH,good\n", `csv: line 2: "1902-03-04T03:12:05Z": years go from 1970 to 2255`},
		{head + "2026-03-04T03:12:05Z,ph,4.2,pH,good\n", `csv: line 2: "ph" is no point; write station and point, for example tank-1/ph`},
		{head + "2026-03-04T03:12:05Z,tank-1/ph,\"4,2\",pH,good\n", `csv: line 2: not a number: "4,2" has a comma, the decimal mark is a point; write for example 45.2`},
		{head + "2026-03-04T03:12:05Z,tank-1/ph,4.2,pHH,good\n", `csv: line 2: unit "pHH" is not known; write it as in the rules file, for example °C, %RH, %wb, pH, kPa, s`},
		{head + "2026-03-04T03:12:05Z,tank-1/ph,4.2,pH,fine\n", `csv: line 2: quality "fine" is not known; write good, uncertain:reason or bad:reason`},
		{head + "2026-03-04T03:12:05Z,tank-1/ph,,pH,good\n", `csv: line 2: tank-1/ph has no value and quality good; without value it is bad, for example bad:no answer`},
		{head + "2026-03-04T03:12:05Z,tank-1/ph,4.2,pH,bad:\"x\"\n", `csv: line 2: bare " in non-quoted-field; a field with a comma or a quote stands in quotes, and a quote inside is doubled: "say ""dry"""`},
	} {
		rows, err := NewRows(strings.NewReader(c.text), nil)
		for err == nil {
			_, err = rows.Next()
		}
		if err.Error() != c.says || !errors.Is(err, ErrRow) {
			t.Errorf("%q\nsays %s\nwant %s", c.text, err, c.says)
		}
	}
}

func TestRows_known(t *testing.T) {
	known := func(point string) (units.Quantity, bool) {
		q, ok := map[string]units.Quantity{"a/air": units.Humidity, "a/co2": units.Concentration, "a/warmer": units.Difference, "a/ph": units.PH}[point]
		return q, ok
	}
	rows, err := NewRows(strings.NewReader("time,point,value,unit,quality\n2026-03-04T03:12:05Z,a/air,55,%,good\n2026-03-04T03:12:05Z,a/co2,0.1,%,good\n"+
		"2026-03-04T03:12:05Z,a/warmer,9,°F,good\n2026-03-04T03:12:05Z,a/ph,4.2,°C,good\n2026-03-04T03:12:05Z,a/air,56,,bad\n"), known)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []float64{55, 1000, 5} {
		if got, err := rows.Next(); err != nil || math.Abs(got.Value-want) > 1e-9 {
			t.Errorf("got %+v, %v; want %v", got, err, want)
		}
	}
	if _, err := rows.Next(); err == nil || err.Error() != `csv: line 5: unit "°C" is not for a pH; write one of pH` {
		t.Errorf("got %v", err)
	}
	if _, err := rows.Next(); err == nil || err.Error() != `csv: line 6: unit "" is not for a humidity; write one of %RH, %` {
		t.Errorf("got %v", err)
	}
}

func TestCSVWriter_roundTrip(t *testing.T) {
	want := sample(200)
	var file bytes.Buffer
	w, err := NewCSVWriter(&file)
	if err != nil {
		t.Fatal(err)
	}
	for i := range want {
		if err := w.Write(&want[i]); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	of := map[string]units.Quantity{}
	for _, r := range want {
		of[r.Point] = r.Quantity
	}
	got := readAll(t, file.String(), func(point string) (units.Quantity, bool) { return of[point], true })
	if i := differ(got, want); i >= 0 {
		t.Errorf("reading %d of %d: got %+v\nwant %+v", i, len(got), got[i], want[i])
	}
	if lines := strings.Split(file.String(), "\r\n"); len(lines) != len(want)+2 {
		t.Errorf("%d lines parted by CRLF, want %d [RFC 4180 section 2]", len(lines), len(want)+2)
	}
	if err := w.Write(&Reading{Point: "a/b"}); !errors.Is(err, ErrClock) {
		t.Errorf("a reading of an unset clock was written: %v", err)
	}
}

// Formula injection: what a spreadsheet would reckon gets an apostrophe, and comes back without it.
// Source: OWASP, "CSV Injection", the characters = + - @ and control characters.
func TestGuard(t *testing.T) {
	for in, want := range map[string]string{
		"washed twice":    "washed twice",
		"=1+1":            "'=1+1",
		"+51 900 000 001": "'+51 900 000 001",
		"-2 kg":           "'-2 kg",
		"@SUM(A1)":        "'@SUM(A1)",
		"'=1":             "''=1",
		" =1":             "' =1",
		"\t=1":            "' =1",
		"＝1":              "'＝1",
		"it's = fine":     "it's = fine",
		"'quoted'":        "'quoted'",
		"":                "",
	} {
		got := Guard(in)
		if got != want {
			t.Errorf("Guard(%q) = %q, want %q", in, got, want)
		}
		if back := Unguard(got); back != strings.ReplaceAll(in, "\t", " ") {
			t.Errorf("Unguard(%q) = %q, want %q", got, back, in)
		}
	}
}

func TestLots(t *testing.T) {
	l, err := NewLots(strings.NewReader("time,station,act,lot,kg,note\r\n2026-03-04T16:05:00-05:00,tank-1,load,24-031,412.5,\"Cedro, hand picked\"\r\n2026-03-05T09:40:00-05:00,tank-1,empty,24-031,,'=odd\r\n"))
	if err != nil {
		t.Fatal(err)
	}
	first, err := l.Next()
	if err != nil || first.Station != "tank-1" || first.Empty || first.Lot != "24-031" || first.Kg != 412.5 || first.Note != "Cedro, hand picked" ||
		!first.Stamp.Wall.Equal(time.Date(2026, 3, 4, 21, 5, 0, 0, time.UTC)) {
		t.Errorf("got %+v, %v", first, err)
	}
	second, err := l.Next()
	if err != nil || !second.Empty || !math.IsNaN(second.Kg) || second.Note != "=odd" {
		t.Errorf("got %+v, %v", second, err)
	}
	if _, err := l.Next(); !errors.Is(err, io.EOF) {
		t.Errorf("at the end: %v", err)
	}
	for row, says := range map[string]string{
		"2026-03-04T16:05:00Z,tank-1,fill,24-031,1,":   `csv: line 2: "fill" is no act; write load or empty`,
		"2026-03-04T16:05:00Z,Tank 1,load,24-031,1,":   `csv: line 2: "Tank 1" is no station; write its name, for example tank-1`,
		"2026-03-04T16:05:00Z,tank-1,load,,1,":         `csv: line 2: no lot was loaded into tank-1; write its name`,
		"2026-03-04T16:05:00Z,tank-1,load,24-031,-1,":  `csv: line 2: a weight of -1 kg cannot be`,
		"2026-03-04T16:05:00Z,tank-1,load,24-031,1kg,": `csv: line 2: weight: not a number: "1kg"; write kg, for example 412.5`,
		"4 March,tank-1,load,24-031,1,":                `csv: line 2: "4 March" is no time; write for example 2026-03-04T03:12:05Z or 2026-03-04T03:12:05-05:00`,
	} {
		l, err := NewLots(strings.NewReader("time,station,act,lot,kg,note\n" + row + "\n"))
		if err == nil {
			_, err = l.Next()
		}
		if err == nil || err.Error() != says {
			t.Errorf("%s\nsays %v\nwant %s", row, err, says)
		}
	}
}

// FuzzRows: what is read is written and read again as the same.
func FuzzRows(f *testing.F) {
	f.Add("time,point,value,unit,quality\n2026-03-04T03:12:05Z,tank-1/ph,4.21,pH,good\n2026-03-04T03:12:05Z,a/b,on,,uncertain:'=1\n")
	f.Add("time,point,value,unit,quality\n2026-03-04T03:12:05.1-05:00,a/b,12.3,%db,\"bad:\"\"x\"\"\"\n2026-03-04T03:12:05Z,a/b,1,°F/min,good\n")
	f.Fuzz(func(t *testing.T, text string) {
		rows, err := NewRows(strings.NewReader(text), nil)
		if err != nil {
			return
		}
		var file bytes.Buffer
		w, _ := NewCSVWriter(&file)
		var want []Reading
		for {
			r, err := rows.Next()
			if errors.Is(err, io.EOF) || errors.Is(err, ErrRow) && strings.Contains(err.Error(), "quote") {
				break
			}
			if err != nil {
				continue
			}
			if err := w.Write(&r); err != nil {
				t.Fatal(err)
			}
			_, r.Cause, _ = ParseQuality(Guard(QualityText(r.Quality, r.Cause)))
			want = append(want, r)
		}
		_ = w.Flush()
		if got := readAll(t, file.String(), nil); differ(got, want) >= 0 {
			t.Fatalf("%q\ngot  %+v\nwant %+v", file.String(), got, want)
		}
	})
}

func FuzzLots(f *testing.F) {
	f.Add("time,station,act,lot,kg,note\n2026-03-04T16:05:00-05:00,tank-1,load,24-031,412.5,x\n")
	f.Fuzz(func(t *testing.T, text string) {
		l, err := NewLots(strings.NewReader(text))
		for range 100 {
			if err != nil {
				return
			}
			var stay Stay
			if stay, err = l.Next(); err == nil && (stay.Station == "" || stay.Kg < 0) {
				t.Fatalf("%q gave %+v", text, stay)
			}
		}
	})
}
