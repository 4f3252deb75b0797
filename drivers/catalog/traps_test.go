package catalog

import (
	"os"
	"strings"
	"testing"
)

// traps are the ten findings that matter most (reference/measurement.md section 0), each with the test that fails without its cure.
var traps = []struct{ trap, file, test string }{
	{"a late Modbus answer shifts all that follow", "bus/rtu_linux_test.go", "TestRTU_lateAnswersNeverShift"},
	{"and it does without the cure", "bus/rtu_linux_test.go", "TestRTU_theResponderShiftsWithoutTheCure"},
	{"MAX31855 is 2 to 3.5 °C low at 200 to 320 °C", "max31855/max31855_test.go", "TestRead_wordsOfTheTable"},
	{"85 °C of a DS18B20 that lost its supply", "ds18b20/ds18b20_test.go", "TestRead_true85AndFalse85"},
	{"a scratchpad of zeros has the right checksum", "ds18b20/ds18b20_test.go", "TestRead_scratchpads"},
	{"after NO, line 2 of w1_slave is old", "ds18b20/ds18b20_test.go", "TestRead_scratchpads"},
	{"H4 and H5 of a BME280 are signed", "bme280/bme280_test.go", "TestRead_negativeHumidityWords"},
	{"the temperature offset of an SCD4x in the wrong unit", "scd4x/scd4x_test.go", "TestOpen_writesNoOffset"},
	{"the kernel counts carbon dioxide in per cent", "iio/iio_test.go", "TestRead_unitsOfTheKernel"},
	{"100 Ω at ±2.048 V hides the failure band", "ads1115/ads1115_test.go", "TestOpen_rangeThatHidesTheFailureBand"},
	{"a library without a list of versions", "catalog/traps_test.go", "TestModule_noDeviceLibrary"},
}

// Aim: none of these tests is lost by a tidy hand.
func TestTraps_haveTheirTests(t *testing.T) {
	for _, trap := range traps {
		text, err := os.ReadFile("../" + trap.file)
		if err != nil || !strings.Contains(string(text), "func "+trap.test+"(t *testing.T)") {
			t.Errorf("%s: %s has no %s: %v", trap.trap, trap.file, trap.test, err)
		}
	}
}

// Drivers are written here; the library whose drivers have five of these faults is not used.
func TestModule_noDeviceLibrary(t *testing.T) {
	text, err := os.ReadFile("../../go.mod")
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(string(text), "periph.io/x/devices") {
		t.Error("go.mod requires periph.io/x/devices")
	}
}
