package command

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"millwarden/gateway/web"
	"millwarden/internal/diag"
	"millwarden/internal/estate"
)

// Aim: the page's editor gets the checker's marks at their place, writes only what checks and only over the text it was made from, and reaches no
// file but those of the rules.
func TestRulesFile_edited(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "site.rules")
	good, err := estate.Files.ReadFile(estate.RulesFile)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, good, 0o600); err != nil {
		t.Fatal(err)
	}
	l, err := loadRules(path)
	if err != nil || l.said.HasErrors() {
		t.Fatalf("the demo's rules do not load: %v, %v", l.said, err)
	}
	f := watch(path, l.plan)
	names, texts, err := f.Texts()
	if err != nil || len(names) != 1 || names[0] != "site.rules" || texts[0] != string(good) {
		t.Fatalf("Texts() = %v, %v", names, err)
	}
	wrong := strings.Replace(string(good), "altitude        1450 m", "altitude        1450 °C", 1)
	said, err := f.Check("site.rules", wrong)
	if err != nil || !said.HasErrors() {
		t.Fatalf("an altitude in °C is taken: %v, %v", said, err)
	}
	at := said[slices.IndexFunc(said, func(d diag.Diagnostic) bool { return d.Severity == diag.Error })].Subject
	if at.File != "site.rules" || at.Line != 5 || at.Column != 21 {
		t.Errorf("the mark stands at %+v, want site.rules:5:21", at)
	}
	if _, err := f.Write("site.rules", string(good), wrong); err != nil {
		t.Error(err)
	}
	if now, err := os.ReadFile(path); err != nil || string(now) != string(good) {
		t.Error("a text with a fault was written")
	}
	better := strings.Replace(string(good), "1450 m", "1460 m", 1)
	var refused *web.Refusal
	if _, err := f.Write("site.rules", "older", better); !errors.As(err, &refused) || refused.Kind != web.RefusedSuperseded {
		t.Errorf("written over what somebody else has changed: %v", err)
	}
	for _, name := range []string{"other.rules", "../site.rules", "/etc/hostname", "standard/drying.rules"} {
		if _, err := f.Write(name, "", better); !errors.As(err, &refused) || refused.Kind != web.RefusedUnknown {
			t.Errorf("Write(%q) = %v, want it unknown", name, err)
		}
	}
	if said, err := f.Write("site.rules", string(good), better); err != nil || said.HasErrors() {
		t.Fatalf("a good text is refused: %v, %v", said, err)
	}
	if now, err := os.ReadFile(path); err != nil || string(now) != better {
		t.Error("a good text was not written")
	}
}
