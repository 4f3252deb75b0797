package drivers

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// rows reads a table of testdata, its source in its own head; without the names of its columns.
func rows(t *testing.T, name string) [][]string {
	t.Helper()
	content, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(strings.NewReader(string(content)))
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil || len(all) < 50 {
		t.Fatalf("%s: %d rows, %v; want the whole table", name, len(all), err)
	}
	return all[1:]
}

// holds checks one row of a table of voltages, and the way back. Where a type gives little for a degree, as near -200 °C, half of the table's last digit is more of a degree.
func holds(t *testing.T, name string, couple *Thermocouple, celsius, millivolts string) {
	t.Helper()
	at, errT := strconv.ParseFloat(celsius, 64)
	want, errV := strconv.ParseFloat(millivolts, 64)
	if got := couple.Voltage(at); errT != nil || errV != nil || !(math.Abs(got-want) <= 0.0006) {
		t.Errorf("type %s at %v °C = %.4f mV, want %v", name, celsius, got, millivolts)
	}
	if got := couple.Temperature(couple.Voltage(at)); !(math.Abs(got-at) <= 0.001) {
		t.Errorf("type %s at %v °C and back = %v", name, celsius, got)
	}
}

// NIST ITS-90 (check values M01 to M03, M05, M06, M11, M12 among them).
func TestThermocouple_publishedTables(t *testing.T) {
	for _, row := range rows(t, "typek.csv") {
		holds(t, "K", TypeK, row[0], row[1])
	}
	for _, row := range rows(t, "jtne.csv") {
		holds(t, row[0], map[string]*Thermocouple{"J": TypeJ, "T": TypeT, "N": TypeN, "E": TypeE}[row[0]], row[1], row[2])
	}
	if got := TypeK.Voltage(125) - 5.124; !(math.Abs(got) <= 0.0006) { // check value M04: 5.006 without the exponential term
		t.Errorf("type K at 125 °C is off by %v mV", got)
	}
}

// Check values M07 to M10: the cold end is added as voltage, not as temperature.
func TestThermocouple_coldEndByVoltage(t *testing.T) {
	for _, test := range []struct{ millivolts, junction, want float64 }{{9, 25, 246.24}, {1.2, 30, 59.20}, {0, 27, 27}, {TypeK.Voltage(100) - TypeK.Voltage(45), 45, 100}} {
		if got := TypeK.Temperature(test.millivolts + TypeK.Voltage(test.junction)); !(math.Abs(got-test.want) <= 0.06) {
			t.Errorf("%v mV with the cold end at %v °C: %v, want %v", test.millivolts, test.junction, got, test.want)
		}
	}
	for name, couple := range map[string]*Thermocouple{"K": TypeK, "J": TypeJ, "T": TypeT, "N": TypeN, "E": TypeE} {
		for _, beyond := range []float64{-10, 80, math.NaN()} {
			if got := couple.Temperature(beyond); !math.IsNaN(got) {
				t.Errorf("type %s: Temperature(%v) = %v, want no number", name, beyond, got)
			}
		}
	}
}
