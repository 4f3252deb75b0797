package calibration

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// buffers are the pH of common buffers at 0, 5, 10 ... 50 °C, by what is written on the bottle. Sources beside the rows; makers of technical buffers differ,
// so the table on the bottle comes first, and its value can be given as a number.
var buffers = map[string][]float64{
	"4.00":  {4.00, 4.00, 4.00, 4.00, 4.00, 4.00, 4.01, 4.02, 4.03, 4.04, 4.06},       // technical buffer, an analyser manual of 2005
	"4.01":  {4.01, 4.01, 4.00, 4.00, 4.00, 4.01, 4.01, 4.02, 4.03, 4.04, 4.06},       // JIS Z 8802, phthalate 0.05 mol/kg
	"6.86":  {6.98, 6.95, 6.92, 6.90, 6.88, 6.86, 6.85, 6.84, 6.84, 6.83, 6.83},       // JIS Z 8802, equimolal phosphate 0.025 mol/kg
	"7.00":  {7.12, 7.09, 7.06, 7.04, 7.02, 7.00, 6.99, 6.99, 6.98, 6.98, 6.97},       // technical buffer, an analyser manual of 2005
	"9.18":  {9.46, 9.39, 9.33, 9.27, 9.22, 9.18, 9.14, 9.10, 9.07, 9.04, 9.01},       // JIS Z 8802, borax 0.01 mol/kg
	"10.01": {10.32, 10.25, 10.18, 10.12, 10.06, 10.01, 9.97, 9.93, 9.89, 9.86, 9.83}, // technical buffer, an analyser manual of 2005
}

// Buffer is the pH of a buffer at a temperature in °C, by straight lines between the rows of its table. Errors are for people: no such buffer, or a
// temperature beyond 0 to 50 °C.
func Buffer(name string, celsius float64) (float64, error) {
	row, known := buffers[name]
	if !known {
		return 0, fmt.Errorf("there is no table of a buffer %s; known are %s", name, strings.Join(Buffers(), ", "))
	}
	const step = 5.0
	if !(celsius >= 0 && celsius <= step*float64(len(row)-1)) {
		return 0, fmt.Errorf("a buffer of %.1f °C: the tables go from 0 to 50 °C", celsius)
	}
	i := min(int(celsius/step), len(row)-2)
	share := celsius/step - float64(i)
	return math.Round((row[i]+share*(row[i+1]-row[i]))*1000) / 1000, nil
}

// Buffers lists the names of the buffers with a table.
func Buffers() []string { return slices.Sorted(maps.Keys(buffers)) }
