package reading

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"math"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"
)

// now of the tests: relative times count from it.
var now = time.Date(2026, 3, 4, 3, 12, 5, 250_000_000, time.UTC)

func at(seconds float64) time.Time { return time.UnixMicro(int64(math.Round(seconds * 1e6))).UTC() }

// The packs of RFC 8428 sections 5.1.1 to 5.1.4, with the resolved records that the RFC prints or derives.
var examples = []struct {
	name, pack string
	want       []Record
}{
	{"RFC 8428 section 5.1.1", `[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]`,
		[]Record{{Name: "urn:dev:ow:10e2073a01080063", Unit: "Cel", Content: Number, Value: 23.1, Time: now}}},
	{"RFC 8428 section 5.1.2, several data types", `[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},{"n":"label","vs":"Machine Room"},{"n":"open","vb":false},{"n":"nfc-reader","vd":"aGkgCg"}]`,
		[]Record{
			{Name: "urn:dev:ow:10e2073a01080063:temp", Unit: "Cel", Content: Number, Value: 23.1, Time: now},
			{Name: "urn:dev:ow:10e2073a01080063:label", Content: Text, Text: "Machine Room", Time: now},
			{Name: "urn:dev:ow:10e2073a01080063:open", Content: Truth, Time: now},
			{Name: "urn:dev:ow:10e2073a01080063:nfc-reader", Content: Bytes, Data: []byte{0x68, 0x69, 0x20, 0x0a}, Time: now},
		}},
	{"RFC 8428 section 5.1.3, multiple datapoints", multipleDatapoints, multipleResolved},
	{"RFC 8428, a base time outlives a new base name", `[{"bn":"2001:db8::2/","bt":1320078429,"n":"temperature","v":25.2,"u":"Cel"},{"n":"humidity","v":30,"u":"%RH"},{"bn":"2001:db8::1/","n":"temperature","v":12.3,"u":"Cel"},{"n":"humidity","v":67,"u":"%RH"}]`,
		[]Record{
			{Name: "2001:db8::2/temperature", Unit: "Cel", Content: Number, Value: 25.2, Time: at(1320078429)},
			{Name: "2001:db8::2/humidity", Unit: "%RH", Content: Number, Value: 30, Time: at(1320078429)},
			{Name: "2001:db8::1/temperature", Unit: "Cel", Content: Number, Value: 12.3, Time: at(1320078429)},
			{Name: "2001:db8::1/humidity", Unit: "%RH", Content: Number, Value: 67, Time: at(1320078429)},
		}},
}

const multipleDatapoints = `[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
 {"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},{"n":"current","t":-3,"v":0.14e1},{"n":"current","t":-2,"v":1.5},
 {"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]`

var multipleResolved = func() []Record {
	const name = "urn:dev:ow:10e2073a0108006:"
	records := []Record{{Name: name + "voltage", Unit: "V", Content: Number, Value: 120.1, Time: at(1276020076.001)}}
	for i, value := range []float64{1.2, 1.3, 1.4, 1.5, 1.6, 1.7} {
		records = append(records, Record{Name: name + "current", Unit: "A", Content: Number, Value: value, Time: at(1276020071.001 + float64(i))})
	}
	return records
}()

func TestDecodeSenML_examples(t *testing.T) {
	for _, e := range examples {
		got, err := DecodeSenML([]byte(e.pack), now, nil)
		if err != nil || !reflect.DeepEqual(got, e.want) {
			t.Errorf("%s: got %+v, %v\nwant %+v", e.name, got, err, e.want)
		}
		general, err := decodeGeneral([]byte(e.pack), now, nil)
		if err != nil || !reflect.DeepEqual(general, e.want) {
			t.Errorf("%s by the general decoder: got %+v, %v\nwant %+v", e.name, general, err, e.want)
		}
	}
}

// The CBOR form of the multiple datapoints, 195 bytes with one half float [RFC 8428 section 6].
const cborExample = `87a721781b75726e3a6465763a6f773a3130653230373361303130383030363a22fb41d303a15b00106223614120050067766f6c7461676501615602fb405e066666666666a3006763757272656e74062402fb3ff3333333333333a3006763757272656e74062302fb3ff4cccccccccccda3006763757272656e74062202fb3ff6666666666666a3006763757272656e74062102f93e00a3006763757272656e74062002fb3ff999999999999aa3006763757272656e74060002fb3ffb333333333333`

func TestDecodeCBOR_example(t *testing.T) {
	data, err := hex.DecodeString(cborExample)
	if err != nil || len(data) != 195 {
		t.Fatalf("%d bytes, %v", len(data), err)
	}
	if sum := sha256.Sum256(data); hex.EncodeToString(sum[:]) != "35ac3065b9318b3c8105d60607e979a0e414ec738b575cfb1bb50776eccf02b6" {
		t.Fatal("the example was copied wrongly")
	}
	got, err := DecodeCBOR(data, now, nil)
	if err != nil || !reflect.DeepEqual(got, multipleResolved) {
		t.Errorf("got %+v, %v\nwant %+v", got, err, multipleResolved)
	}
}

// What has to be refused, each with a word of the message. Sections are those of RFC 8428.
var refused = []struct{ name, pack, says string }{
	{"no pack", ``, "no JSON"},
	{"no array", `{"n":"a","v":1}`, "not an array"},
	{"no record", `[]`, "without a record"},
	{"no value (4.2)", `[{"n":"a"}]`, "no value"},
	{"base value alone (4.2)", `[{"n":"a","bv":1}]`, "no value"},
	{"two values (4.2)", `[{"n":"a","v":1,"vs":"x"}]`, "more than one value"},
	{"truth and data", `[{"n":"a","vb":true,"vd":""}]`, "more than one value"},
	{"label that must be understood (4.4)", `[{"n":"a","v":1,"foo_":2}]`, "foo_"},
	{"must be understood, nested", `[{"n":"a","v":1,"x":{"y":[1]},"bar_":{}}]`, "bar_"},
	{"version 11 (4.4)", `[{"bver":11,"n":"a","v":1}]`, "version 11"},
	{"version 0", `[{"bver":0,"n":"a","v":1}]`, "version 0"},
	{"version 5.5", `[{"bver":5.5,"n":"a","v":1}]`, "version 5.5"},
	{"two versions (4.1)", `[{"bver":5,"n":"a","v":1},{"bver":6,"n":"b","v":1}]`, "version 6 after 5"},
	{"version after none", `[{"n":"a","v":1},{"bver":5,"n":"b","v":1}]`, "version 5 after 10"},
	{"no name (4.5.1)", `[{"v":1}]`, "no name"},
	{"name begins with _ (4.5.1)", `[{"n":"_a","v":1}]`, "does not begin"},
	{"name with space (4.5.1)", `[{"n":"tank 1","v":1}]`, "tank 1"},
	{"name with accent", `[{"n":"secadora-ñ","v":1}]`, "character"},
	{"name with wildcard", `[{"n":"tank/#","v":1}]`, "character"},
	{"base name makes it bad", `[{"bn":"-","n":"a","v":1}]`, "does not begin"},
	{"long name", `[{"n":"` + strings.Repeat("a", 257) + `","v":1}]`, "256 characters"},
	{"NaN", `[{"n":"a","v":NaN}]`, "invalid"},
	{"value as text", `[{"n":"a","v":"1"}]`, "no number"},
	{"value null", `[{"n":"a","v":null}]`, "no number"},
	{"text null", `[{"n":"a","vs":null}]`, "no text"},
	{"truth as number", `[{"n":"a","vb":1}]`, "neither true nor false"},
	{"data with padding (4.3)", `[{"n":"a","vd":"aGkgCg=="}]`, "illegal base64"},
	{"data in the other alphabet", `[{"n":"a","vd":"++++"}]`, "illegal base64"},
	{"beyond a double", `[{"n":"a","v":1e999}]`, "1e999"},
	{"sum beyond a double", `[{"bv":1.7e308,"n":"a","v":1.7e308}]`, "beyond all numbers"},
	{"label twice", `[{"n":"a","v":1,"v":2}]`, "stands twice"},
	{"leading zero", `[{"n":"a","v":01}]`, "invalid"},
	{"bare decimal point", `[{"n":"a","v":1.}]`, "invalid"},
	{"comma at the end", `[{"n":"a","v":1},]`, "record 2"},
	{"cut off", `[{"n":"a","v":1}`, ""},
	{"more behind it", `[{"n":"a","v":1}] 2`, "follows"},
	{"record is a number", `[1]`, "no record"},
	{"not UTF-8", "[{\"n\":\"a\",\"vs\":\"\xff\"}]", "UTF-8"},
	{"time out of bounds", `[{"n":"a","v":1,"t":1e12}]`, "out of bounds"},
	{"time before 1970", `[{"n":"a","v":1,"t":-8e9}]`, "before 1970"},
	{"update time negative", `[{"n":"a","v":1,"ut":-1}]`, "update time"},
}

func TestDecodeSenML_refuses(t *testing.T) {
	for _, r := range refused {
		got, err := DecodeSenML([]byte(r.pack), now, nil)
		if err == nil {
			t.Errorf("%s: %s was taken: %+v", r.name, r.pack, got)
			continue
		}
		if !strings.Contains(err.Error(), r.says) || !strings.HasPrefix(err.Error(), "senml: ") {
			t.Errorf("%s: error %q does not say %q", r.name, err, r.says)
		}
	}
}

// What is unusual and legal: all of it must be taken.
func TestDecodeSenML_takes(t *testing.T) {
	one := func(r Record) []Record { return []Record{r} }
	for _, c := range []struct {
		pack string
		want []Record
	}{
		{`[{"n":"a","v":1,"foo":{"bar_":[1,{}]}}]`, one(Record{Name: "a", Content: Number, Value: 1, Time: now})}, // unknown labels are passed over, what is in them too
		{`[{"n":"a","v":1,"N":2,"V":3}]`, one(Record{Name: "a", Content: Number, Value: 1, Time: now})},           // labels have case
		{`[{"n":"\u0061","v":1}]`, one(Record{Name: "a", Content: Number, Value: 1, Time: now})},
		{`[{"bn":"a","v":1}]`, one(Record{Name: "a", Content: Number, Value: 1, Time: now})},
		{`[{"n":"a","vs":"90 °C \"hot\"\n"}]`, one(Record{Name: "a", Content: Text, Text: "90 °C \"hot\"\n", Time: now})},
		{`[{"n":"a","vs":""}]`, one(Record{Name: "a", Content: Text, Time: now})},
		{`[{"n":"a","vd":""}]`, one(Record{Name: "a", Content: Bytes, Data: []byte{}, Time: now})},
		{`[{"n":"a","s":3.5}]`, one(Record{Name: "a", HasSum: true, Sum: 3.5, Time: now})},
		{`[{"bs":100,"n":"a","v":2,"s":3.5}]`, one(Record{Name: "a", Content: Number, Value: 2, HasSum: true, Sum: 103.5, Time: now})},
		{`[{"bv":20,"n":"a","v":-1.5}]`, one(Record{Name: "a", Content: Number, Value: 18.5, Time: now})},
		{`[{"bver":10,"n":"a","v":1}]`, one(Record{Name: "a", Content: Number, Value: 1, Time: now})},
		{`[{"n":"a","v":1,"t":-90.5}]`, one(Record{Name: "a", Content: Number, Value: 1, Time: now.Add(-90500 * time.Millisecond)})},
		{`[{"n":"a","v":1,"t":268435455}]`, one(Record{Name: "a", Content: Number, Value: 1, Time: now.Add(268435455 * time.Second)})},
		{`[{"n":"a","v":1,"t":268435456}]`, one(Record{Name: "a", Content: Number, Value: 1, Time: time.Date(1978, 7, 4, 21, 24, 16, 0, time.UTC)})}, // smallest absolute time, section 4.5.3
		{`[{"n":"a","v":1,"ut":2.5}]`, one(Record{Name: "a", Content: Number, Value: 1, Time: now, UpdateTime: 2500 * time.Millisecond})},
		{"\r\n\t [ { \"n\" : \"a\" , \"v\" : -0.0 } ] ", one(Record{Name: "a", Content: Number, Time: now})},
		{`[{"n":"a","v":9007199254740993}]`, one(Record{Name: "a", Content: Number, Value: 9007199254740992, Time: now})},
		{`[{"n":"a","v":18446744073709551617}]`, one(Record{Name: "a", Content: Number, Value: 1 << 64, Time: now})}, // 2^64 + 1 overruns an integer
		{`[{"n":"a","v":0.0000000000000000000000018446744073709551617}]`, one(Record{Name: "a", Content: Number, Value: 1.8446744073709551617e-24, Time: now})},
		{`[{"n":"a","v":0.1234567890123456789}]`, one(Record{Name: "a", Content: Number, Value: 0.12345678901234568, Time: now})},
	} {
		got, err := DecodeSenML([]byte(c.pack), now, nil)
		if err != nil || !same(got, c.want) {
			t.Errorf("%s: got %+v, %v\nwant %+v", c.pack, got, err, c.want)
		}
	}
}

// same is DeepEqual with 0 equal to -0.
func same(a, b []Record) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		x, y := a[i], b[i]
		if x.Value != y.Value || x.Sum != y.Sum {
			return false
		}
		x.Value, x.Sum = y.Value, y.Sum
		if !reflect.DeepEqual(x, y) {
			return false
		}
	}
	return true
}

func TestDecodeSenML_appends(t *testing.T) {
	first, _ := DecodeSenML([]byte(`[{"n":"a","v":1}]`), now, nil)
	both, err := DecodeSenML([]byte(`[{"n":"b","v":2}]`), now, first)
	if err != nil || len(both) != 2 || both[0].Name != "a" || both[1].Name != "b" {
		t.Fatalf("got %+v, %v", both, err)
	}
	if kept, err := DecodeSenML([]byte(`[{"n":"c","v":3},{"v":1}]`), now, both); err == nil || len(kept) != 2 {
		t.Errorf("a refused pack left %d records, %v; want 2 and an error", len(kept), err)
	}
	if _, err := DecodeSenML(make([]byte, MaxPack+1), now, nil); err == nil {
		t.Error("a pack beyond MaxPack was taken")
	}
}

func TestAppendSenML_roundTrip(t *testing.T) {
	start := time.Date(2026, 3, 4, 2, 0, 0, 123456000, time.UTC)
	records := []Record{
		{Name: "tank-1/ph", Unit: "pH", Content: Number, Value: 4.213, Time: start},
		{Name: "tank-1/temperature", Unit: "Cel", Content: Number, Value: -0.0625, Time: start.Add(time.Microsecond)},
		{Name: "deck-1/air-humidity", Unit: "%RH", Content: Number, Value: 1e21, Time: start.Add(-time.Hour)},
		{Name: "deck-1/note", Content: Text, Text: "á \"x\" \\ \x01\n\u2028", Time: start},
		{Name: "deck-1/cover", Content: Truth, Truth: true, Time: start},
		{Name: "a", Content: Bytes, Data: []byte{0xfb, 0xff}, Time: start, UpdateTime: 90 * time.Second},
		{Name: "deck-1/", HasSum: true, Sum: 5e-324, Time: start},
		{Name: "b", Content: Number, Value: math.MaxFloat64, Time: start, HasSum: true, Sum: -1},
	}
	data, err := AppendSenML([]byte("x"), records...)
	if err != nil || data[0] != 'x' {
		t.Fatal(string(data), err)
	}
	if !json.Valid(data[1:]) {
		t.Fatalf("%s is no JSON", data[1:])
	}
	got, err := DecodeSenML(data[1:], now, nil)
	if err != nil || !reflect.DeepEqual(got, records) {
		t.Errorf("%s\ngot %+v, %v\nwant %+v", data, got, err, records)
	}
}

func TestAppendSenML_compact(t *testing.T) {
	start := time.Unix(1772600000, 0)
	data, err := AppendSenML(nil,
		Record{Name: "tank-1/ph", Unit: "pH", Content: Number, Value: 4.2, Time: start},
		Record{Name: "tank-1/temperature", Unit: "Cel", Content: Number, Value: 24, Time: start.Add(1500 * time.Millisecond)},
		Record{Name: "deck-1/cover", Content: Truth, Truth: true, Time: start})
	const want = `[{"bn":"tank-1/","bt":1772600000,"n":"ph","u":"pH","v":4.2},{"n":"temperature","u":"Cel","t":1.5,"v":24},{"bn":"deck-1/","n":"cover","vb":true}]`
	if err != nil || string(data) != want {
		t.Errorf("got %s, %v\nwant %s", data, err, want)
	}
}

// A record without time means now, also behind one with a time, whose base time would otherwise hold for it.
func TestAppendSenML_nowAfterTime(t *testing.T) {
	data, err := AppendSenML(nil, Record{Name: "a", Content: Truth, Time: time.Unix(1772600000, 0)}, Record{Name: "b", Content: Truth})
	if err != nil {
		t.Fatal(err)
	}
	got, err := DecodeSenML(data, now, nil)
	if err != nil || !got[1].Time.Equal(now) {
		t.Errorf("%s gives %+v, %v; want the second at %v", data, got, err, now)
	}
}

func TestAppendSenML_refuses(t *testing.T) {
	start := time.Unix(1772600000, 0)
	for name, r := range map[string]Record{
		"NaN":      {Name: "a", Content: Number, Value: math.NaN(), Time: start},
		"infinite": {Name: "a", Content: Number, Value: math.Inf(1), Time: start},
		"NaN sum":  {Name: "a", HasSum: true, Sum: math.NaN(), Time: start},
		"name":     {Name: "tank 1", Content: Number, Time: start},
		"no name":  {Content: Number, Time: start},
		"no value": {Name: "a", Time: start},
		"1970":     {Name: "a", Content: Number, Time: time.Unix(3600, 0)},
	} {
		if data, err := AppendSenML([]byte("x"), r); err == nil || string(data) != "x" {
			t.Errorf("%s: got %s, %v; want an error and nothing appended", name, data, err)
		}
	}
	if _, err := AppendSenML(nil); err == nil {
		t.Error("an empty pack was written")
	}
}

// Every double must come back, and short decimals must be written short; strconv is the judge.
func TestAppendNumber(t *testing.T) {
	values := []float64{0, 1, -1, 0.1, 23.1, 1e-6, 1.5e-6, 1e-7, 123456789.123456, 999999999.999999, 1e15, 1e21, 5e-324, math.MaxFloat64, 0.3, 1.0 / 3, 100.0 / 3, -273.15}
	for i := range 2000 {
		values = append(values, float64(i*7919)/1e4, math.Float64frombits(uint64(i)*0x9e3779b97f4a7c15))
	}
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		text := appendNumber(nil, v)
		back, err := strconv.ParseFloat(string(text), 64)
		if err != nil || back != v {
			t.Errorf("%v was written %s, read back %v, %v", v, text, back, err)
		}
		if shortest := strconv.FormatFloat(v, 'f', -1, 64); math.Abs(v) < 1e15 && len(text) > len(shortest) {
			t.Errorf("%v was written %s, shorter is %s", v, text, shortest)
		}
	}
}

// FuzzDecodeSenML holds the plain scanner to the general decoder, and what was read to what is written of it.
func FuzzDecodeSenML(f *testing.F) {
	for _, e := range examples {
		f.Add([]byte(e.pack))
	}
	for _, r := range refused {
		f.Add([]byte(r.pack))
	}
	f.Add([]byte(`[{"bn":"a/","bt":1772600000.25,"n":"b","u":"Cel","v":-12.5e-1,"ut":3},{"n":"c","t":1,"vs":"x"},{"vb":true,"n":"d"}]`))
	f.Fuzz(func(t *testing.T, data []byte) {
		general, err := decodeGeneral(data, now, nil)
		if plain, ok := scanPlain(data, now, nil); ok && (err != nil || !same(plain, general)) {
			t.Fatalf("%s\nplain   %+v\ngeneral %+v, %v", data, plain, general, err)
		}
		if err != nil {
			return
		}
		for _, r := range general {
			if r.Time.Unix() < relativeEnd || r.Time.Unix() >= latestTime {
				return
			}
		}
		written, err := AppendSenML(nil, general...)
		if err != nil {
			t.Fatalf("%s was read as %+v and cannot be written: %v", data, general, err)
		}
		again, err := DecodeSenML(written, now.Add(time.Hour), nil)
		if err != nil || !same(again, general) {
			t.Fatalf("%s\nwritten %s\nread %+v, %v\nwant %+v", data, written, again, err, general)
		}
	})
}

func FuzzDecodeCBOR(f *testing.F) {
	data, _ := hex.DecodeString(cborExample)
	f.Add(data)
	for _, text := range []string{"81a200616102f97e00", "81a3006161020163666f6f01", "81a300616102c48221190fa0060a", "9fa2006161040fff", "81a300616102fb7ff00000000000000601", "80"} {
		data, _ := hex.DecodeString(text)
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		records, err := DecodeCBOR(data, now, nil)
		if err == nil && len(records) == 0 {
			t.Fatalf("%x: nothing and no error", data)
		}
		for _, r := range records {
			if checkName(r.Name) != nil || math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
				t.Fatalf("%x gave %+v", data, r)
			}
		}
	})
}

// CBOR that must be taken or refused, hand-assembled after RFC 8949; the diagnostic notation stands beside it.
func TestDecodeCBOR_cases(t *testing.T) {
	for _, c := range []struct {
		hex, diagnostic string
		want            float64
		taken           bool
	}{
		{"81a2006161021903e8", `[{0:"a",2:1000}]`, 1000, true},
		{"81a20061610238ff", `[{0:"a",2:-256}]`, -256, true},
		{"81a200616102f93e00", `[{0:"a",2:1.5_1}]`, 1.5, true},
		{"81a200616102fa47c35000", `[{0:"a",2:100000.0_2}]`, 100000, true},
		{"81a200616102c48221196ab3", `[{0:"a",2:4([-2,27315])}]`, 273.15, true}, // RFC 8949 section 3.4.4
		{"81a300616102011863f6", `[{0:"a",2:1,99:null}]`, 1, true},              // an unknown number is passed over
		{"81a30061610201616bf6", `[{0:"a",2:1,"k":null}]`, 1, true},
		{"81a200616102f97e00", `[{0:"a",2:NaN_1}]`, 0, false},
		{"81a200616102f97c00", `[{0:"a",2:Infinity_1}]`, 0, false},
		{"81a2006161026131", `[{0:"a",2:"1"}]`, 0, false},
		{"81a300616102010202", `[{0:"a",2:1,2:2}]`, 0, false},
		{"9fa20061610201ff", `[_ {0:"a",2:1}]`, 0, false},
		{"81a30061610201646b65795f01", `[{0:"a",2:1,"key_":1}]`, 0, false},
		{"81a2616e61610201", `[{"n":"a",2:1}]`, 0, false},
		{"81a30061610201200b", `[{0:"a",2:1,-1:11}]`, 0, false},
		{"80", `[]`, 0, false},
		{"a20061610201", `{0:"a",2:1}`, 0, false},
		{"81a2006161020100", `[{0:"a",2:1}] 0`, 0, false},
	} {
		data, err := hex.DecodeString(c.hex)
		if err != nil {
			t.Fatal(c.diagnostic, err)
		}
		got, err := DecodeCBOR(data, now, nil)
		if taken := err == nil; taken != c.taken || taken && got[0].Value != c.want {
			t.Errorf("%s: got %+v, %v; want %v, taken %v", c.diagnostic, got, err, c.want, c.taken)
		}
	}
}
