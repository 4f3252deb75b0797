package check

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path"
	"path/filepath"
	"reflect"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"millwarden/internal/diag"
	"millwarden/internal/units"
	"millwarden/rules/engine"
	"millwarden/rules/standard"
	"millwarden/rules/syntax"
)

func good(t testing.TB, name string) (*Plan, diag.List) {
	t.Helper()
	plan, list, sources := Load(os.DirFS("../../testdata/rules/good"), name, declared(t))
	if plan == nil {
		t.Fatalf("%s is refused:\n%s", name, errorsIn(list, sources))
	}
	return plan, list
}

func errorsIn(list diag.List, sources diag.Sources) string {
	var b strings.Builder
	for _, d := range list {
		if d.Severity == diag.Error {
			_ = (diag.List{d}).Print(&b, sources)
		}
	}
	return b.String()
}

// Aim: every example of the language is taken. small.rules warns that nobody outside watches its board, and of nothing else (index of the
// examples that came with the language).
func TestLoad_examples(t *testing.T) {
	for _, name := range []string{"additions.rules", "fern-hollow.rules", "millers-twenty.rules", "three-boards/hub.rules", "three-boards/mill.rules",
		"three-boards/deck-house.rules", "three-boards/roastery.rules"} {
		good(t, name)
	}
	_, list := good(t, "small.rules")
	if len(list) != 1 || list[0].Code != "W10" {
		t.Errorf("small.rules says %v, want W10 alone", list)
	}
}

// Aim: the figures that the index of the examples gives of Fern Hollow (21 stations, 58 probes) and of the built-in subjects (71 alarms, 33
// prompts, 2 events, 77 limits) are what the checker sees.
func TestLoad_figures(t *testing.T) {
	plan, _ := good(t, "fern-hollow.rules")
	if n := len(plan.Stations) - 1; n != 21 { // one is this board
		t.Errorf("Fern Hollow has %d stations, want 21", n)
	}
	if n := len(plan.Probes); n != 58 {
		t.Errorf("Fern Hollow has %d probes, want 58", n)
	}
	_, _, sources := Load(fstest.MapFS{"m.rules": {Data: []byte("site a\n    timezone UTC\nuse " + strings.Join(standard.Subjects(), ", ") + "\n")}}, "m.rules", declared(t))
	count := map[string]int{}
	for name, text := range sources {
		if !strings.HasPrefix(name, "standard/") {
			continue
		}
		for line := range strings.Lines(text) {
			word, _, _ := strings.Cut(line, " ")
			count[word]++
		}
	}
	if count["alarm"] != 71+6 || count["prompt"] != 33+3 || count["event"] != 2 || count["limit"] != 77+2 {
		t.Errorf("the built-in subjects hold %d alarms, %d prompts, %d events, %d limits; want 77, 36, 2, 79: those of the index, disk-full, file-set-aside, readings-damaged, three of a modem, enter-reading, and two that ask whether a bed or a bin was emptied", count["alarm"], count["prompt"], count["event"], count["limit"])
	}
}

// Aim: the whole way of one probe into the plan, with all that is left out filled in from the tables of the language.
func TestLoad_small(t *testing.T) {
	plan, _ := good(t, "small.rules")
	s := plan.Site
	if s.Name != "small-mill" || s.ZoneName != "America/Lima" || s.Zone.String() != "America/Lima" || s.Altitude != 1450 || s.Keep != 800*24*time.Hour ||
		s.Night.From != 20*60 || s.Night.To != 6*60 || s.Board != "board" || s.Language != "en" {
		t.Errorf("the site is %+v", s)
	}
	i := slices.IndexFunc(plan.Probes, func(p Probe) bool { return p.Name == "tank-1-electrode" })
	p := plan.Probes[i]
	if p.Part != "ads1115" || p.Bus != "i2c-1" || p.Every != 10*time.Second || p.OverdueAfter != 30*time.Second || p.Slope != 1 || p.Compensated != "tank-1/temperature" {
		t.Errorf("the probe is %+v", p)
	}
	if len(p.Gives) != 1 || p.Gives[0] != (Give{Point: "tank-1/ph", Station: "tank-1", Channel: "ph", Quantity: units.PH, Range: Range{0, 14}}) {
		t.Errorf("the probe gives %+v", p.Gives)
	}
	channel, _ := p.Settings.Find("channel")
	if len(channel.Slots) != 2 || channel.Slots[0].Text != "ain0" || channel.Slots[1].Given || channel.Slots[1].Amount != (units.Amount{Value: 4.096, Quantity: units.Voltage}) {
		t.Errorf("channel is %+v, want ain0 and the default of 4.096 V", channel)
	}
	a := alarmOf(t, plan, "over-fermented@tank-1")
	if a.OnDelay != 5*time.Minute || a.OffDelay != 10*time.Minute || a.Priority != engine.High || a.Shelvable != time.Hour || a.When.Deadband != 0.1 ||
		a.When.Args[1].Value != 4.2 || !slices.Equal(a.DependsOn, []string{"badly-over@tank-1"}) || a.File != "standard/fermentation.rules" || len(a.VerifyWith) != 3 {
		t.Errorf("the alarm is %+v", a)
	}
	ph, ok := plan.Point("tank-1/ph")
	if !ok || len(ph.Limits) < 3 || ph.Limits[0] != (PointLimit{Alarm: "over-fermented@tank-1", Kind: engine.KindAlarm, Priority: engine.High, Limit: "over-fermented-ph", Value: 4.2}) {
		t.Errorf("the limits of ph are %+v", ph.Limits)
	}
	if len(plan.Watches) != 0 || len(plan.People) != 1 || plan.People[0].Language != "es" || plan.Page.Listen != "127.0.0.1:8420" || plan.Broker.Root != "millwarden" {
		t.Errorf("people %+v, page %+v, broker %+v", plan.People, plan.Page, plan.Broker)
	}
	if len(plan.Hash) != 64 {
		t.Errorf("the hash is %q", plan.Hash)
	}
}

func alarmOf(t testing.TB, plan *Plan, id string) *engine.Alarm {
	t.Helper()
	for i := range plan.Engine.Alarms {
		if plan.Engine.Alarms[i].ID == id {
			return &plan.Engine.Alarms[i]
		}
	}
	t.Fatalf("there is no alarm %s", id)
	return nil
}

// Aim: overrides, changes and what is left out, as Fern Hollow writes them.
func TestLoad_overrides(t *testing.T) {
	plan, _ := good(t, "fern-hollow.rules")
	for id, want := range map[string]float64{"over-fermented@tank-1": 4.1, "dryer-air-too-hot@dryer-1": 44, "hours-used-up@tank-3": 22 * 3600, "hours-used-up@tank-1": 18 * 3600} {
		if got := alarmOf(t, plan, id).When.Args[1].Value; got != want {
			t.Errorf("limit of %s is %v, want %v", id, got, want)
		}
	}
	soaked := alarmOf(t, plan, "soaked-too-long@tank-1")
	if soaked.Priority != engine.High || !slices.Equal(soaked.Call, []string{"owner-watch"}) {
		t.Errorf("soaked-too-long has priority %v and calls %v, want what change says", soaked.Priority, soaked.Call)
	}
	if slices.ContainsFunc(plan.Engine.Alarms, func(a engine.Alarm) bool { return a.ID == "deck-unstirred-in-sun@deck-c" }) {
		t.Error("deck-unstirred-in-sun@deck-c was left out, and is there")
	}
	alarmOf(t, plan, "deck-unstirred-in-sun@deck-a")
	if len(plan.LeftOut) != 1 || plan.LeftOut[0].Because == "" {
		t.Errorf("left out: %+v", plan.LeftOut)
	}
	oxygen := alarmOf(t, plan, "oxygen-too-low@tank-room")
	if got := oxygen.When.Args[1]; got.Value != 195000 || got.Quantity != units.Concentration || oxygen.When.Deadband != 2000 {
		t.Errorf("oxygen limit is %v of %v with deadband %v, want 195000 ppm and 2000", got.Value, got.Quantity, oxygen.When.Deadband)
	}
	lost := alarmOf(t, plan, "measurement-lost@tank-1/ph")
	if !slices.Equal(lost.DependsOn, []string{"bus-silent@i2c-1", "board-not-heard@board"}) {
		t.Errorf("measurement-lost depends on %v", lost.DependsOn)
	}
	alarmOf(t, plan, "probes-disagree@tank-3/temperature") // the point that is voted on
	if slices.ContainsFunc(plan.Engine.Alarms, func(a engine.Alarm) bool { return a.ID == "probes-disagree@tank-1/temperature" }) {
		t.Error("one thermometer alone disagrees with nobody")
	}
	watch := plan.Watches[0]
	if watch.Name != "night" || len(watch.Steps) != 4 || watch.Steps[3].After != 15*time.Minute || !slices.Equal(watch.Steps[3].People, []string{"ana", "luis", "ben"}) {
		t.Errorf("the first watch is %+v", watch)
	}
}

// Aim: the printed form changes with condition, limit, deadband and delay, and with nothing else.
func TestLoad_printedForm(t *testing.T) {
	printed := func(condition string, more ...string) string {
		text := floor + "limit cold 16 °C\n    choice \"x\"\nalarm tried at tank-1\n    when            " + condition + "\n" + strings.Join(more, "\n") +
			"\n    priority        low\n    class           quality\n    consequence     \"a\"\n    action          \"b\"\n    respond-within  45 min\n"
		text += "prompt uses at tank-1\n    when temperature < cold\n    say \"x\"\n"
		plan, list := loadText(t, text)
		if plan == nil {
			t.Fatal(list)
		}
		return alarmOf(t, plan, "tried@tank-1").Printed
	}
	base := printed("temperature < cold")
	for _, same := range []string{printed("temperature  <  cold   # as before"), printed("TEMPERATURE < Cold"), printed("temperature < cold", "    cause \"new\"")} {
		if same != base {
			t.Errorf("layout changed the printed form:\n%s\n%s", base, same)
		}
	}
	for _, other := range []string{printed("temperature < 16 °C"), printed("temperature <= cold"), printed("temperature < cold", "    on-delay 1 s"),
		printed("temperature < cold", "    off-delay 1 s"), printed("temperature < cold", "    deadband 1 K"), printed("temperature < cold", "    while loaded"),
		strings.Replace(base, "16", "17", 1)} {
		if other == base {
			t.Errorf("a change left the printed form as it was: %s", base)
		}
	}
}

// Aim: a hub knows the stations, probes and points of its boards, and takes nothing else from their files.
func TestLoad_hub(t *testing.T) {
	plan, _ := good(t, "three-boards/hub.rules")
	ph, ok := plan.Point("tank-1/ph")
	if !ok || ph.How != Remote {
		t.Errorf("tank-1/ph at the hub is %+v", ph)
	}
	for _, p := range plan.Probes {
		if !p.Remote || !strings.Contains(p.Bus, "/") && p.Bus != ByHand {
			t.Errorf("probe %s of another board hangs on %s", p.Name, p.Bus)
		}
	}
	if len(plan.Watches) != 2 || slices.ContainsFunc(plan.Channels, func(c Channel) bool { return c.Kind == "siren" }) {
		t.Errorf("the hub has watches %v and channels %v of its boards", plan.Watches, plan.Channels)
	}
	if got := alarmOf(t, plan, "dryer-air-too-hot@dryer-1").When.Args[1].Value; got != 45 {
		t.Errorf("dryer-air-high is %v, want 45 °C (113 °F)", got)
	}
	lost := alarmOf(t, plan, "measurement-lost@tank-1/ph")
	if !slices.Equal(lost.DependsOn, []string{"board-not-heard@mill"}) {
		t.Errorf("a point of the board mill depends on %v", lost.DependsOn)
	}
}

// Aim: what drivers read from a line stands where they look for it: choices, the options' own capitals, words alone, repetitions.
func TestLoad_slots(t *testing.T) {
	plan, list := loadText(t, `site a
    timezone UTC
    altitude 0 m
station bin-1 is bin
station bin-2 is bin
station yard is yard
bus line is serial
    port /dev/ttyUSB1
probe m1
    part modbus on tcp 192.0.2.20:502 unit 3
    register input 0 as int16 x 0.1 °F is temperature
    register holding 12 as float32 swapped x 1 %RH is humidity
    gives temperature, humidity at bin-1
probe m2
    part modbus on line unit 7
    register input 0 as int16 x 0.1 °C is temperature
    gives temperature at bin-2
probe pins
    part ads1115 on i2c-1 at 0x48
    channel AIN2
    table 400 mV is 8 %wb, 650 mV is 11 %wb,
          800 mV is 13 %wb
    gives moisture at bin-2
probe drops
    part counter on gpiochip0 line 22
    pulse 0.2 mm
    gives rainfall at yard
`)
	if plan == nil {
		t.Fatal(list)
	}
	probes := map[string]Probe{}
	for _, p := range plan.Probes {
		probes[p.Name] = p
	}
	m1 := probes["m1"]
	if len(m1.Place) != 4 || m1.Place[0].Text != "tcp 192.0.2.20:502" || m1.Place[1].Text != "192.0.2.20:502" || m1.Place[2].Given || m1.Place[3].Amount.Value != 3 {
		t.Errorf("place of m1 is %+v", m1.Place)
	}
	if m1.Bus != "tcp-192-0-2-20-502" {
		t.Errorf("m1 hangs on %s", m1.Bus)
	}
	first, second := m1.Settings[0].Slots, m1.Settings[1].Slots
	if len(first) != 6 || first[0].Text != "input" || first[2].Text != "int16" || first[3].Given || first[4].Unit != "°F" || first[5].Text != "temperature" {
		t.Errorf("first register is %+v", first)
	}
	if !second[3].Given || second[1].Amount.Value != 12 || second[2].Text != "float32" {
		t.Errorf("second register is %+v", second)
	}
	m2 := probes["m2"]
	if m2.Place[0].Text != "line" || m2.Place[1].Given || m2.Place[2].Text != "line" || m2.Bus != "line" {
		t.Errorf("place of m2 is %+v", m2.Place)
	}
	table, _ := probes["pins"].Settings.Find("table")
	if len(table.Slots) != 6 || table.Slots[4].Amount.Value != 0.8 || table.Slots[5].Amount != (units.Amount{Value: 13, Quantity: units.Moisture}) {
		t.Errorf("the table is %+v", table.Slots)
	}
	if g := probes["pins"].Gives[0]; g.Range != (Range{8, 13}) || g.Channel != "table" {
		t.Errorf("pins give %+v", g)
	}
	if g := probes["drops"].Gives[0]; g.Quantity != units.Length {
		t.Errorf("drops give %+v", g)
	}
}

// Aim: files that read one another stay within the folder and the bounds.
func TestLoad_files(t *testing.T) {
	files := fstest.MapFS{"site.rules": {Data: []byte("site a\n    timezone UTC\n    altitude 0 m\ninclude \"a.rules\"\n")},
		"a.rules": {Data: []byte("include \"site.rules\"\ninclude \"gone.rules\"\ninclude \"/etc/passwd\"\n")}}
	_, list, _ := Load(files, "site.rules", nil)
	if got := codes(list, diag.Error); got != "25 25 25" {
		t.Errorf("messages %q, want three of 25: %v", got, list)
	}
	deep := fstest.MapFS{"0.rules": {Data: []byte("site a\n    timezone UTC\n    altitude 0 m\ninclude \"1.rules\"\n")}}
	for i := 1; i < 12; i++ {
		deep[string(rune('0'+i))+".rules"] = &fstest.MapFile{Data: []byte("include \"" + string(rune('1'+i)) + ".rules\"\n")}
	}
	_, list, _ = Load(deep, "0.rules", nil)
	if got := codes(list, diag.Error); got != "25" {
		t.Errorf("messages %q, want 25 for the ninth file: %v", got, list)
	}
	_, list, _ = Load(fstest.MapFS{}, "none.rules", nil)
	if got := codes(list, diag.Error); got != "25" {
		t.Errorf("messages %q for a missing file, want 25 alone", got)
	}
	big := fstest.MapFS{"m.rules": {Data: []byte("site a\n    timezone UTC\n    altitude 0 m\ninclude \"big.rules\"\n")},
		"big.rules": {Data: []byte(strings.Repeat("# nothing\n", maxText/10))}}
	_, list, _ = Load(big, "m.rules", nil)
	if got := codes(list, diag.Error); got != "25" {
		t.Errorf("messages %q for a megabyte, want 25", got)
	}
}

// Aim: the hash is over every text that decides, the included and the built-in ones too.
func TestLoad_hash(t *testing.T) {
	load := func(included string) string {
		plan, list, _ := Load(fstest.MapFS{"m.rules": {Data: []byte("site a\n    timezone UTC\n    altitude 0 m\ninclude \"x/b.rules\"\nuse board\n")},
			"x/b.rules": {Data: []byte(included)}}, "m.rules", declared(t))
		if plan == nil {
			t.Fatal(list)
		}
		if !slices.Equal(plan.Files, []string{"m.rules", "x/b.rules", "standard/board.rules"}) {
			t.Errorf("files are %v", plan.Files)
		}
		return plan.Hash
	}
	if a, again, b := load("area a\n"), load("area a\n"), load("area b\n"); a == b || a != again {
		t.Error("the hash does not follow the included text")
	}
}

// Aim: at most a hundred messages, errors before all others, then how many more.
func TestLoad_manyMessages(t *testing.T) {
	var b strings.Builder
	b.WriteString("site a\n    timezone UTC\n    altitude 0 m\n")
	for range 150 {
		b.WriteString("station x is tnak\n") // one unknown kind, 149 names that stand twice, and W10
	}
	_, list := loadText(t, b.String())
	if len(list) != maxMessages+1 || list[maxMessages].Summary != "and 51 more" || !list.HasErrors() {
		t.Errorf("%d messages, the last %+v", len(list), list[len(list)-1])
	}
}

func benchmarkLoad(b *testing.B, name string) {
	words := declared(b)
	files := os.DirFS("../../testdata/rules/good")
	if _, err := fs.Stat(files, path.Clean(name)); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if plan, list, _ := Load(files, name, words); plan == nil {
			b.Fatal(list)
		}
	}
}

func BenchmarkLoad_small(b *testing.B)      { benchmarkLoad(b, "small.rules") }
func BenchmarkLoad_fernHollow(b *testing.B) { benchmarkLoad(b, "fern-hollow.rules") }

const thousand = 1000

// thousandAlarms is the text of a site with so many.
func thousandAlarms() []byte {
	var text strings.Builder
	text.WriteString("site big\n    timezone        America/Lima\n    altitude        1450 m\n\n")
	for i := range 50 {
		fmt.Fprintf(&text, "station bin-%d is bin\n\nprobe bin-%d\n    part            radio on topic bin/%d\n    gives           temperature, humidity at bin-%d\n    every           60 s\n\n", i, i, i, i)
	}
	for i := range thousand {
		fmt.Fprintf(&text, "alarm warm-%d at bin-%d\n    when            mean(temperature, 1 h) > %d °C and humidity > 60 %%RH\n    deadband        1 °C, 2 %%RH\n    on-delay        5 min\n"+
			"    priority        low\n    class           quality\n    consequence     \"The lot fades.\"\n    action          \"Air the store, move the bin.\"\n    respond-within  8 h\n\n", i, i%50, 25+i%20)
	}
	return []byte(text.String())
}

// TestLoad_sideBySide: one processor and several give the same plan, and say the same in the same order.
func TestLoad_sideBySide(t *testing.T) {
	words := declared(t)
	good := thousandAlarms()
	faulty := bytes.ReplaceAll(good, []byte("warm-77 at bin-27\n    when            mean"), []byte("warm-77 at bin-27\n    when            maen"))
	faulty = bytes.ReplaceAll(faulty, []byte("warm-901 at bin-1\n"), []byte("warm-901 at bim-1\n"))
	faulty = bytes.ReplaceAll(faulty, []byte("29 °C"), []byte("29 K"))
	type answer struct {
		plan *Plan
		list diag.List
	}
	load := func(processors int, text []byte) answer {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
		plan, list, _ := Load(fstest.MapFS{"big.rules": {Data: text}}, "big.rules", words)
		return answer{plan, list}
	}
	for name, text := range map[string][]byte{"good": good, "faulty": faulty} {
		one := load(1, text)
		if (one.plan == nil) != (name == "faulty") || name == "faulty" && len(one.list) < 50 {
			t.Fatalf("%s: %v", name, one.list)
		}
		for _, processors := range []int{2, 5} {
			if !reflect.DeepEqual(load(processors, text), one) {
				t.Errorf("%s: %d processors give another plan, or say it in another order", name, processors)
			}
		}
	}
}

// BenchmarkLoad_thousandAlarms checks a file of a thousand alarms, with the collector of memory as the command has it that checks and ends, and as a process has it that goes on; against it, one reading of the file through a plain scanner of lines. Both
// open it; x-memory is the ratio to a scanner of the same text that lies in memory. How near checking can come is told by x-words, the ratio
// of cutting the text into words alone to the scanner, and by x-parsing, that of making the tree.
func BenchmarkLoad_thousandAlarms(b *testing.B) {
	b.Run("once", func(b *testing.B) {
		defer debug.SetGCPercent(debug.SetGCPercent(OnceGC))
		benchmarkThousandAlarms(b)
	})
	b.Run("within", benchmarkThousandAlarms)
}

func benchmarkThousandAlarms(b *testing.B) {
	words := declared(b)
	folder := b.TempDir()
	file := filepath.Join(folder, "big.rules")
	text := thousandAlarms()
	if err := os.WriteFile(file, text, 0o600); err != nil {
		b.Fatal(err)
	}
	files := os.DirFS(folder)
	known := newVocabulary(words)
	least := time.Duration(math.MaxInt64)
	checked, scanned, inMemory, cut, parsed := least, least, least, least, least
	timed := func(of *time.Duration, what func()) {
		begin := time.Now()
		what()
		*of = min(*of, time.Since(begin))
	}
	b.ReportAllocs()
	for b.Loop() {
		timed(&checked, func() {
			if plan, list, _ := Load(files, "big.rules", words); plan == nil || len(plan.Engine.Alarms) < thousand {
				b.Fatal(list)
			}
		})
		timed(&scanned, func() { scanFile(b, file) })
		timed(&inMemory, func() { scanLines(b, bytes.NewReader(text)) })
		timed(&cut, func() { bytes.Fields(text) })
		timed(&parsed, func() { syntax.ParseDeclared(file, string(text), known.declares) })
	}
	b.ReportMetric(float64(checked)/float64(scanned), "x-scanning")
	b.ReportMetric(float64(checked)/float64(inMemory), "x-memory")
	b.ReportMetric(float64(cut)/float64(scanned), "x-words")
	b.ReportMetric(float64(parsed)/float64(scanned), "x-parsing")
	b.ReportMetric(checked.Seconds()*1000, "ms")
	b.ReportMetric(scanned.Seconds()*1000, "ms-scan")
}

// scanFile reads a file line by line.
func scanFile(b *testing.B, name string) {
	f, err := os.Open(name)
	if err != nil {
		b.Fatal(err)
	}
	scanLines(b, f)
	if err := f.Close(); err != nil {
		b.Fatal(err)
	}
}

func scanLines(b *testing.B, r io.Reader) {
	lines := bufio.NewScanner(r)
	count := 0
	for lines.Scan() {
		count++
	}
	if count < 9*thousand || lines.Err() != nil {
		b.Fatal(count, lines.Err())
	}
}
