package check

import (
	"strings"
	"testing"

	"millwarden/internal/diag"
	"millwarden/rules/engine"
	"millwarden/rules/syntax"
)

// without the lines that carry a table, an alarm as it should be.
const rest = `
    priority        low
    class           quality
    consequence     "The lot drops a grade."
    action          "Go and look."
    respond-within  45 min
`

// Aim: each warning is said where it should be and is not said where the cause is taken away. The numbers are those of the table of
// messages of the language; the causes are chosen here.
func TestWarnings(t *testing.T) {
	safety := strings.Replace(strings.Replace(rest, "quality", "safety", 1), `    action`, "    caution         \"Fire.\"\n    action", 1)
	for _, tt := range []struct{ number, with, without string }{
		{"W1", "use fermentation\nlimit over-fermented-ph 4.05 pH\n    because \"x\"\n", "use fermentation\nlimit over-fermented-ph 4.15 pH\n    because \"x\"\n"},
		{"W2", "channel text\n    modem /dev/ttyUSB0\nperson ana\n    phone \"+51 900 000 001\"\nalarm a at tank-1\n    when ph < 4" +
			strings.Replace(rest, "Go and look.", strings.Repeat("Go and look at it and then come back and go again, ", 3), 1),
			"channel text\n    modem /dev/ttyUSB0\nperson ana\n    phone \"+51 900 000 001\"\nalarm a at tank-1\n    when ph < 4" + rest},
		{"W3", "use drying\nstation dryer-2 is dryer\nprobe d2\n    part sht3x on i2c-3 at 0x44\n    gives air-temperature at dryer-2\n    range 0 .. 70 °C\n",
			"use drying\nstation dryer-2 is dryer\nprobe d2\n    part sht3x on i2c-3 at 0x44\n    gives air-temperature at dryer-2\n    range 0 .. 90 °C\n"},
		{"W4", "channel text\n    modem /dev/ttyUSB0\nperson ana\n    phone \"+51 900 000 001\"\nalarm a at tank-1\n    when ph < 4" + strings.Replace(rest, "look", "look →", 1),
			"channel text\n    modem /dev/ttyUSB0\nperson ana\n    phone \"+51 900 000 001\"\nalarm a at tank-1\n    when ph < 4" + strings.Replace(rest, "look", "loók", 1)},
		{"W2", "channel text\n    modem /dev/ttyUSB0\nperson ana\n    phone \"+51 900 000 001\"\nalarm a at tank-1\n    when ph < 4" + rest + "words es for a\n    title \"A\"\n    action \"" +
			strings.Repeat("Vaya a ver y vuelva y vaya otra vez, ", 4) + "y ya.\"\n",
			"channel text\n    modem /dev/ttyUSB0\nperson ana\n    phone \"+51 900 000 001\"\nalarm a at tank-1\n    when ph < 4" + rest + "words es for a\n    title \"A\"\n    action \"Vaya a ver.\"\n"},
		{"W4", "channel text\n    modem /dev/ttyUSB0\nperson ana\n    phone \"+51 900 000 001\"\nalarm a at tank-1\n    when ph < 4" + rest + "words es for a\n    title \"A\"\n    action \"Vaya → a ver.\"\n",
			"channel text\n    modem /dev/ttyUSB0\nperson ana\n    phone \"+51 900 000 001\"\nalarm a at tank-1\n    when ph < 4" + rest + "words es for a\n    title \"A\"\n    action \"Vaya allá, señor: ¿está así?\"\n"},
		{"W5", "probe slow\n    part ds18b20 28-0316a2794b77\n    gives wall-temperature at bin-1\n    every 40 min\nalarm a at bin-1\n    when wall-temperature > 40 °C\n    on-delay 10 min" + rest,
			"probe slow\n    part ds18b20 28-0316a2794b77\n    gives wall-temperature at bin-1\n    every 30 min\nalarm a at bin-1\n    when wall-temperature > 40 °C\n    on-delay 10 min" + rest},
		{"W7", "probe p\n    part ds18b20 28-0316a2794b77\n    gives lid-temperature at bin-1\n", "probe p\n    part ds18b20 28-0316a2794b77\n    gives lid-temperature at bin-1\n    note \"for the record\"\n"},
		{"W8", "person ana\n    phone \"+51 900 000 001\"\n", "person ana\n    phone \"+51 900 000 001\"\nchannel text\n    modem /dev/ttyUSB0\n"},
		{"W9", "person ana\n    phone \"+51 900 000 001\"\nchannel text\n    modem /dev/ttyUSB0\nwatch night\n    hours 18:00-06:00\n    call ana\nalarm a at tank-1\n    when ph < 4" + rest,
			"person ana\n    phone \"+51 900 000 001\"\nchannel text\n    modem /dev/ttyUSB0\nwatch night\n    hours always\n    call ana\nalarm a at tank-1\n    when ph < 4" + rest},
		{"W12", "alarm a at tank-1\n    when ph < 4\n    deadband 11 pH" + rest, "alarm a at tank-1\n    when ph < 4\n    deadband 1 pH" + rest},
		{"W13", "use drying\nwithout wet-too-long because \"x\"\n", "use drying\n"},
		{"W15", "person ana\n    phone \"+51 900 000 001\"\nchannel text\n    modem /dev/ttyUSB0\nwatch w\n    hours always\n    call ana\n    after 1 h ana\nalarm a at tank-1\n    when ph < 4" + rest,
			"person ana\n    phone \"+51 900 000 001\"\nchannel text\n    modem /dev/ttyUSB0\nwatch w\n    hours always\n    call ana\n    after 30 min ana\nalarm a at tank-1\n    when ph < 4" + rest},
		{"W16", "alarm a at dryer-1\n    when air-temperature > 80 °C\n    while loaded" + safety, "alarm a at dryer-1\n    when air-temperature > 80 °C\n    while burner is on" + safety},
		{"W17", "alarm a at tank-1\n    when ph < 4.2\n    depends-on b\n    on-delay 1 min" + rest + "alarm b at tank-1\n    when ph < 4\n    on-delay 5 min" + rest,
			"alarm a at tank-1\n    when ph < 4.2\n    depends-on b\n    on-delay 6 min" + rest + "alarm b at tank-1\n    when ph < 4\n    on-delay 5 min" + rest},
		{"W18", "broker\n    address mqtt://broker.example:1883\n", "broker\n    address mqtts://broker.example:8883\n"},
		{"W19", "probe e2\n    part ads1115 on i2c-1 at 0x49\n    channel ain0\n    electrode\n    gives ph at tank-2\n    calibrate-every no\n",
			"probe e2\n    part ads1115 on i2c-1 at 0x49\n    channel ain0\n    electrode\n    gives ph at tank-2\n    calibrate-every 7 d\n"},
		{"W20", "person ana\n    phone \"+51 900 000 001\"\n    language es\nchannel text\n    modem /dev/ttyUSB0\nalarm a at tank-1\n    when ph < 4" + rest + "alarm b at tank-1\n    when ph < 4" + rest + "words es for b\n    title \"B\"\n",
			"person ana\n    phone \"+51 900 000 001\"\n    language es\nchannel text\n    modem /dev/ttyUSB0\nalarm b at tank-1\n    when ph < 4" + rest + "words es for b\n    title \"B\"\n"},
		{"W21", "person ana\n    mail ana@estate.example\nchannel mail\n    server mail.estate.example:587\n    sender mill@estate.example\nwatch w\n    hours always\n    call ana by mail\n",
			"person ana\n    mail ana@estate.example\nchannel mail\n    server mail.estate.example:587\n    sender mill@estate.example\nwatch w\n    hours always\n    call ana\n"},
		{"N1", "alarm a for each tank\n    when ph < 4" + rest, "alarm a for each tank\n    when temperature > 40 °C" + rest},
	} {
		plan, list := loadText(t, floor+tt.with)
		if plan == nil || !hasCode(list, tt.number) {
			t.Errorf("%s is not said of\n%s\nsaid: %v", tt.number, tt.with, list)
		}
		plan, list = loadText(t, floor+tt.without)
		if plan == nil || hasCode(list, tt.number) {
			t.Errorf("%s is said of, or refused is,\n%s\nsaid: %v", tt.number, tt.without, list)
		}
	}
	_, list := loadText(t, "site a\n    timezone UTC\nstation tank-1 is tank\n")
	for _, number := range []string{"W6", "W10", "W14"} {
		if !hasCode(list, number) {
			t.Errorf("%s is not said of a bare site: %v", number, list)
		}
	}
	_, list = loadText(t, floor+"use drying\nprobe t9\n    part ds18b20 28-0316a2794b79\n    gives exhaust-temperature at dryer-1\nprobe f\n    part input on gpiochip0 line 3\n    gives fan at dryer-1\nuse air, roasting\n")
	if hasCode(list, "W11") {
		t.Errorf("W11 is said of a handful of alarms: %v", list)
	}
}

func hasCode(list diag.List, number string) bool {
	for _, d := range list {
		if d.Code == number {
			return true
		}
	}
	return false
}

// Aim: the hours that nobody takes, written as people say them. Expected by hand.
func TestRoster_holes(t *testing.T) {
	span := func(from, to int, days ...int) engine.Span {
		s := engine.Span{From: from * 60, To: to * 60, Days: everyDay}
		if len(days) > 0 {
			s.Days = [7]bool{}
			for _, d := range days {
				s.Days[d] = true
			}
		}
		return s
	}
	for _, tt := range []struct {
		spans []engine.Span
		want  string
	}{
		{nil, "00:00-24:00 every day"},
		{[]engine.Span{span(0, 24)}, ""},
		{[]engine.Span{span(18, 8)}, "08:00-18:00 every day"},
		{[]engine.Span{span(8, 18)}, "18:00-08:00 every day"},
		{[]engine.Span{span(18, 8), span(8, 18)}, ""},
		{[]engine.Span{span(18, 8), span(8, 18, 1, 2, 3, 4, 5)}, "08:00-18:00 sat, 08:00-18:00 sun"},
		{[]engine.Span{span(18, 8, 0, 1, 2, 3, 4), span(8, 18)}, "18:00-08:00 fri, 18:00-08:00 sat"}, // days name the one on which it begins
		{[]engine.Span{span(6, 12), span(14, 22)}, "12:00-14:00, 22:00-06:00 every day"},
	} {
		var v cover
		for _, s := range tt.spans {
			v.add(s)
		}
		if got := v.holes(); got != tt.want {
			t.Errorf("holes of %v are %q, want %q", tt.spans, got, tt.want)
		}
	}
}

// Aim: the days of a watch, as they may be written.
func TestRoster_days(t *testing.T) {
	for word, want := range map[string][7]bool{
		"mon": {1: true}, "sunday": {0: true}, "mon-fri": {1: true, 2: true, 3: true, 4: true, 5: true}, "fri-mon": {0: true, 1: true, 5: true, 6: true}} {
		var days [7]bool
		if !addDays(&days, word) || days != want {
			t.Errorf("addDays(%q) = %v, want %v", word, days, want)
		}
	}
	for _, wrong := range []string{"day", "mon-", "mo", "mond", ""} {
		var days [7]bool
		if addDays(&days, wrong) {
			t.Errorf("addDays(%q) took it", wrong)
		}
	}
}

// Aim: a roster is judged by priority, area and by whom an alarm names.
func TestRoster_whoTakes(t *testing.T) {
	base := floor + "person ana\n    phone \"+51 900 000 001\"\nchannel text\n    modem /dev/ttyUSB0\nwatch night\n    hours 18:00-08:00\n    call ana\n"
	high := strings.Replace(rest, "low", "high", 1)
	day := "watch day\n    hours 08:00-18:00\n    call ana\n"
	for _, tt := range []struct{ name, text, want string }{
		{"hole", "alarm a at tank-1\n    when ph < 4" + high, "72"},
		{"closed", "alarm a at tank-1\n    when ph < 4" + high + day, ""},
		{"other area", "alarm a at tank-1\n    when ph < 4" + high + day + "    areas mill\n", "72"},
		{"its area", "alarm a at tank-1\n    when ph < 4" + high + day + "    areas wet-mill\n", ""},
		{"lower only", "alarm a at tank-1\n    when ph < 4" + high + day + "    takes medium, low\n", "72"},
		{"only when named", "alarm a at tank-1\n    when ph < 4" + high + day + "    only-when-named yes\n", "72"},
		{"a person at any hour", "alarm a at tank-1\n    when ph < 4\n    call ana" + high, ""},
		{"the named watch alone counts", "alarm a at tank-1\n    when ph < 4\n    call day" + high + day, "72"},
		{"both named", "alarm a at tank-1\n    when ph < 4\n    call day, night" + high + day, ""},
	} {
		_, list := loadText(t, base+tt.text)
		if got := codes(list, diag.Error); got != tt.want {
			t.Errorf("%s: messages %q, want %q: %v", tt.name, got, tt.want, list)
		}
	}
	hub := strings.Replace(base, "altitude        1450 m\n", "altitude        1450 m\n    hub office\n", 1)
	if _, list := loadText(t, hub+"alarm a at tank-1\n    when ph < 4"+high); list.HasErrors() {
		t.Errorf("with a hub holes are no fault: %v", list)
	}
}

// Aim: what the kinds declare can be read: no key of the fixed ones, known inputs, names that are names, a place in no more than one token.
func TestKinds_declare(t *testing.T) {
	for _, d := range append(Kinds(), declared(t)...) {
		for _, p := range d.Phrases {
			if _, fixed := syntax.FindKey(blockOf[d.Class], p.Key); fixed {
				t.Errorf("%s %s declares %s, which is a key of every %s", d.Class, d.Name, p.Key, blockOf[d.Class])
			}
		}
		for _, p := range d.Points {
			if !isName(p.Name) || syntax.Reserved(p.Name) && p.Name != "value" {
				t.Errorf("%s is no name for a point of %s", p.Name, d.Name)
			}
			for _, input := range p.From {
				if known, ok := d.Point(input); !ok || known.Computed {
					t.Errorf("%s of %s is worked out from %s, which nobody measures there", p.Name, d.Name, input)
				}
			}
		}
	}
	if n := len(Kinds()); n != 14 {
		t.Errorf("there are %d kinds, want 10 of station and 4 others (LANGUAGE.md section 3)", n)
	}
}

// Aim: a key that was mistyped among the lines of a part is said once, with what was meant, and not told as missing as well.
func TestLoad_mistypedIsNotMissing(t *testing.T) {
	_, list := loadText(t, "site a\n    timezone UTC\n    altitude 0 m\nstation tank-1 is tank\nprobe warm\n    part ds18b20 28-0316a2794bff\n    gvies temperature at tank-1\n")
	if got := codes(list, diag.Error); got != "30" {
		t.Errorf("messages %q, want 30 alone: %v", got, list)
	}
}
