package catalog

import (
	"fmt"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"millwarden/drivers"
	"millwarden/internal/phrase"
)

func TestTable_isComplete(t *testing.T) {
	kinds := make([]string, 0, len(table))
	for _, d := range All() {
		kinds = append(kinds, d.Kind)
		if d.Open == nil || d.Bus == "" {
			t.Errorf("%s has no Open or no bus", d.Kind)
		}
		if found, ok := Find(d.Kind); !ok || found.Kind != d.Kind {
			t.Errorf("Find(%s) = %v, %t", d.Kind, found.Kind, ok)
		}
		if _, err := os.Stat("../../testdata/vectors/" + d.Kind + ".txt"); err != nil && d.Bus != drivers.Hand { // people send no words
			t.Errorf("%s has no table of vectors: %v", d.Kind, err)
		}
	}
	if !slices.IsSorted(kinds) || len(slices.Compact(slices.Clone(kinds))) != len(kinds) {
		t.Errorf("kinds are %v, want them by the alphabet, each once", kinds)
	}
	if _, ok := Find("none"); ok {
		t.Error("Find(none) found something")
	}
}

// keysOfTheProbe are the lines that every probe block has; no part may declare one of them (LANGUAGE.md section 5.1).
var keysOfTheProbe = []string{"part", "gives", "every", "overdue-after", "range", "rate-limit", "frozen-after", "calibrate-every", "offset", "slope", "mounted", "title", "note"}

func TestDeclarations_canBeRead(t *testing.T) {
	list, err := Declarations()
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range list {
		for _, p := range d.Phrases {
			if slices.Contains(keysOfTheProbe, p.Key) {
				t.Errorf("%s declares the key %s of every probe", d.Name, p.Key)
			}
		}
		if d.Class == phrase.Part {
			if _, ok := Find(d.Name); !ok {
				t.Errorf("%s is declared and has no driver", d.Name)
			}
		}
	}
}

// wider are parts that have come to take more than the examples say: what the examples have of them, and what stands there now.
var wider = map[string][2]string{"max31855": {"thermocouple (K)", "thermocouple (K|J|T|N|E)"}}

// What the written examples of the language are checked against is declared here in the same words. Parts and buses that came later stand in no example.
func TestDeclarations_agreeWithTheExamples(t *testing.T) {
	text, err := os.ReadFile("../../../shared/examples/vocabulary.txt")
	if err != nil {
		t.Skip("the examples of the language are not beside the project")
	}
	examples, err := phrase.Parse(string(text))
	if err != nil {
		t.Fatal(err)
	}
	ours, err := Declarations()
	if err != nil {
		t.Fatal(err)
	}
	for _, theirs := range examples {
		i := slices.IndexFunc(ours, func(d phrase.Declaration) bool { return d.Class == theirs.Class && d.Name == theirs.Name })
		if i < 0 {
			if theirs.Class == phrase.Part || theirs.Class == phrase.Bus {
				t.Errorf("%s %s of the examples is not declared", theirs.Class, theirs.Name)
			}
			continue
		}
		our := ours[i]
		if w, more := wider[our.Name]; more {
			if had, has := fmt.Sprint(theirs.Phrases), fmt.Sprint(our.Phrases); had != "["+w[0]+"]" || has != "["+w[1]+"]" {
				t.Errorf("%s: the examples have %s, declared %s, want %v", our.Name, had, has, w)
			}
			theirs.Phrases = our.Phrases
		}
		if !reflect.DeepEqual(our, theirs) {
			t.Errorf("%s: declared %+v, the examples have %+v", our.Name, our, theirs)
		}
	}
}

func TestBusName(t *testing.T) {
	place := func(words ...string) phrase.Line {
		line := phrase.Line{Key: "place"}
		for _, w := range words {
			line.Slots = append(line.Slots, phrase.Slot{Given: true, Text: w})
		}
		return line
	}
	line := place("room-line", "", "room-line", "12")
	line.Slots[1] = phrase.Slot{}
	if d, _ := Find("modbus"); d.BusName(line) != "room-line" {
		t.Errorf("modbus on a serial line: BusName() = %q, want room-line", d.BusName(line))
	}
	for kind, test := range map[string]struct {
		place phrase.Line
		want  string
	}{
		"sht4x": {place("i2c-1", "0x44"), "i2c-1"}, "ads1115": {place("i2c-3", "0x48"), "i2c-3"}, "ds18b20": {place("28-0316a2794bff"), "onewire"},
		"modbus": {place("tcp 192.0.2.20:502", "192.0.2.20:502", "", "1"), "tcp 192.0.2.20:502"}, "by-hand": {place(), "by-hand"},
		"input": {place("gpiochip0", "17"), "gpiochip0"}, "radio": {place("store/bin-4"), "broker"},
	} {
		d, _ := Find(kind)
		if got := d.BusName(test.place); got != test.want {
			t.Errorf("%s: BusName() = %q, want %q", kind, got, test.want)
		}
	}
	if got := (drivers.Driver{Bus: drivers.I2C}).BusName(phrase.Line{}); strings.TrimSpace(got) != "" {
		t.Errorf("BusName() of no place = %q", got)
	}
}
