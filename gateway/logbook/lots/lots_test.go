package lots

import (
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"millwarden/internal/reading"
)

// farm enters steps as a gateway does, an hour apart.
type farm struct {
	t    testing.TB
	book *Book
	id   int64
	at   time.Time
}

func newFarm(t testing.TB) *farm {
	return &farm{t: t, book: New(nil), at: time.Date(2026, 5, 11, 15, 0, 0, 0, time.UTC)}
}

func (f *farm) try(text string) (Entry, []string, error) {
	f.t.Helper()
	var s Step
	if err := json.Unmarshal([]byte(text), &s); err != nil {
		f.t.Fatalf("%s: %v", text, err)
	}
	f.id++
	f.at = f.at.Add(time.Hour)
	e := Entry{ID: f.id, At: reading.Stamp{Wall: f.at, Mono: time.Duration(f.id) * time.Hour, Boot: 1, Set: true}, Who: "ana", Step: s}
	look, err := f.book.Try(e)
	return e, look, err
}

func (f *farm) enter(texts ...string) {
	f.t.Helper()
	for _, text := range texts {
		e, _, err := f.try(text)
		if err != nil {
			f.t.Fatalf("%s: %v", text, err)
		}
		f.book.Add(e)
	}
	if troubles := f.book.Troubles(); len(troubles) > 0 {
		f.t.Fatalf("what Try took, Add did not: %v", troubles)
	}
}

// whole is a lot from the cherry to the roaster. The weights follow the chain of trade.md section G: 550 cherry, 220 wet, 120 dry, 100 green.
var whole = []string{
	`{"act":"intake","lot":"143","kg":300,"cherry":"own","plot":"west","floaters":3,"ripe":96}`,
	`{"act":"intake","lot":"143","kg":250,"cherry":"bought","supplier":"n-12","floaters":0}`,
	`{"act":"load","lot":"143","station":"tank-1","kind":"tank"}`,
	`{"act":"check","station":"tank-1","gritty":"partly","meter":"4.8 pH"}`,
	`{"act":"move","station":"tank-1","kind":"tank","to":"deck-a","toKind":"deck","kg":220,"moisture":54}`,
	`{"act":"check","lot":"143","meter":"11.4 %wb","bite":"hard"}`,
	`{"act":"empty","station":"deck-a","kg":120,"moisture":11.2}`,
	`{"act":"load","lot":"143","station":"bin-1","kind":"bin","kg":120}`,
	`{"act":"empty","station":"bin-1","kg":119.5}`,
	`{"act":"hull","lot":"143","in":119.5,"kg":99.4,"moisture":11,"aw":0.56}`,
	`{"act":"grade","lot":"143","screens":[{"screen":17,"kg":52},{"screen":16,"kg":31}],"below":16,"primary":0,"secondary":3}`,
	`{"act":"load","lot":"143","station":"bin-2","kind":"bin"}`,
	`{"act":"load","lot":"143","station":"roaster-1","kind":"roaster","kg":12}`,
	`{"act":"empty","station":"roaster-1","kg":10.3}`,
	`{"act":"roast","lot":"143","in":12,"kg":10.2,"charge":204,"firstCrack":197,"firstCrackAt":560,"drop":212,"seconds":760}`,
}

func TestBook_cherryToRoasted(t *testing.T) {
	f := newFarm(t)
	f.enter(whole...)
	l := f.book.Lot("143")
	if l.Form != Green || math.Abs(float64(l.Kg)-75.4) > 1e-9 || l.Moisture != 11 || l.Place().Station != "bin-2" || len(l.Batches) != 2 {
		t.Errorf("lot %+v", l)
	}
	y := f.book.Yield("143")
	want := Yield{Cherry: 550, Wet: 220, Dry: 119.5, Green: 99.4, RoastedIn: 24, RoastedOut: 20.5, CherryGreen: 550 / 99.4, Outturn: 100 * 99.4 / 119.5, Usual: true,
		RoastLoss: 100 * (1 - float64(Kilograms(20.5)/Kilograms(24))), GreenAt11: 99.4}
	got, _ := json.Marshal(y)
	if expected, _ := json.Marshal(want); string(got) != string(expected) {
		t.Errorf("yield %s\nwant  %s", got, expected)
	}
	shown, ok := f.book.Show("143")
	if !ok || len(shown.Steps) != len(whole) || shown.Station != "bin-2" || len(shown.Stays) != 5 {
		t.Errorf("shown %v: %+v", ok, shown)
	}
}

// Every step that cannot be is refused with words that say what stands in the way, and changes nothing.
func TestBook_refuses(t *testing.T) {
	for _, c := range []struct {
		name  string
		first int // of whole
		also  []string
		step  string
		says  string
	}{
		{"two tanks at once", 3, nil, `{"act":"load","lot":"143","station":"tank-2","kind":"tank"}`, "stands in tank-1 since 18:00, and cannot be in two places: move it, or split it first"},
		{"two lots in one tank", 3, nil, `{"act":"load","lot":"144","station":"tank-1","kind":"tank"}`, "Lot 143 stands in tank-1 since 18:00: empty it first"},
		{"nothing there", 2, nil, `{"act":"empty","station":"tank-1"}`, "No lot stands in tank-1"},
		{"another lot there", 3, nil, `{"act":"empty","station":"tank-1","lot":"150"}`, "Lot 143 stands in tank-1, not 150"},
		{"a weight that grew", 5, nil, `{"act":"weigh","lot":"143","kg":260}`, "143 weighed 220 kg before and cannot weigh 260 kg now: weigh it again, or correct the earlier weight (entry 5)"},
		{"no such lot", 5, nil, `{"act":"weigh","lot":"150","kg":260}`, "There is no lot 150"},
		{"cherry to a lot on its way", 3, nil, `{"act":"intake","lot":"143","kg":50,"cherry":"own"}`, "on its way already"},
		{"hulled wet", 3, nil, `{"act":"hull","lot":"143","kg":90}`, "is pulped: it is hulled once it is dry"},
		{"hulled in its bin", 8, nil, `{"act":"hull","lot":"143","kg":90}`, "stands in bin-1: empty that first"},
		{"hulled twice", 10, nil, `{"act":"hull","lot":"143","kg":90}`, "is green already"},
		{"hulled in part", 9, nil, `{"act":"hull","lot":"143","in":50,"kg":40}`, "50 kg of 119.5 kg are hulled, and the rest is not: split it first"},
		{"more out than in", 9, nil, `{"act":"hull","lot":"143","in":119.5,"kg":140}`, "140 kg cannot come of 119.5 kg"},
		{"roasted before it is hulled", 9, nil, `{"act":"roast","lot":"143","in":12,"kg":10}`, "is parchment: hull it before it is roasted"},
		{"loaded into the roaster as parchment", 9, nil, `{"act":"load","lot":"143","station":"roaster-1","kind":"roaster","kg":12}`, "hull it before"},
		{"more than is left", 15, nil, `{"act":"roast","lot":"143","in":90,"kg":76}`, "Only 75.4 kg of 143 are left"},
		{"roasted heavier", 15, nil, `{"act":"roast","lot":"143","in":12,"kg":12.5}`, "12.5 kg cannot come of 12 kg"},
		{"the same batch", 15, nil, `{"act":"roast","lot":"143","in":12,"kg":10,"batch":"143-1"}`, "There is a batch 143-1"},
		{"graded parchment", 9, nil, `{"act":"grade","lot":"143","primary":0}`, "is parchment: green is graded"},
		{"screens that hold too much", 10, nil, `{"act":"grade","lot":"143","screens":[{"screen":16,"kg":200}]}`, "The screens hold 200 kg, and 99.4 kg are there. Is it a sample?"},
		{"parts that weigh too much", 9, nil, `{"act":"split","lot":"143","parts":[{"lot":"143-a","kg":80},{"lot":"143-b","kg":60}]}`, "The parts weigh 140 kg, and 119.5 kg are there"},
		{"split while it stands", 8, nil, `{"act":"split","lot":"143","parts":[{"lot":"143-a","kg":60},{"lot":"143-b"}]}`, "stands in bin-1: empty that first"},
		{"a part that is there", 9, nil, `{"act":"split","lot":"143","parts":[{"lot":"143-a","kg":60},{"lot":"143"}]}`, "143 stands there twice"},
		{"used up", 9, []string{`{"act":"split","lot":"143","parts":[{"lot":"143-a","kg":60},{"lot":"143-b"}]}`}, `{"act":"load","lot":"143","station":"bin-1","kind":"bin"}`, "Nothing is left of 143: it went into 143-b"},
		{"green with parchment", 10, []string{`{"act":"intake","lot":"144","kg":50,"cherry":"own"}`}, `{"act":"blend","lot":"9","parts":[{"lot":"143"},{"lot":"144"}]}`, "143 is green and 144 is cherry"},
		{"a blend of itself", 10, nil, `{"act":"blend","lot":"143","parts":[{"lot":"143"},{"lot":"144"}]}`, "143 stands there twice"},
		{"a time to come", 3, nil, `{"act":"empty","station":"tank-1","when":4102444800000}`, "has not come yet"},
		{"out before it went in", 3, nil, `{"act":"empty","station":"tank-1","when":1778500000000}`, "it cannot come out before"},
		{"a correction of nothing", 3, nil, `{"act":"correct","entry":99}`, "There is no entry 99"},
		{"a correction of another act", 3, nil, `{"act":"correct","entry":3,"instead":{"act":"weigh","lot":"143","kg":3}}`, "Entry 3 is load"},
		{"a correction that breaks what came later", 7, nil, `{"act":"correct","entry":5,"instead":{"act":"move","station":"tank-1","kind":"tank","to":"deck-a","toKind":"deck","kg":100}}`, "Then entry 7 (deck-a emptied, 120 kg, 11.2 %wb) would not hold"},
		{"struck, though it went on", 5, nil, `{"act":"correct","entry":3}`, "Then entry 4"},
	} {
		f := newFarm(t)
		f.enter(whole[:c.first]...)
		f.enter(c.also...)
		before, _ := json.Marshal(f.book.Lines())
		_, _, err := f.try(c.step)
		var r *Refusal
		if !errors.As(err, &r) || !strings.Contains(r.Says, c.says) {
			t.Errorf("%s: %v\nwant   ...%s", c.name, err, c.says)
		}
		if after, _ := json.Marshal(f.book.Lines()); string(before) != string(after) {
			t.Errorf("%s: the book changed:\n%s\n%s", c.name, before, after)
		}
	}
}

// What is wrong in itself is refused before it meets the book, with what to write.
func TestStep_valid(t *testing.T) {
	for text, says := range map[string]string{
		`{"act":"wash"}`: "There is no act",
		`{"act":"intake","lot":"143","cherry":"own"}`:                                       "Say the weight",
		`{"act":"intake","lot":"143","kg":12,"cherry":"bought"}`:                            "has a supplier",
		`{"act":"intake","lot":"143","kg":12,"cherry":"own","supplier":"x"}`:                "is it bought?",
		`{"act":"intake","lot":"143","kg":12,"cherry":"stolen"}`:                            "cherry is own, bought",
		`{"act":"intake","lot":"143","kg":-12,"cherry":"own"}`:                              "kg -12 cannot be",
		`{"act":"intake","lot":"143","kg":12,"cherry":"own","ripe":101}`:                    "ripe 101 cannot be",
		`{"act":"load","lot":"-","station":"tank-1"}`:                                       "is no name of a lot",
		`{"act":"load","lot":"143\n","station":"tank-1"}`:                                   "is no name of a lot",
		`{"act":"load","lot":"143","station":"tank-1","drop":200}`:                          "drop does not go with load",
		`{"act":"load","lot":"143"}`:                                                        "Say which station",
		`{"act":"check","lot":"143"}`:                                                       "Say what was found",
		`{"act":"check","gritty":"yes"}`:                                                    "Say which lot or station",
		`{"act":"check","lot":"143","meter":"11.8"}`:                                        "write it with its unit",
		`{"act":"check","lot":"143","meter":"99 %wb"}`:                                      "No meter shows",
		`{"act":"check","lot":"143","gritty":"very"}`:                                       "gritty is no, partly, yes",
		`{"act":"grade","lot":"143","screens":[{"screen":17,"kg":1},{"screen":17,"kg":1}]}`: "stands there twice",
		`{"act":"grade","lot":"143","screens":[{"screen":40,"kg":1}]}`:                      "Screen 40 cannot be",
		`{"act":"blend","lot":"9","parts":[{"lot":"143"}]}`:                                 "two lots or more",
		`{"act":"roast","lot":"143","in":12,"kg":10,"firstCrackAt":900,"seconds":800}`:      "First crack comes before the drop",
		`{"act":"correct","entry":3,"instead":{"act":"correct","entry":2}}`:                 "first entry again",
		`{"act":"correct","entry":3,"instead":{"act":"load","lot":"143"}}`:                  "Say which station",
		`{"act":"move","station":"deck-a","to":"deck-a"}`:                                   "stands in deck-a already",
	} {
		var s Step
		if err := json.Unmarshal([]byte(text), &s); err != nil {
			t.Fatal(err)
		}
		if err := s.Valid(); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v, want ...%s", text, err, says)
		}
	}
	for _, text := range whole {
		var s Step
		if err := json.Unmarshal([]byte(text), &s); err != nil || s.Valid() != nil {
			t.Errorf("%s: %v, %v", text, err, s.Valid())
		}
	}
}

// A corrected book is the one that would have been, had the right thing been entered at once; the record keeps both.
func TestBook_corrections(t *testing.T) {
	f := newFarm(t)
	f.enter(whole...)
	f.enter(`{"act":"correct","entry":10,"note":"misread","instead":{"act":"hull","lot":"143","in":119.5,"kg":98.4,"moisture":11,"aw":0.56}}`,
		`{"act":"correct","entry":15}`)
	right := newFarm(t)
	for i, text := range whole[:14] {
		if i == 9 {
			text = strings.Replace(text, "99.4", "98.4", 1)
		}
		right.enter(text)
	}
	if got, want := f.book.Yield("143"), right.book.Yield("143"); got != want {
		t.Errorf("yield %+v, want %+v", got, want)
	}
	if got, want := f.book.Lot("143").Kg, right.book.Lot("143").Kg; got != want {
		t.Errorf("left %v, want %v", got, want)
	}
	steps := f.book.Steps("143")
	if s := steps[9]; s.CorrectedBy != 16 || s.Was != "143 hulled, 119.5 kg in, 99.4 kg out, 11 %wb, aw 0.56" || s.Why != "misread" || s.Struck {
		t.Errorf("step 10 %+v", s)
	}
	if s := steps[14]; !s.Struck || s.CorrectedBy != 17 {
		t.Errorf("step 15 %+v", s)
	}
}

// Splits and blends carry the shares of weights along; the moisture of a blend is the mean by weight on wet basis (CHK-42: 100 kg at 12 % and 50 kg at 10 % are
// 150 kg at 11.33 %).
func TestBook_sharesOfSplitsAndBlends(t *testing.T) {
	f := newFarm(t)
	f.enter(whole[:9]...)
	f.enter(`{"act":"split","lot":"143","parts":[{"lot":"143-a","kg":59.75},{"lot":"143-b"}]}`,
		`{"act":"hull","lot":"143-b","kg":49.8}`)
	if y := f.book.Yield("143-b"); math.Abs(float64(y.Cherry)-275) > 1e-9 || y.Dry != 59.75 || math.Abs(y.Outturn-100*49.8/59.75) > 1e-9 {
		t.Errorf("half of a lot: %+v", y)
	}
	if y := f.book.Yield("143"); y.Cherry != 550 || y.Dry != 119.5 {
		t.Errorf("the lot that was split: %+v", y)
	}
	f = newFarm(t)
	for _, lot := range []struct{ name, kg, moisture string }{{"1", "100", "12"}, {"2", "50", "10"}} {
		f.enter(`{"act":"intake","lot":"`+lot.name+`","kg":600,"cherry":"own"}`, `{"act":"load","lot":"`+lot.name+`","station":"deck-a","kind":"deck"}`,
			`{"act":"empty","station":"deck-a","kg":130}`, `{"act":"hull","lot":"`+lot.name+`","kg":`+lot.kg+`,"moisture":`+lot.moisture+`}`)
	}
	f.enter(`{"act":"blend","lot":"house","parts":[{"lot":"1"},{"lot":"2"}]}`)
	house := f.book.Lot("house")
	if house.Kg != 150 || math.Abs(float64(house.Moisture)-11.3333) > 1e-4 || house.Form != Green || !f.book.Lot("1").Used {
		t.Errorf("blend %+v", house)
	}
	if y := f.book.Yield("house"); y.Cherry != 1200 || y.Green != 150 {
		t.Errorf("yield of the blend %+v", y)
	}
}

// The book is the fold over its entries and nothing else: any steps, taken or refused, that stand in a record give the same book when it is read again, and a
// trial changes nothing.
func FuzzBook(f *testing.F) {
	f.Add(strings.Join(whole, "\n"))
	f.Add(whole[0] + "\n" + `{"act":"correct","entry":1}` + "\n" + whole[0])
	f.Add(`{"act":"load","lot":"1","station":"t"}` + "\n" + `{"act":"move","station":"t","to":"d"}` + "\n" + `{"act":"correct","entry":1,"instead":{"act":"load","lot":"2","station":"t"}}`)
	f.Fuzz(func(t *testing.T, text string) {
		book, again := New(nil), New(nil)
		at := time.Date(2026, 5, 11, 15, 0, 0, 0, time.UTC)
		var entries []Entry
		for i, line := range strings.Split(text, "\n") {
			var s Step
			if json.Unmarshal([]byte(line), &s) != nil || len(entries) > 60 {
				continue
			}
			e := Entry{ID: int64(len(entries) + 1), At: reading.Stamp{Wall: at.Add(time.Duration(i) * time.Hour), Set: true}, Step: s}
			before, _ := json.Marshal(book.Lines())
			_, err := book.Try(e)
			if after, _ := json.Marshal(book.Lines()); string(before) != string(after) {
				t.Fatalf("trying %s changed the book", line)
			}
			troubles := len(book.Troubles())
			if err != nil {
				continue
			}
			book.Add(e)
			entries = append(entries, e)
			if len(book.Troubles()) > troubles {
				t.Fatalf("%s was tried well and did not hold: %v", line, book.Troubles())
			}
		}
		for _, e := range entries {
			again.Add(e)
		}
		one, err := json.Marshal(all(book))
		if err != nil {
			t.Fatal(err)
		}
		if two, _ := json.Marshal(all(again)); !reflect.DeepEqual(one, two) {
			t.Fatalf("read again it is another book:\n%s\n%s", one, two)
		}
		places := map[string]int{}
		for _, s := range book.Standing() {
			if s.Kind != "roaster" {
				places[s.Lot]++
			}
			if places[s.Lot] > 1 {
				t.Fatalf("lot %s stands in two places", s.Lot)
			}
		}
		for _, l := range book.Lots() {
			if l.Kg < 0 {
				t.Fatalf("lot %s weighs %v kg", l.Name, l.Kg)
			}
		}
	})
}

func all(b *Book) (list []Shown) {
	for _, l := range b.Lots() {
		s, _ := b.Show(l.Name)
		list = append(list, s)
	}
	return list
}

// A season of lots is folded soon enough for a start: 5,000 lots of 15 entries.
func BenchmarkBook_season(b *testing.B) {
	var entries []Entry
	for i := range 5000 {
		for _, text := range whole {
			var s Step
			name := strings.ReplaceAll(text, `"143"`, `"`+time.Duration(i).String()+`"`)
			if err := json.Unmarshal([]byte(name), &s); err != nil {
				b.Fatal(err)
			}
			if s.Station == "bin-2" {
				continue
			}
			entries = append(entries, Entry{ID: int64(len(entries) + 1), At: reading.Stamp{Wall: time.Unix(int64(1e9+len(entries)*60), 0), Set: true}, Step: s})
		}
	}
	for b.Loop() {
		book := New(nil)
		for _, e := range entries {
			book.Add(e)
		}
		if len(book.Troubles()) > 0 {
			b.Fatal(book.Troubles()[0])
		}
	}
	b.ReportMetric(float64(len(entries)), "entries")
}

// 100 kg at 53 % weigh 52.809 kg at 11 % (CHK-03): a lot on the scale tells its moisture.
func TestLot_moistureByWeight(t *testing.T) {
	f := newFarm(t)
	f.enter(whole[:3]...)
	f.enter(`{"act":"empty","station":"tank-1","kg":100,"moisture":53}`, `{"act":"load","lot":"143","station":"deck-a","kind":"deck"}`, `{"act":"weigh","lot":"143","kg":52.809}`)
	if m, ok := f.book.Lot("143").MoistureByWeight(); !ok || math.Abs(float64(m)-11) > 0.001 {
		t.Errorf("moisture by weight %v, %v, want 11", m, ok)
	}
	f.enter(`{"act":"weigh","lot":"143","kg":52.7,"moisture":10.8}`)
	if _, ok := f.book.Lot("143").MoistureByWeight(); ok {
		t.Error("a measured moisture was reckoned by weight all the same")
	}
}
