package phrase

import (
	"os"
	"strings"
	"testing"

	"millwarden/internal/units"
)

const sample = `
hostbus i2c-[0-9]+            I2C
bus serial                    BUS
    phrase port PATH
    phrase speed NUMBER 300 .. 921600 default 9600
    needs port
part ads1115   # a converter
    place on I2C at ADDRESS 0x48 .. 0x4b
    phrase channel (ain0|ain1|ain0-ain1) [range VOLTAGE 0.256 V .. 6.144 V default 4.096 V]
    phrase electrode [compensated by POINT temperature]
    phrase loop 4-20 mA [over RESISTANCE 10 ohm .. 500 ohm default 100 ohm] is ANY .. ANY [bands (ne43|none)]
    phrase table VOLTAGE is ANY {, VOLTAGE is ANY}
    needs channel
    one electrode|loop|table
    reads ph ph 0 .. 14 with electrode
    reads loop ends with loop
    shares channel
kind tank
    measured ph ph 0 .. 14
    computed ph-slope rate:ph from ph
    moment loaded emptied
`

// Aim: a whole declaration is read; the patterns print as the messages of the checker need them.
func TestParse_sample(t *testing.T) {
	list, err := Parse(sample)
	if err != nil {
		t.Fatal(err)
	}
	if len(list) != 4 {
		t.Fatalf("Parse gave %d declarations, want 4", len(list))
	}
	ads := list[2]
	for key, want := range map[string]string{
		"channel":   "channel (ain0|ain1|ain0-ain1) [range VOLTAGE 0.256 V .. 6.144 V]",
		"electrode": "electrode [compensated by POINT temperature]",
		"loop":      "loop 4-20 mA [over RESISTANCE 10 ohm .. 500 ohm] is ANY .. ANY [bands (ne43|none)]",
		"table":     "table VOLTAGE is ANY {, VOLTAGE is ANY}",
	} {
		p, ok := ads.Phrase(key)
		if !ok || p.String() != want {
			t.Errorf("phrase %s prints %q, want %q", key, p, want)
		}
	}
	if got := ads.Place.String(); got != "on I2C at ADDRESS 0x48 .. 0x4b" {
		t.Errorf("place prints %q", got)
	}
	address := ads.Place[3]
	if !address.Bounded || address.Least.Value != 0x48 || address.Greatest.Value != 0x4b {
		t.Errorf("ADDRESS goes from %v to %v", address.Least, address.Greatest)
	}
	channel, _ := ads.Phrase("channel")
	slot := channel.Pattern[1].Inner[1]
	if slot.Default == nil || *slot.Default != (units.Amount{Value: 4.096, Quantity: units.Voltage}) {
		t.Errorf("default of range is %v, want 4.096 V", slot.Default)
	}
	slope, _ := list[3].Point("ph-slope")
	if slope.Quantity != units.PH.Rate() || !slope.Computed || len(slope.From) != 1 {
		t.Errorf("ph-slope is %+v", slope)
	}
}

// Aim: every fault of a declaration is found, with its line; a pattern that one token cannot decide is refused.
func TestParse_refuses(t *testing.T) {
	for text, want := range map[string]string{
		"    phrase a B":                             "before any declaration",
		"probe x":                                    "begins with none of",
		"bus serial":                                 "takes 2 words",
		"part a\n    phrase b NUMBER 9 .. 3":         "runs backwards",
		"part a\n    needs b":                        "no phrase",
		"part a\n    phrase b (x|x)":                 "two options begin with x",
		"part a\n    phrase b [x NUMBER] x":          "may also follow",
		"part a\n    phrase b (HOST|BUS)":            "two options begin with BUS",
		"part a\n    phrase b [x":                    "is missing",
		"part a\n    phrase b x)":                    "does not belong here",
		"part a\n    phrase b\n    phrase b":         "stands twice",
		"part a\n    reads t warmth":                 "no quantity",
		"part a\n    reads t ends":                   "ends needs",
		"kind a\n    computed x ph":                  "from POINTS",
		"kind a\n    measured x ph 4 .. 1":           "runs backwards",
		"kind a\n    colour red":                     "no line of a declaration",
		"part a\n    phrase b POINT":                 "needs its quantity",
		"part a\n    phrase b ((((((((((x))))))))))": "deep",
	} {
		if _, err := Parse(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("Parse(%q) = %v, want an error with %q", text, err, want)
		}
	}
}

// Aim: whatever is written, Parse answers.
func FuzzParse(f *testing.F) {
	f.Add(sample)
	f.Add("part a\n    phrase b [x {, (y|z)}] NUMBER 1 .. 2 default 3")
	f.Fuzz(func(_ *testing.T, text string) {
		list, err := Parse(text)
		if err != nil {
			return
		}
		for _, d := range list {
			_ = d.Place.String()
			for _, p := range d.Phrases {
				_ = p.String()
			}
		}
	})
}

// The declarations of the language's own examples, where they are at hand.
func TestParse_examples(t *testing.T) {
	text, err := os.ReadFile("../../../shared/examples/vocabulary.txt")
	if err != nil {
		t.Skip("the examples of the language are not beside this checkout")
	}
	list, err := Parse(string(text))
	if err != nil {
		t.Fatal(err)
	}
	if len(list) != 40 {
		t.Errorf("Parse gave %d declarations", len(list))
	}
}
