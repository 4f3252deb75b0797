package drivers

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// testdata/typek.csv: NIST ITS-90 type K, its source in its own head.
func TestTypeKVoltage_publishedTable(t *testing.T) {
	content, err := os.ReadFile("testdata/typek.csv")
	if err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(strings.NewReader(string(content)))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		celsius, _ := strconv.ParseFloat(row[0], 64)
		want, _ := strconv.ParseFloat(row[1], 64)
		if got := TypeKVoltage(celsius); !(math.Abs(got-want) <= 0.0006) {
			t.Errorf("TypeKVoltage(%v) = %.4f mV, want %v", celsius, got, want)
		}
		if got := TypeKTemperature(TypeKVoltage(celsius)); !(math.Abs(got-celsius) <= 0.001) {
			t.Errorf("TypeKTemperature(TypeKVoltage(%v)) = %v", celsius, got)
		}
	}
	if len(rows) < 50 {
		t.Errorf("%d rows, want the whole table", len(rows))
	}
}

// Check values M07 to M10: the cold end is added as voltage, not as temperature.
func TestTypeKTemperature_coldEndByVoltage(t *testing.T) {
	for _, test := range []struct{ millivolts, junction, want float64 }{{9, 25, 246.24}, {1.2, 30, 59.20}, {0, 27, 27}, {TypeKVoltage(100) - TypeKVoltage(45), 45, 100}} {
		if got := TypeKTemperature(test.millivolts + TypeKVoltage(test.junction)); !(math.Abs(got-test.want) <= 0.06) {
			t.Errorf("%v mV with the cold end at %v °C: %v, want %v", test.millivolts, test.junction, got, test.want)
		}
	}
	for _, beyond := range []float64{-7, 55, math.NaN()} {
		if got := TypeKTemperature(beyond); !math.IsNaN(got) {
			t.Errorf("TypeKTemperature(%v) = %v, want no number", beyond, got)
		}
	}
}
