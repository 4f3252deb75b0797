package saying

import (
	"go/ast"
	"slices"
	"strings"
	"testing"
)

// judging are the functions that tell a person who calibrates a probe how it stands and what came of it.
var judging = []string{"Fit", "leastSquares", "Still", "fit", "judge", "Calibrate", "driftOf"}

// Aim: whoever calibrates a probe is told in Spanish why it does not stand still, what was found, and why it was refused.
func TestIn_everyCalibration(t *testing.T) {
	found := map[string]string{}
	for _, folder := range []string{"../calibration", "../../drivers/ads1115", "../../drivers/hx711", "../../gateway/floor"} {
		sources(t, folder, func(file string, parsed *ast.File, at func(ast.Node) string) {
			ast.Inspect(parsed, func(n ast.Node) bool {
				f, is := n.(*ast.FuncDecl)
				if !is {
					return true
				}
				if !slices.Contains(judging, f.Name.Name) || strings.HasSuffix(folder, "floor") && !strings.HasSuffix(file, "calibration.go") {
					return false
				}
				ast.Inspect(f, func(n ast.Node) bool {
					if text, is := n.(*ast.BasicLit); is {
						if says := written(text); strings.Contains(says, " ") && says != "; " && !strings.Contains(says, "%w") {
							found[says] = at(n)
						}
					}
					return true
				})
				return false
			})
		})
	}
	if len(found) < 24 {
		t.Fatalf("only %d sentences were found: the test looks in the wrong places", len(found))
	}
	for form, at := range found {
		if text := filled(form); In("es", text) == text {
			t.Errorf("%s: %q has no Spanish", at, form)
		}
	}
}
