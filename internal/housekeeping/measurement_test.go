package housekeeping

import (
	"encoding/csv"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"millwarden/drivers/catalog"
)

const reference = root + "/../shared/reference"

// measurement is every table of checked facts about probes: where its rows are copied to and which test reads the copy, or what else holds it, or why nothing does.
var measurement = map[string]struct{ copied, test, otherwise string }{
	"meas-typek-table.csv":        {copied: "drivers/testdata/typek.csv", test: "drivers/thermocouple_test.go"},
	"meas-thermocouple-jtne.csv":  {copied: "drivers/testdata/jtne.csv", test: "drivers/thermocouple_test.go"},
	"meas-thermocouple-coeff.csv": {copied: "drivers/testdata/coefficients.csv", test: "drivers/thermocouple_test.go"},
	"meas-max31855-k-error.csv":   {copied: "drivers/max31855/testdata/ideal.csv", test: "drivers/max31855/max31855_test.go"},
	"meas-pt100-table.csv":        {copied: "drivers/max31865/testdata/pt100.csv", test: "drivers/max31865/max31865_test.go"},
	"meas-nernst.csv":             {copied: "drivers/ads1115/testdata/nernst.csv", test: "drivers/ads1115/electrode_test.go"},
	"meas-ph-buffers.csv":         {copied: "internal/calibration/testdata/buffers.csv", test: "internal/calibration/calibration_test.go"},
	"meas-crc-examples.csv":       {copied: "testdata/vectors/checksums.csv", test: "drivers/bus/rtu_linux_test.go"},
	"meas-quality-codes.csv":      {copied: "internal/reading/testdata/severities.csv", test: "internal/reading/reading_test.go"},
	"meas-check-values.csv":       {otherwise: "value by value, by its number: TestMeasurement_checkValues"},
	"meas-register-words.csv":     {otherwise: "word by word, among the vectors of each part: TestMeasurement_words"},
	"meas-chip-coverage.csv":      {otherwise: "chip by chip: TestMeasurement_chips"},
	"meas-go-modules.csv":         {otherwise: "a record of what could be had on one day, nothing that can be right or wrong; go.mod names what is used"},
}

// table reads a table of the reference without the names of its columns, or skips.
func table(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join(reference, name))
	if err != nil {
		t.Skipf("no reference tables here: %v", err)
	}
	defer func() { _ = f.Close() }()
	r := csv.NewReader(f)
	r.Comment = '#'
	r.FieldsPerRecord = -1
	r.LazyQuotes = true
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 10 {
		t.Fatalf("%s: %d rows, %v", name, len(rows), err)
	}
	return rows[1:]
}

// Each table is held by something, each copy has every row, cell by cell, and a test reads the copy. A copy may leave out the last columns, which are remarks.
func TestMeasurement_copiesAreWhole(t *testing.T) {
	list, err := filepath.Glob(reference + "/meas-*.csv")
	if err != nil || len(list) == 0 {
		t.Skipf("no reference tables here: %v", err)
	}
	for _, path := range list {
		name := filepath.Base(path)
		held, known := measurement[name]
		if !known {
			t.Errorf("%s is held by nothing", name)
		}
		if held.copied == "" {
			continue
		}
		if text := read(t, held.test); !strings.Contains(text, "testdata/"+strings.SplitN(held.copied, "testdata/", 2)[1]+`"`) {
			t.Errorf("%s does not read %s", held.test, held.copied)
		}
		r := csv.NewReader(strings.NewReader(read(t, held.copied)))
		r.Comment = '#'
		copied, err := r.ReadAll()
		want := table(t, name)
		if err != nil || len(copied) != len(want)+1 {
			t.Errorf("%s: %d rows, %v, want the %d of %s", held.copied, len(copied)-1, err, len(want), name)
			continue
		}
		for i, row := range copied[1:] {
			if len(row) < 2 || len(row) > len(want[i]) || !slices.Equal(row, want[i][:len(row)]) {
				t.Errorf("%s: %q, want %q", held.copied, row, want[i])
			}
		}
	}
}

// Each check value is named, by its number, by the test or the vector that holds it.
func TestMeasurement_checkValues(t *testing.T) {
	rows := table(t, "meas-check-values.csv")
	number, named := regexp.MustCompile(`\bM[0-9]{2}\b`), map[string]bool{}
	for _, folder := range []string{"drivers", "internal", "gateway", "testdata/vectors"} {
		err := filepath.WalkDir(filepath.Join(root, folder), func(path string, d fs.DirEntry, err error) error {
			if err == nil && d.IsDir() && d.Name() == "node_modules" {
				return fs.SkipDir
			}
			if err == nil && !d.IsDir() && filepath.Base(path) != "measurement_test.go" && (strings.HasSuffix(path, "_test.go") || folder == "testdata/vectors") {
				text, readErr := os.ReadFile(path)
				for _, id := range number.FindAllString(string(text), -1) {
					named[id] = true
				}
				return readErr
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, row := range rows {
		if !named[row[0]] {
			t.Errorf("no test names check value %s: %s", row[0], row[1])
		}
	}
	if len(rows) < 55 {
		t.Errorf("%d check values, want 55 at least", len(rows))
	}
}

// elsewhere are the words that are no value, or no temperature by themselves, and the test of each.
var elsewhere = map[string]string{
	"MAX6675 0000": "max6675/max6675_test.go TestRead_deadBus",
	"MAX6675 7FF8": "max6675/max6675_test.go TestRead_brokenCouple",
	"MAX6675 0004": "max6675/max6675_test.go TestRead_brokenCouple",
}

// Each word of the datasheets stands among the vectors of its part with the same value, or a test of the part holds it.
func TestMeasurement_words(t *testing.T) {
	for _, row := range table(t, "meas-register-words.csv") {
		part, hex := row[0], strings.TrimPrefix(row[3], "0x")
		raw, err := strconv.ParseUint(hex, 16, 32)
		if err != nil {
			t.Fatal(row, err)
		}
		switch {
		case part == "MAX31865": // ratios
			if !strings.Contains(read(t, "drivers/max31865/max31865_test.go"), "0x"+hex+": {"+row[4]+", ") {
				t.Errorf("%s %s: no test has it as %s of the reference", part, hex, row[4])
			}
		case elsewhere[part+" "+hex] != "":
			file, test, _ := strings.Cut(elsewhere[part+" "+hex], " ")
			if !strings.Contains(read(t, "drivers/"+file), "func "+test+"(") {
				t.Errorf("%s %s: %s has no %s", part, hex, file, test)
			}
		case !stands(t, part, row[1], raw, row[4]):
			t.Errorf("%s %s %s = %s stands in no row of its vectors", part, row[1], hex, row[4])
		}
	}
}

// stands tells whether a row of the part's vectors has the word of that field, and the value. The two fields of the MAX31855 are parts of one word.
func stands(t *testing.T, part, field string, raw uint64, value string) bool {
	t.Helper()
	want, err := strconv.ParseFloat(value, 64)
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(read(t, "testdata/vectors/"+strings.ToLower(part)+".txt")) {
		words := strings.Fields(line)
		if len(words) < 4 {
			continue
		}
		word, err := strconv.ParseUint(words[0], 16, 64)
		got, err2 := strconv.ParseFloat(words[2], 64)
		switch {
		case strings.HasPrefix(field, "D31..D18"):
			word >>= 18
		case strings.HasPrefix(field, "D15..D4"):
			word = word >> 4 & 0xFFF
		}
		inner := strings.HasPrefix(field, "D15") || strings.HasPrefix(field, "CJTH")
		if err == nil && err2 == nil && word == raw && got == want && inner == (words[1] == "junction") {
			return true
		}
	}
	return false
}

// chips are those of the table by what reads each of them here; a phrase tells why none does.
var chips = map[string]string{
	"BME280": "bme280", "SCD40/41": "scd4x", "ADS1115/1015": "ads1115", "SHT3x": "sht3x", "SHT4x": "sht4x", "pH probe": "ads1115", "4-20 mA": "ads1115", "Modbus probes": "modbus",
	"DS2482/DS2483":                "ds18b20", // the kernel makes a 1-Wire bus of it
	"PCA9548":                      "no part: block bus i2c-mux",
	"PCF857x / TCA95xx / MCP23xxx": "input", // the kernel makes GPIO lines of them
	"AHT20 / HDC302x / AM2320 / MCP9808 / TMP102 / INA219": "aht20",
}

// Each chip of the table is read by a part of the catalog.
func TestMeasurement_chips(t *testing.T) {
	for _, row := range table(t, "meas-chip-coverage.csv") {
		kind, named := chips[row[0]]
		if !named {
			kind = strings.ToLower(row[0])
		}
		if _, found := catalog.Find(kind); !found && !strings.HasPrefix(kind, "no part: ") {
			t.Errorf("nothing reads %s", row[0])
		}
	}
}
