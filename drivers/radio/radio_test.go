package radio

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"millwarden/drivers"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/radio/radiotest"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/phrase"
	"millwarden/internal/reading"
	"millwarden/internal/units"
)

const topic = "store/bin-4"

func word(text string) phrase.Slot { return phrase.Slot{Given: true, Text: text} }

func record(name, channel string) phrase.Line {
	return phrase.Line{Key: "record", Slots: []phrase.Slot{word(name), word(channel)}}
}

func form(name, scale string, q units.Quantity) phrase.Line {
	x := phrase.Slot{}
	if scale != "" {
		a, err := units.Parse(scale, q)
		if err != nil {
			panic(err)
		}
		x = phrase.Slot{Given: true, Text: scale, Amount: a}
	}
	return phrase.Line{Key: "form", Slots: []phrase.Slot{word(name), x}}
}

func site(feed drivers.Feed, lines phrase.Lines, gives ...drivers.Channel) drivers.Site {
	return drivers.Site{
		Bus:   drivers.Bus{Name: "broker", Radio: feed},
		Place: phrase.Line{Key: "place", Slots: []phrase.Slot{word(topic)}},
		Lines: lines, Gives: gives,
	}
}

var air = []drivers.Channel{{Name: "temperature", Quantity: units.Temperature}, {Name: "humidity", Quantity: units.Humidity}}

// speaker is a probe that answers every Read with a new frame, so that the suite can treat radio like any other part.
type speaker struct {
	*radiotest.Feed
	noise  *rand.Rand
	silent bool
	flip   bool
	truth  map[string]float64
	asked  int
}

func (s *speaker) Listen(name string) (drivers.Topic, error) {
	s.asked++
	t, err := s.Feed.Listen(name)
	return &speaking{t, s}, err
}

type speaking struct {
	drivers.Topic
	s *speaker
}

func (t *speaking) Newest() (drivers.Frame, bool) {
	if !t.s.silent {
		t.s.Publish(topic, t.s.frame())
	}
	return t.Topic.Newest()
}

func (s *speaker) frame() []byte {
	text := fmt.Appendf(nil, `[{"bn":"urn:dev:mac:0024befffe804ff1:","n":"temperature","u":"Cel","v":%.4f},{"n":"humidity","u":"%%RH","v":%.4f}]`, s.truth["temperature"], s.truth["humidity"])
	if s.flip {
		text[0] ^= 0x10
	}
	if s.noise != nil {
		for range 1 + s.noise.IntN(12) {
			text[s.noise.IntN(len(text))] = byte(s.noise.Uint32())
		}
		text = text[:s.noise.IntN(len(text)+1)]
	}
	return text
}

func bench() *drivertest.Bench {
	s := &speaker{Feed: radiotest.New(), truth: map[string]float64{"temperature": 20, "humidity": 60}}
	return &drivertest.Bench{
		Site:      site(s, nil, air...),
		Truths:    []drivertest.Truth{{Channel: "temperature", Low: -40, High: 500, Within: 0.00006}, {Channel: "humidity", Low: 0, High: 100, Within: 0.00006}},
		Set:       func(channel string, value float64) { s.truth[channel] = value },
		Restore:   func() { s.noise, s.flip = nil, false },
		Garble:    func() { s.flip = true },
		Noise:     func(r *rand.Rand) { s.noise = r },
		Fail:      func(n int) { s.Fail(n > 0) },
		Exchanges: func() int { return s.asked },
		Without: map[string]string{
			"WrongPart": "who sends on a topic is not known",
			"Remove":    "no frame is NotReady with its age; TestRead_newestOrNotReady",
			"Exceed":    "the probe at the other end knows its range, this one does not",
		},
	}
}

func TestDriver_keepsTheContract(t *testing.T) {
	drivertest.Run(t, drivertest.Suite{Driver: Driver, Bench: bench})
}

func opened(t *testing.T, lines phrase.Lines, gives ...drivers.Channel) (*radiotest.Feed, drivers.Probe) {
	t.Helper()
	feed := radiotest.New()
	p, err := Driver.Open(t.Context(), site(feed, lines, gives...))
	if err != nil {
		t.Fatal(err)
	}
	return feed, p
}

func TestRead_newestOrNotReady(t *testing.T) {
	clocktest.Bubble(t, func(t *testing.T) {
		feed, p := opened(t, phrase.Lines{form("number", "1 m/s", units.Speed)}, drivers.Channel{Name: "wind", Quantity: units.Speed})
		if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.NotReady {
			t.Errorf("before any frame: %v, %v, want NotReady", s, err)
		}
		feed.Publish(topic, []byte("3.5"))
		time.Sleep(2 * time.Second)
		feed.Publish(topic, []byte(" 4.25\n"))
		feed.Publish("store/bin-5", []byte("9"))
		time.Sleep(3 * time.Second)
		s, err := p.Read(t.Context())
		if err != nil || s.Values[0].Value != 4.25 || s.Values[0].Ago != 3*time.Second || string(s.Raw) != " 4.25\n" {
			t.Errorf("Read() = %+v, %v, want 4.25 m/s of 3 s ago", s.Values, err)
		}
		time.Sleep(10 * time.Minute)
		_, err = p.Read(t.Context())
		if fault, _ := drivers.AsFault(err); fault == nil || fault.Kind != drivers.NotReady || !strings.Contains(fault.Brief(), "10m3s") {
			t.Errorf("no new frame: %v, want NotReady with its age of 10m3s", err)
		}
		if err := p.(*probe).Close(); err != nil || feed.Listened() != 0 {
			t.Errorf("Close() = %v, still %d listened to", err, feed.Listened())
		}
	})
}

// Frames of RFC 8428 section 5.1, with the values written there.
func TestRead_framesOfTheRFC(t *testing.T) {
	at := time.Date(2010, 6, 8, 18, 1, 16, 1000000, time.UTC) // 1.276020076001e+09 s
	tests := []struct {
		name, frame string
		record      string
		due         units.Quantity
		value       float64
		at          time.Time
		ago         time.Duration
	}{
		{"5.1.1 single", `[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]`, "10e2073a01080063", units.Temperature, 23.1, time.Time{}, 0},
		{"5.1.2 voltage", `[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},{"n":"current","u":"A","v":1.2}]`, "voltage", units.Voltage, 120.1, time.Time{}, 0},
		{"5.1.2 newest of several", `[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},` +
			`{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},{"n":"current","t":-3,"v":1.4},{"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]`,
			"current", units.Current, 1.7, at, 0},
		{"relative", `[{"n":"temperature","u":"Cel","v":20,"t":-90}]`, "temperature", units.Temperature, 20, time.Time{}, 90 * time.Second},
		{"ratio as moisture", `[{"n":"moisture","u":"/","v":0.115}]`, "moisture", units.Moisture, 11.5, time.Time{}, 0},
		{"ratio as share", `[{"n":"level","u":"/","v":0.5}]`, "level", units.Share, 50, time.Time{}, 0},
		{"kelvin", `[{"n":"temperature","u":"K","v":300.15}]`, "temperature", units.Temperature, 27, time.Time{}, 0},
		{"pascal", `[{"n":"p","u":"Pa","v":84500}]`, "p", units.Pressure, 84.5, time.Time{}, 0},
		{"yes", `[{"n":"fan","vb":true}]`, "fan", units.State, 1, time.Time{}, 0},
		{"no unit", `[{"n":"ph","v":4.2}]`, "ph", units.PH, 4.2, time.Time{}, 0},
	}
	for _, test := range tests {
		feed, p := opened(t, phrase.Lines{record(test.record, "it")}, drivers.Channel{Name: "it", Quantity: test.due})
		feed.Publish(topic, []byte(test.frame))
		s, err := p.Read(t.Context())
		if err != nil {
			t.Errorf("%s: %v", test.name, err)
			continue
		}
		v := s.Values[0]
		if math.Abs(v.Value-test.value) > 1e-9 || v.Quantity != test.due || v.Quality != reading.Good || v.Kept {
			t.Errorf("%s: %+v, want %v %s", test.name, v, test.value, test.due)
		}
		if !v.At.Equal(test.at) || v.Ago.Round(time.Second) != test.ago {
			t.Errorf("%s: at %v, %v ago, want %v, %v", test.name, v.At, v.Ago, test.at, test.ago)
		}
	}
}

func TestRead_badFrames(t *testing.T) {
	lines := phrase.Lines{record("temperature", "it")}
	for frame, want := range map[string]drivers.FaultKind{
		`[{"n":"temperature","u":"Cel","v":"20"}]`: drivers.Garbled,
		`[{"n":"temperature","u":"Cel"}]`:          drivers.Garbled,
		`{"temperature":20}`:                       drivers.Garbled,
		``:                                         drivers.Garbled,
		`[{"n":"temperature","u":"Cel","vs":"warm"}]`:  drivers.Garbled,
		`[{"n":"temperature","u":"%RH","v":20}]`:       drivers.Settings,
		`[{"n":"furlongs","u":"Cel","v":20}]`:          drivers.NotReady,
		`[{"n":"undertemperature","u":"Cel","v":20}]`:  drivers.NotReady,
		`[{"n":"temperature","u":"lightyear","v":20}]`: drivers.Settings,
		strings.Repeat(" ", maxFrame+1):                drivers.Garbled,
	} {
		feed, p := opened(t, lines, drivers.Channel{Name: "it", Quantity: units.Temperature})
		feed.Publish(topic, []byte(frame))
		s, err := p.Read(t.Context())
		got := drivers.KindOf(err)
		if err == nil && s.Values[0].Fault != nil {
			got = s.Values[0].Fault.Kind
		}
		if got != want {
			t.Errorf("%.60q: %+v, %v, want Fault %s", frame, s.Values, err, want)
		}
	}
}

// A frame that the broker kept is used only with a time of its own.
func TestRead_retained(t *testing.T) {
	feed, p := opened(t, nil, air[:1]...)
	feed.Retain(topic, []byte(`[{"n":"temperature","u":"Cel","v":20}]`))
	if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.NotReady || !strings.Contains(err.Error(), "nobody knows how long") {
		t.Errorf("kept without time: %v, %v, want NotReady", s.Values, err)
	}
	feed.Retain(topic, []byte(`[{"n":"temperature","u":"Cel","v":20,"t":1.276020076001e+09}]`))
	s, err := p.Read(t.Context())
	if err != nil || !s.Values[0].Kept || s.Values[0].At.IsZero() || s.Values[0].Value != 20 || s.Values[0].Quality != reading.Uncertain {
		t.Errorf("kept with time: %+v, %v, want it uncertain, with its own time", s.Values, err)
	}
	// The broker sends it again when the connection comes back: a silent probe must not look alive.
	feed.Retain(topic, []byte(`[{"n":"temperature","u":"Cel","v":20,"t":1.276020076001e+09}]`))
	if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.NotReady {
		t.Errorf("kept, sent again: %+v, %v, want NotReady", s.Values, err)
	}
	feed.Publish(topic, []byte(`[{"n":"temperature","u":"Cel","v":21,"t":1.276020000e+09}]`))
	if s, err := p.Read(t.Context()); err != nil || s.Values[0].Value != 21 || s.Values[0].Quality != reading.Good {
		t.Errorf("live, with an older time: %+v, %v, want it good: arrival decides", s.Values, err)
	}
	feed, p = opened(t, phrase.Lines{form("number", "", 0)}, air[:1]...)
	feed.Retain(topic, []byte("20"))
	if s, err := p.Read(t.Context()); drivers.KindOf(err) != drivers.NotReady {
		t.Errorf("kept number: %v, %v, want NotReady", s.Values, err)
	}
}

func TestRead_bareNumbers(t *testing.T) {
	tests := []struct {
		text  string
		scale string
		due   units.Quantity
		want  float64
		kind  drivers.FaultKind
	}{
		{"23.5", "", units.Temperature, 23.5, 0}, {"235", "0.1 °C", units.Temperature, 23.5, 0}, {"68", "1 °F", units.Temperature, 20, 0}, {"-1.5e1", "", units.Temperature, -15, 0},
		{"on", "", units.State, 1, 0}, {"FALSE", "", units.State, 0, 0}, {"1", "", units.State, 1, 0},
		{"NaN", "", units.Temperature, 0, drivers.Garbled}, {"+Inf", "", units.Temperature, 0, drivers.Garbled}, {"0x10", "", units.Temperature, 0, drivers.Garbled},
		{"1_000", "", units.Temperature, 0, drivers.Garbled}, {"4,2", "", units.PH, 0, drivers.Garbled}, {"on", "", units.Temperature, 0, drivers.Garbled}, {"", "", units.PH, 0, drivers.Garbled},
	}
	for _, test := range tests {
		feed, p := opened(t, phrase.Lines{form("number", test.scale, test.due)}, drivers.Channel{Name: "it", Quantity: test.due})
		feed.Publish(topic, []byte(test.text))
		s, err := p.Read(t.Context())
		if drivers.KindOf(err) != test.kind || err == nil && math.Abs(s.Values[0].Value-test.want) > 1e-9 {
			t.Errorf("%q: %+v, %v, want %v, Fault %v", test.text, s.Values, err, test.want, test.kind)
		}
	}
}

func TestOpen_refuses(t *testing.T) {
	feed := radiotest.New()
	for name, s := range map[string]drivers.Site{
		"two points from one number": site(feed, phrase.Lines{form("number", "", 0)}, air...),
		"nothing given":              site(feed, nil),
		"no broker":                  {Place: phrase.Line{Slots: []phrase.Slot{word(topic)}}, Gives: air},
		"wildcard":                   {Bus: drivers.Bus{Radio: feed}, Place: phrase.Line{Slots: []phrase.Slot{word("store/#")}}, Gives: air},
	} {
		if _, err := Driver.Open(t.Context(), s); drivers.KindOf(err) != drivers.Settings {
			t.Errorf("%s: Open() = %v, want Settings", name, err)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(`[{"n":"temperature","u":"Cel","v":20,"t":-5}]`), false)
	f.Add([]byte(`[{"n":"temperature","v":20,"t":1.276020076001e+09}]`), true)
	f.Add([]byte("23.5"), false)
	f.Fuzz(func(t *testing.T, frame []byte, retained bool) {
		for _, lines := range []phrase.Lines{nil, {form("number", "", 0)}} {
			feed, p := opened(t, lines, air[:1]...)
			if retained {
				feed.Retain(topic, frame)
			} else {
				feed.Publish(topic, frame)
			}
			s, err := p.Read(t.Context())
			if err != nil {
				if drivers.KindOf(err) == 0 {
					t.Errorf("Read() = %v, want a Fault", err)
				}
				continue
			}
			for _, v := range s.Values {
				if (v.Fault == nil) == (math.IsNaN(v.Value) || math.IsInf(v.Value, 0)) || v.Ago < 0 {
					t.Errorf("Read() = %+v", v)
				}
			}
		}
	})
}

func TestToBase_vectors(t *testing.T) {
	content, err := os.ReadFile("../../testdata/vectors/radio.txt")
	if err != nil {
		t.Fatal(err)
	}
	rows := 0
	for line := range strings.Lines(string(content)) {
		words := strings.Fields(line)
		if len(words) < 5 || words[0] == "#" {
			continue
		}
		rows++
		due, known := units.ByName(words[1])
		sent, err1 := strconv.ParseFloat(words[2], 64)
		want, err2 := strconv.ParseFloat(words[3], 64)
		if !known || err1 != nil || err2 != nil {
			t.Fatalf("row %q", line)
		}
		q, got, ok := toBase(words[0], sent, due)
		if !ok || q != due || math.Abs(got-want) > 1e-9*math.Abs(want) {
			t.Errorf("%v %s as %s = %v %s, want %v", sent, words[0], due, got, q, want)
		}
	}
	if rows < 15 {
		t.Errorf("%d rows, want the whole table", rows)
	}
	if _, _, ok := toBase("Cel", 1, units.Humidity); ok {
		t.Error("a temperature became a humidity")
	}
}
