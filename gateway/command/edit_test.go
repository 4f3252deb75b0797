package command

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"millwarden/gateway/web"
	"millwarden/internal/estate"
)

// Aim: a change with a name goes to the running gateway, which writes the file and the name down; what it refuses is told, and the file stays.
func TestLimit_by(t *testing.T) {
	text, err := estate.Files.ReadFile(estate.RulesFile)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "mill.rules")
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	var got web.Edit
	answer := `{"said":[],"done":true}`
	gateway := httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		if err := json.NewDecoder(r.Body).Decode(&got); err != nil || r.URL.Path != "/api/rules" || r.Method != http.MethodPost {
			t.Errorf("%s %s: %v", r.Method, r.URL.Path, err)
		}
		_, _ = rw.Write([]byte(answer))
	}))
	defer gateway.Close()
	set := func() (string, error) {
		var out, said strings.Builder
		err := limit(t.Context(), IO{Out: &out, Err: &said}, []string{"set", "bad-for", "5 min", "--rules", file, "--by", "ana", "--gateway", gateway.URL})
		return out.String(), err
	}
	if out, err := set(); err != nil || !strings.Contains(out, "was written") {
		t.Fatalf("%q, %v", out, err)
	}
	if got.By != "ana" || got.Name != "mill.rules" || got.Was != string(text) || !strings.Contains(got.Text, "limit bad-for 5 min") {
		t.Errorf("the gateway was asked by %q for %s, with the limit: %v", got.By, got.Name, strings.Contains(got.Text, "limit bad-for 5 min"))
	}
	answer = `{"said":[{"severity":"error","file":"mill.rules","line":3,"summary":"it is refused"}],"done":false}`
	if _, err := set(); err == nil || !strings.Contains(err.Error(), "mill.rules:3: it is refused") {
		t.Errorf("a refusal is told as %v", err)
	}
	if now, err := os.ReadFile(file); err != nil || string(now) != string(text) {
		t.Error("the file was written beside the gateway")
	}
}
