package housekeeping

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"path"
	"slices"
	"strings"
	"testing"
)

const module = "millwarden/"

// rule says what the packages under a folder may import of ours, and never of others, and why.
type rule struct {
	may    []string // patterns of path.Match below the module; "x/..." also what lies below
	never  []string // of the standard library and of others
	reason string
}

// layout is that of the house. The longest matching folder counts.
var layout = map[string]rule{
	"gateway": {may: []string{"gateway/command"}, reason: "main holds flags, signals and the exit code, nothing else"},
	"gateway/command": {may: []string{"gateway/...", "rules", "rules/...", "drivers/catalog", "drivers/bus", "drivers/scan", "drivers", "internal/..."},
		reason: "one file a subcommand: it wires what floor joins"},
	"gateway/floor": {may: []string{"gateway/...", "rules", "rules/...", "drivers", "drivers/bus", "drivers/scan", "drivers/catalog", "internal/..."},
		reason: "floor is the one place where sisters meet"},
	"gateway/collect": {may: []string{"drivers", "internal/..."}, reason: "it reads probes; who uses the readings is floor's to know"},
	"gateway/history": {may: []string{"internal/reading", "internal/units", "internal/database"}, reason: "readings on disk, nothing that decides"},
	"gateway/logbook": {may: []string{"gateway/logbook/query", "gateway/logbook/lots", "internal/..."}, reason: "the record must outlive every other part"},
	"gateway/logbook/rates": {never: []string{"net", "net/http", "os", "log", "log/slog", "database/sql"},
		reason: "figures of rows: they must be tested on a record that somebody wrote by hand"},
	"gateway/logbook/lots": {may: []string{"internal/coffee", "internal/reading", "internal/units"}, never: []string{"net", "net/http", "os", "log", "log/slog", "database/sql"},
		reason: "the same steps must give the same lots, in a running gateway and in a printed record"},
	"gateway/record": {may: []string{"gateway/history", "gateway/logbook", "gateway/logbook/lots", "rules/check", "rules/engine", "internal/..."}, never: []string{"net", "net/http", "os", "log", "log/slog"},
		reason: "it reads what others keep, and must say the same on the board and on a copy of its folder"},
	"gateway/callout":  {may: []string{"rules/engine", "rules/formula", "rules/standard", "internal/..."}, reason: "it turns occurrences into calls and must not need broker, store or page"},
	"gateway/callout/": {may: []string{"gateway/callout", "internal/..."}, reason: "a channel knows its interface and nothing else"},
	"gateway/publish":  {may: []string{"gateway/history", "internal/..."}, reason: "sisters do not know each other"},
	"gateway/forward":  {may: []string{"internal/..."}, reason: "it also runs as a process of its own on a server"},
	"gateway/people":   {may: []string{"internal/database"}, reason: "it proves who somebody is; what he may do is the rules file's and the page's to say"},
	"gateway/web":      {may: []string{"gateway/history", "gateway/logbook", "gateway/logbook/lots", "gateway/people", "rules/engine", "rules/formula", "internal/..."}, reason: "the page shows and asks; floor acts"},
	"drivers":          {may: []string{"internal/units", "internal/phrase", "internal/reading"}, reason: "the contract holds no chip"},
	"drivers/": {may: []string{"drivers", "drivers/drivertest", "internal/clock/clocktest", "internal/onewire", "internal/units", "internal/phrase", "internal/reading"}, // drivertest: doubles alone, clocktest: drivertest alone, see testsOnly
		reason: "a part knows its datasheet, not the mill"},
	"drivers/bus":     {may: []string{"drivers", "internal/units", "internal/phrase", "internal/reading"}, reason: "it opens the host's buses"},
	"drivers/scan":    {may: []string{"drivers"}, reason: "it asks buses and reads no rules: what stands there already it is told"},
	"drivers/catalog": {may: []string{"drivers", "drivers/...", "internal/phrase", "internal/units"}, reason: "the one table of all drivers"},
	"rules":           {may: []string{"rules/...", "internal/diag", "internal/phrase", "internal/units"}, reason: "rules do not know drivers: the language is tested with an invented vocabulary"},
	"rules/syntax":    {may: []string{"internal/diag", "internal/slab"}, reason: "text and its tree, no meaning"},
	"rules/check":     {may: []string{"rules/syntax", "rules/standard", "rules/engine", "rules/formula", "internal/diag", "internal/onewire", "internal/phrase", "internal/slab", "internal/units"}, reason: "it knows words and units, not drivers"},
	"rules/formula":   {may: []string{"internal/units"}, reason: "the seam between checker and engine"},
	"rules/engine": {may: []string{"rules/formula", "internal/coffee", "internal/reading", "internal/units"}, never: []string{"net", "net/http", "os", "log", "log/slog"},
		reason: "it has to replay a night in a millisecond, the same every time"},
	"rules/rehearse": {may: []string{"rules/check", "rules/engine", "rules/models", "internal/reading", "internal/units"}, never: []string{"net", "net/http", "os", "log", "log/slog"},
		reason: "the same readings must give the same transitions to the byte: it reads what it is given and knows no file and no clock"},
	"rules/models": {may: []string{"rules/check", "internal/coffee", "internal/reading", "internal/units"}, never: []string{"net", "net/http", "os", "log", "log/slog"},
		reason: "it has to give the same points for the same readings, in a running gateway and in a rehearsal"},
	"internal/coffee/tanktest": {reason: "tanks that follow other laws than the forecaster, for tests"},
	"internal/coffee/assize":   {reason: "tanks and layers that no forecaster was made on, for tests: with a formula of package coffee they would prove less"},
	"internal/coffee/hearing":  {reason: "tanks and layers that no forecaster was made on, for tests: with a formula of package coffee they would prove less"},
	"internal/coffee/jury":     {reason: "tanks and layers that no forecaster was made on, for tests: with a formula of package coffee they would prove less"},
	"internal/coffee/tribunal": {reason: "tanks and layers that no forecaster was made on, for tests: with a formula of package coffee they would prove less"},
	"rules/standard":           {reason: "embedded text only"},
	"internal/coffee":          {may: []string{"internal/units"}, never: []string{"net", "os", "log"}, reason: "formulas with their sources, pure"},
	"internal/reading":         {may: []string{"internal/units"}, never: []string{"net", "os", "log"}, reason: "a value, no world"},
	"internal/units":           {never: []string{"net", "os", "log"}, reason: "quantities know nothing"},
	"internal/diag":            {never: []string{"net", "os", "log"}, reason: "it prints to a writer it is given"},
	"internal/saying":          {may: []string{"rules/standard"}, never: []string{"net", "os", "log"}, reason: "sentences in another language: it knows their form and nobody who says them"},
	"internal/slab":            {never: []string{"net", "os", "log"}, reason: "where values lie, not what they are"},
	"internal/onewire":         {never: []string{"net", "os", "log"}, reason: "one checksum: rules do not know drivers, and both know ids"},
	"internal/phrase":          {may: []string{"internal/units"}, never: []string{"net", "os", "log"}, reason: "common ground of declarers and checker"},
	"internal/database":        {reason: "one SQLite file and its errors, nothing of the mill"},
	"internal/leaks":           {reason: "it looks for secrets for tests"},
	"internal/link":            {reason: "one connection to a broker; topics and payloads are others' matter"},
	"internal/wire":            {may: []string{"internal/reading", "internal/units"}, never: []string{"net", "os", "log"}, reason: "forms of messages, no connection"},
	"internal/browser":         {reason: "it drives a browser for tests"},
	"internal/calibration":     {may: []string{"internal/coffee", "internal/units"}, never: []string{"net", "os", "log"}, reason: "what is reckoned of references, pure"},
	"internal/certificate":     {reason: "roots and certificates, no connection and no files"},
	"internal/clock/clocktest": {reason: "fake time for tests"},
	"internal/clock":           {may: []string{"internal/reading"}, reason: "the one seam for time"},
	"internal/measured":        {reason: "it opens tables for tests"},
	"internal/notify":          {reason: "one datagram to the service manager; what is worth telling is floor's to know"},
	"internal/peers":           {reason: "it starts servers for tests"},
	"internal/estate":          {may: []string{"drivers", "drivers/...", "internal/...", "rules", "rules/...", "gateway/..."}, reason: "the simulated estate may look at everything but the commands"},
	"internal/housekeeping":    {may: []string{"..."}, reason: "it tests the house"},
}

// testsOnly are never in the shipped program, but for the demo's simulated estate.
var testsOnly = map[string][]string{
	"drivers/drivertest":       {"internal/estate", "drivers/*/*test"},
	"internal/clock/clocktest": {"drivers/drivertest"},
	"internal/browser":         {},
	"internal/measured":        {},
	"internal/leaks":           {},
	"internal/peers":           {},
	"internal/coffee/tanktest": {},
	"internal/coffee/assize":   {},
	"internal/coffee/hearing":  {},
	"internal/coffee/jury":     {},
	"internal/coffee/tribunal": {},
	"internal/housekeeping":    {},
	"internal/estate":          {"gateway/command", "internal/estate/..."},
}

type goPackage struct {
	ImportPath string
	Imports    []string
	Doc        string
}

func packages(t *testing.T) []goPackage {
	t.Helper()
	out, err := exec.Command("go", "list", "-json=ImportPath,Imports,Doc", module+"...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var list []goPackage
	for d := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p goPackage
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return list
		} else if err != nil {
			t.Fatal(err)
		}
		list = append(list, p)
	}
}

// ruleFor finds the rule of the longest folder that holds p; "x/" is for what lies below x.
func ruleFor(p string) (rule, bool) {
	for folder := p; folder != "."; folder = path.Dir(folder) {
		if r, ok := layout[folder]; ok && folder == p {
			return r, true
		}
		if r, ok := layout[folder+"/"]; ok && folder != p {
			return r, true
		}
		if r, ok := layout[folder]; ok {
			return r, true
		}
	}
	return rule{}, false
}

func matches(pattern, p string) bool {
	if below, found := strings.CutSuffix(pattern, "..."); found {
		return strings.HasPrefix(p, below)
	}
	ok, _ := path.Match(pattern, p)
	return ok
}

func matchesAny(patterns []string, p string) bool {
	return slices.ContainsFunc(patterns, func(pattern string) bool { return matches(pattern, p) })
}

// Aim: nobody bends the layout by accident. Each package's imports are held against the table, and the reason is printed.
func TestImports_followTheLayout(t *testing.T) {
	for _, p := range packages(t) {
		name := strings.TrimPrefix(p.ImportPath, module)
		r, known := ruleFor(name)
		if !known {
			t.Errorf("%s has no place in the layout: give it a row in this table, with its reason", name)
			continue
		}
		for _, imported := range p.Imports {
			ours, isOurs := strings.CutPrefix(imported, module)
			if isOurs && !matchesAny(r.may, ours) {
				t.Errorf("%s must not import %s: %s", name, ours, r.reason)
			}
			if !isOurs && slices.Contains(r.never, imported) {
				t.Errorf("%s must not import %s: %s", name, imported, r.reason)
			}
			if isOurs {
				checkTestsOnly(t, name, ours)
			}
		}
	}
}

func checkTestsOnly(t *testing.T, name, imported string) {
	t.Helper()
	isDouble := strings.HasPrefix(imported, "drivers/") && strings.HasSuffix(imported, "test")
	allowed, guarded := testsOnly[imported]
	if isDouble && !guarded {
		allowed, guarded = []string{"internal/estate", "internal/estate/..."}, true
	}
	if guarded && !matchesAny(allowed, name) {
		t.Errorf("%s must not import %s: it is for tests and the simulated estate", name, imported)
	}
}

// The table itself must be able to refuse: a rule that lets everything through would prove nothing.
func TestImports_tableRefuses(t *testing.T) {
	for _, wrong := range [][2]string{{"rules/engine", "gateway/web"}, {"gateway/callout/mail", "gateway/history"}, {"gateway/publish", "gateway/forward"},
		{"rules/check", "drivers/catalog"}, {"drivers/sht4x", "gateway/collect"}, {"internal/units", "internal/diag"}} {
		r, known := ruleFor(wrong[0])
		if !known || matchesAny(r.may, wrong[1]) {
			t.Errorf("the table lets %s import %s", wrong[0], wrong[1])
		}
	}
}

// Every package says what it is for.
func TestPackages_haveDocs(t *testing.T) {
	for _, p := range packages(t) {
		if p.Doc == "" {
			t.Errorf("%s has no package doc: say what it is for, what it may not know, its concurrency", p.ImportPath)
		}
	}
}
