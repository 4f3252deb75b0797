package drivers

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"millwarden/internal/measured"
)

var types = map[string]*Thermocouple{"K": TypeK, "J": TypeJ, "T": TypeT, "N": TypeN, "E": TypeE}

// holds checks one row of a table of voltages, and the way back. Where a type gives little for a degree, as near -200 °C, half of the table's last digit is more of a degree.
func holds(t *testing.T, name, celsius, millivolts string) {
	t.Helper()
	at, want := measured.Number(t, celsius), measured.Number(t, millivolts)
	if got := types[name].Voltage(at); !(math.Abs(got-want) <= 0.0006) {
		t.Errorf("type %s at %v °C = %.4f mV, want %v", name, celsius, got, millivolts)
	}
	if got := types[name].Temperature(types[name].Voltage(at)); !(math.Abs(got-at) <= 0.001) {
		t.Errorf("type %s at %v °C and back = %v", name, celsius, got)
	}
}

// NIST ITS-90, the whole tables.
func TestThermocouple_publishedTables(t *testing.T) {
	for _, row := range measured.Rows(t, "testdata/typek.csv", 96) {
		holds(t, "K", row[0], row[1])
		if row[3] != "" {
			holds(t, "K", row[0], row[3])
		}
	}
	for _, row := range measured.Rows(t, "testdata/jtne.csv", 71) {
		holds(t, row[0], row[1], row[2])
	}
}

// The check values of the measurement tables. M04 is 5.006 mV without the exponential term.
func TestThermocouple_checkValues(t *testing.T) {
	for _, c := range []struct{ id, couple, celsius, millivolts string }{
		{"M01", "K", "100", "4.096"}, {"M02", "K", "-100", "-3.554"}, {"M03", "K", "250", "10.153"}, {"M04", "K", "125", "5.124"},
		{"M11", "J", "350", "19.090"}, {"M11", "T", "350", "17.819"}, {"M11", "N", "350", "11.136"}, {"M11", "E", "350", "24.964"}, {"M12", "T", "-100", "-3.379"},
	} {
		t.Run(c.id, func(t *testing.T) { holds(t, c.couple, c.celsius, c.millivolts) })
	}
	for _, c := range []struct {
		id               string
		millivolts, want float64
	}{{"M05", 20.644, 500}, {"M06", 8.138, 200}} {
		if got := TypeK.Temperature(c.millivolts); !(math.Abs(got-c.want) <= 0.06) {
			t.Errorf("%s: %v mV = %v °C, want %v", c.id, c.millivolts, got, c.want)
		}
	}
}

// Each coefficient of the functions, digit for digit; and the inverse polynomials that NIST publishes beside them, an own way from voltage to temperature, lie from this one by no more than the
// error that NIST prints for them.
func TestThermocouple_coefficients(t *testing.T) {
	inverse := map[string][]float64{} // of a type and piece
	var order []string
	bounds := map[string][4]float64{} // mV and °C
	seen := 0
	for _, row := range measured.Rows(t, "testdata/coefficients.csv", 214) {
		name, function, value := row[0], row[1], measured.Number(t, row[5])
		switch low, high := measured.Number(t, row[2]), measured.Number(t, row[3]); function {
		case "forward_mV_of_C":
			seen++
			if !has(types[name], high, row[4], value) {
				t.Errorf("type %s up to %v °C: %s is not %v", name, high, row[4], value)
			}
		case "forward_mV_of_C_exp":
			seen++
			if want := map[string]float64{"a0": bumpHeight, "a1": bumpWidth, "a2": bumpCentre}[row[4]]; value != want {
				t.Errorf("%s = %v, want %v", row[4], want, value)
			}
		case "inverse_C_of_mV":
			seen++
			key := name + row[2]
			if len(inverse[key]) == 0 {
				order = append(order, key)
			}
			inverse[key] = append(inverse[key], value)
			bounds[key] = [4]float64{low, high, measured.Number(t, row[6]), measured.Number(t, row[7])}
		}
	}
	if seen != 215 || len(order) != 13 {
		t.Errorf("%d coefficients in %d inverse pieces, want 215 in 13", seen, len(order))
	}
	for _, key := range order {
		b := bounds[key]
		const slack = 0.006 // °C: the errors are printed to a hundredth, and rounded
		for i := range 201 {
			millivolts := b[0] + (b[1]-b[0])*float64(i)/200
			exact := types[key[:1]].Temperature(millivolts)
			if diff := polynomial(inverse[key], millivolts) - exact; !(diff >= b[2]-slack && diff <= b[3]+slack) && !math.IsNaN(exact) {
				t.Errorf("type %s at %.3f mV: the inverse polynomial is off by %.3f °C, printed are %v to %v", key[:1], millivolts, diff, b[2], b[3])
			}
		}
	}
}

// has tells whether the piece that ends at to has the coefficient of that name, "c3".
func has(c *Thermocouple, to float64, name string, value float64) bool {
	i, err := strconv.Atoi(strings.TrimPrefix(name, "c"))
	return err == nil && slices.ContainsFunc(c.pieces, func(p piece) bool { return p.to == to && i < len(p.coefficients) && p.coefficients[i] == value })
}

// Check values M07 to M10: the cold end is added as voltage, not as temperature.
func TestThermocouple_coldEndByVoltage(t *testing.T) {
	for _, test := range []struct {
		id                         string
		millivolts, junction, want float64
	}{{"M07", 9, 25, 246.24}, {"M08", 1.2, 30, 59.20}, {"M09", 0, 27, 27}, {"M10", TypeK.Voltage(100) - TypeK.Voltage(45), 45, 100}} {
		if got := TypeK.Temperature(test.millivolts + TypeK.Voltage(test.junction)); !(math.Abs(got-test.want) <= 0.06) {
			t.Errorf("%s: %v mV with the cold end at %v °C: %v, want %v", test.id, test.millivolts, test.junction, got, test.want)
		}
	}
	// How far the wrong way is off, at 60, 100, 200, 250, 500 and 1000 °C: computed for the measurement tables (section 1.2) by two other programs.
	for junction, row := range map[float64][6]float64{25: {0.71, 0.89, -0.05, 0.30, 1.52, -0.57}, 45: {0.56, 1.20, -0.45, -0.05, 2.33, -1.33}, 60: {0, 1.17, -0.80, -0.56, 2.75, -1.99}} {
		for i, hot := range []float64{60, 100, 200, 250, 500, 1000} {
			wrong := TypeK.Temperature(TypeK.Voltage(hot)-TypeK.Voltage(junction)) + junction - hot
			if !(math.Abs(wrong-row[i]) <= 0.006) {
				t.Errorf("%v °C with the cold end at %v added as temperature is off by %.3f, want %v", hot, junction, wrong, row[i])
			}
		}
	}
	for name, couple := range types {
		for _, beyond := range []float64{-10, 80, math.NaN()} {
			if got := couple.Temperature(beyond); !math.IsNaN(got) {
				t.Errorf("type %s: Temperature(%v) = %v, want no number", name, beyond, got)
			}
		}
	}
}
