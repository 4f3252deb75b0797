package reading

import (
	"strconv"
	"strings"
	"testing"

	"millwarden/internal/measured"
)

// Quality is the severity of OPC UA by its number, the two highest bits of a code, and by its name.
func TestQuality_isTheSeverityOfOPCUA(t *testing.T) {
	for _, row := range measured.Rows(t, "testdata/severities.csv", 18) {
		code, err := strconv.ParseUint(row[0], 0, 32)
		if err != nil {
			t.Fatal(err)
		}
		if q := Quality(code >> 30); !strings.HasPrefix(strings.ToLower(row[1]), q.String()) {
			t.Errorf("%s %s is %s", row[0], row[1], q)
		}
	}
}
