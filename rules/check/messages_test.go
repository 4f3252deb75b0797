package check

import (
	"fmt"
	"strings"
	"testing"

	"millwarden/internal/diag"
)

// Aim: what the archive of mistakes does not show, or shows in one form only. The numbers are those of the table of messages of the
// language; an empty one is taken without a word.
func TestMessages_more(t *testing.T) {
	probe := func(lines ...string) string { return "probe more\n    " + strings.Join(lines, "\n    ") + "\n" }
	pairs := make([]string, 65)
	for i := range pairs {
		pairs[i] = fmt.Sprintf("%d mV is %d.%d %%wb", i+1, i/10+1, i%10)
	}
	for _, tt := range []struct{ name, text, want string }{
		{"two channels fit", probe("part bme280 on i2c-9 at 0x76", "gives lid at yard"), "35"},
		{"as decides", probe("part bme280 on i2c-9 at 0x76", "gives lid at yard as pressure"), ""},
		{"as a channel that is none", probe("part bme280 on i2c-9 at 0x76", "gives lid at yard as preasure"), "22"},
		{"as another quantity", probe("part bme280 on i2c-9 at 0x76", "gives moisture at bin-1 as pressure"), "32"},
		{"aside only by as", probe("part max31856 on spi-0 select 1", "gives bean-temperature at dryer-1"), ""},
		{"table too long", probe("part ads1115 on i2c-9 at 0x48", "channel ain0", "table "+strings.Join(pairs, ",\n          "), "gives lid at bin-1"), "75"},
		{"table of one pair", probe("part ads1115 on i2c-9 at 0x48", "channel ain0", "table 1 mV is 1 %wb", "gives lid at bin-1"), "36"},
		{"no bus of that name", probe("part modbus on lime unit 3", "register input 0 as int16 is x", "gives lid at bin-1"), "22"},
		{"another kind of bus", "bus line is serial\n    port /dev/ttyUSB1\n" + probe("part sht4x on line at 0x44", "gives humidity at tank-1"), "29"},
		{"kind of bus", "bus line is cereal\n    port /dev/ttyUSB1\n", "22"},
		{"bus without its port", "bus line is serial\n    speed 9600\n", "16"},
		{"neither register nor contact", probe("part modbus on tcp 192.0.2.1:502 unit 3", "gives lid at bin-1"), "16"},
		{"none of three", probe("part ads1115 on i2c-9 at 0x48", "channel ain0", "gives lid at bin-1"), "16"},
		{"part at the place of another", probe("part sht3x on i2c-1 at 0x44", "gives lid at bin-1 as humidity"), "31"},
		{"line slipped to the right", probe("part ads1115 on i2c-9 at 0x48", "   channel ain0", "electrode", "gives ph at tank-2"), ""},
		{"point in a slot that is not there", probe("part ads1115 on i2c-9 at 0x48", "channel ain0", "electrode compensated by tank-2/ph", "gives ph at tank-3"), "53"},
		{"computed point given", probe("part ds18b20 28-0316a2794b99", "gives dew-point at yard"), "23"},
		{"range of another unit", probe("part ds18b20 28-0316a2794b99", "gives wall-temperature at bin-1", "range 0 .. 60 %RH"), "79"},
		{"range without unit", probe("part ds18b20 28-0316a2794b99", "gives wall-temperature at bin-1", "range 0 .. 60"), "5"},
		{"overdue before it is due", probe("part ds18b20 28-0316a2794b99", "gives wall-temperature at bin-1", "every 1 min", "overdue-after 30 s"), "17"},
		{"offset as a difference", probe("part ds18b20 28-0316a2794b99", "gives wall-temperature at bin-1", "offset -0.4 °C"), ""},
		{"offset of another quantity", probe("part ds18b20 28-0316a2794b99", "gives wall-temperature at bin-1", "offset -0.4 pH"), "79"},
		{"slope beyond its ends", probe("part ds18b20 28-0316a2794b99", "gives wall-temperature at bin-1", "slope 3"), "18"},
		{"rate-limit that is no rate", probe("part ds18b20 28-0316a2794b99", "gives wall-temperature at bin-1", "rate-limit 3 K"), "79"},
		{"point derived and given", "point temperature at bin-1 is humidity\n", "32"},
		{"point of another quantity than its kind's", "point moisture at tank-1 is temperature\npoint wall-temperature at bin-1 is humidity\n", "37"},
		{"area that alarms have in topics", "area alarm\n", "23"},
		{"point that is computed", "point dew-point at yard is temperature\n", "23"},
		{"point of a fixed value", "point fixed at tank-1 is 3 K\n", "43"},
		{"point of itself", "point a at tank-1 is a + 1 K\n", "64"},
		{"point for each, lacking at some", "point warm for each tank, yard is ph < 4\n", ""},
		{"scope of no kind", "alarm a for each tnak\n    when temperature > 20 °C" + rest, "22"},
		{"scope in no area", "alarm a for each tank in wet-mil\n    when temperature > 20 °C" + rest, "22"},
		{"except nobody", "alarm a for each tank except tank-9\n    when temperature > 20 °C" + rest, "22"},
		{"without an alarm that is none", "use drying\nwithout wet-to-long because \"x\"\n", "22"},
		{"subject used twice", "use drying, drying\n", "19"},
		{"limit at a station that is none", "use drying\nlimit dryer-air-high at dryer-9 44 °C\n", "22"},
		{"limit twice", "use drying\nlimit dryer-air-high 44 °C\nlimit dryer-air-high 43 °C\n", "21"},
		{"limit without unit", "use drying\nlimit dryer-air-high 44\n", "5"},
		{"limit that upsets a built-in one", "use drying\nlimit dryer-air-cut 44 °C\n", "66"},
		{"words for no alarm", "words es for nothing\n    title \"x\"\n", "22"},
		{"depends on nothing", "alarm a at tank-1\n    when temperature > 20 °C\n    depends-on bb" + rest, "22"},
		{"person without channel", "person ana\n    phone \"+51 900 000 001\"\n    by pidgeon\n", "22"},
		{"rights that are none", "person ana\n    rights boss\n", "20"},
		{"mail that is none", "person ana\n    mail ana\n", "17"},
		{"kind of channel", "channel pigeon\n", "22"},
		{"channel without its modem", "channel text\n", "16"},
		{"page beyond the machine", "page\n    listen 192.168.10.2:443\n", "16"},
		{"page on a port that is none", "page\n    listen 127.0.0.1:99999\n", "17"},
		{"two brokers", "broker\n    listen 127.0.0.1:1883\nbroker\n    listen 127.0.0.1:1884\n", "21"},
		{"critical limit of another quantity", "alarm a at tank-1\n    when temperature > 20 °C\n    critical-limit 4 pH" + rest, "79"},
		{"due that is no time", "prompt a at tank-1\n    when temperature > 20 °C\n    say \"x\"\n    due ph\n", "17"},
		{"deadband without unit", "alarm a at tank-1\n    when temperature > 20 °C\n    deadband 1" + rest, "5"},
		{"value outside for each point", "alarm a at tank-1\n    when value is bad" + rest, "53"},
		{"value", "alarm a for each point\n    when value is bad and age(value) > 2 min" + rest, ""},
		{"for each channel, none set up", "alarm a for each channel\n    when not works" + rest, "60"},
		{"an event is a moment", "event cold at tank-1\n    when temperature < 10 °C\n    say \"x\"\nalarm a at tank-1\n    when times(cold, 1 d) > 3" + rest, ""},
	} {
		_, list := loadText(t, floor+tt.text)
		if got := codes(list, diag.Error); got != tt.want {
			t.Errorf("%s: messages %q, want %q\n%v", tt.name, got, tt.want, list)
		}
	}
}

// Aim: bounds hold, with the bound and the count in the message.
func TestMessages_bounds(t *testing.T) {
	var stations, windows strings.Builder
	for i := range maxStations + 1 {
		fmt.Fprintf(&stations, "station s%d is yard\n", i)
	}
	for i := range 5000 {
		fmt.Fprintf(&windows, "prompt w%d at tank-1\n    when mean(temperature, %d min) > 20 °C\n    say \"x\"\n", i, 61+i)
	}
	for name, text := range map[string]string{"stations": stations.String(), "windows": windows.String()} {
		_, list := loadText(t, floor+text)
		if got := codes(list, diag.Error); got != "75" {
			t.Errorf("%s: messages %q, want 75", name, got)
		}
	}
	terms := make([]string, 200)
	for i := range terms {
		terms[i] = fmt.Sprintf("temperature > %d.%d °C", i/10, i%10)
	}
	if _, list := conditionAt(t, "tank-1", strings.Join(terms, "\n        or ")); codes(list, diag.Error) != "75" {
		t.Errorf("200 comparisons in one condition: %v", list)
	}
}

// Aim: a file that loses a line, gets one twice or ends anywhere is answered, with every message whole and in its place.
func TestLoad_damaged(t *testing.T) {
	text := floor + "use fermentation, instruments\nlimit over-fermented-ph at tank-1 4.1 pH\n    because \"x\"\npoint warm for each tank is temperature > 30 °C\n" +
		"alarm a for each tank except tank-2\n    when warm and (rise(temperature, 1 h) > 1 °C/h or mean(temperature, 1 h, 1 d ago) < 20 °C)\n    while not loaded" + rest +
		"person ana\n    phone \"+51 900 000 001\"\nchannel text\n    modem /dev/ttyUSB0\nwatch w\n    hours 18:00-08:00 mon-fri\n    hours always\n    call ana by text ; after 5 min everyone\n"
	words := declared(t)
	try := func(text string) {
		plan, list, sources := loadOne(text, words)
		if (plan == nil) != list.HasErrors() {
			t.Fatalf("plan %v with %v for\n%s", plan != nil, list, text)
		}
		for _, d := range list {
			checkPlace(t, d, sources)
		}
		if plan != nil {
			checkPlan(t, plan)
		}
	}
	try(text)
	lines := strings.SplitAfter(text, "\n")
	for i := range lines {
		try(strings.Join(lines[:i], "") + strings.Join(lines[i+1:], ""))
		try(strings.Join(lines[:i+1], "") + strings.Join(lines[i:], ""))
		cut := strings.Fields(lines[i])
		for j := i % 3; j < len(cut); j += 3 { // every third, or it takes as long as all other tests
			before, _, _ := strings.Cut(lines[i], cut[j])
			try(strings.Join(lines[:i], "") + before + "\n" + strings.Join(lines[i+1:], ""))
		}
	}
}
