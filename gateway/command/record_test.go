package command

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"millwarden/gateway/logbook"
	"millwarden/gateway/logbook/lots"
	"millwarden/internal/reading"
)

// recorded are a folder in which 453.6 kg of cherry came in as lot 7, and the rules file of its site.
func recorded(t *testing.T, language string) (data, rules string) {
	t.Helper()
	data = t.TempDir()
	rules = filepath.Join(data, "site.rules")
	text := "site hill\n    timezone America/Lima\n    show " + language + "\n\nstation tank-1 is tank\n"
	if err := os.WriteFile(rules, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	book, err := logbook.Open(data)
	if err != nil {
		t.Fatal(err)
	}
	at := reading.Stamp{Wall: time.Date(2026, 5, 4, 20, 0, 0, 0, time.UTC), Set: true}
	if _, _, err := book.Enter(lots.New(time.UTC), lots.Entry{At: at, Who: "ana", Step: lots.Step{Do: lots.Intake, Lot: "7", Kg: 453.592, Cherry: "own"}}); err != nil {
		t.Fatal(err)
	}
	if err := book.Close(); err != nil {
		t.Fatal(err)
	}
	return data, rules
}

// Aim: the record is written in the language and units of the site, or in those that are asked for; others are refused before anything is written. The pound is
// 0.45359237 kg exactly (NIST SP 811, appendix B.8).
func TestRecord_forItsReader(t *testing.T) {
	for _, c := range []struct {
		site  string
		asked []string
		says  []string
	}{
		{"en", nil, []string{`<html lang="en">`, "453.6 kg"}},
		{"es", nil, []string{`<html lang="es">`, "453.6 kg"}},
		{"en", []string{"--language", "es", "--units", "us"}, []string{`<html lang="es">`, "1000.0 lb"}},
		{"es", []string{"--language", "en"}, []string{`<html lang="en">`, "453.6 kg"}},
	} {
		data, rules := recorded(t, c.site)
		out := filepath.Join(t.TempDir(), "records") // not there yet
		args := append([]string{"record", "7", "--data", data, "--rules", rules, "--out", out}, c.asked...)
		if code, _, said := command(t, args...); code != exitWell {
			t.Fatalf("%v: exit %d\n%s", args, code, said)
		}
		page, err := os.ReadFile(filepath.Join(out, "lot-7.html"))
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range c.says {
			if !strings.Contains(string(page), want) {
				t.Errorf("site in %s, %v: the record does not say %q", c.site, c.asked, want)
			}
		}
		if _, err := os.Stat(filepath.Join(out, "lot-7.csv")); err != nil {
			t.Error(err)
		}
	}
	data, rules := recorded(t, "en")
	out := t.TempDir()
	for _, wrong := range [][]string{{"--language", "spanish"}, {"--units", "pounds"}} {
		code, _, said := command(t, append([]string{"record", "7", "--data", data, "--rules", rules, "--out", out}, wrong...)...)
		if code != exitUse || !strings.Contains(said, "en or es") {
			t.Errorf("%v: exit %d, %q", wrong, code, said)
		}
	}
	if left, _ := os.ReadDir(out); len(left) != 0 {
		t.Errorf("a refused call wrote %v", left)
	}
}

// Aim: every command says how it is used, with each of its options.
func TestCommands_help(t *testing.T) {
	_, names := find("")
	for _, name := range names {
		code, out, said := command(t, name, "--help")
		if code != exitWell || !strings.HasPrefix(out, "millwarden "+name) || said != "" {
			t.Errorf("%s --help: exit %d\n%s%s", name, code, out, said)
		}
	}
}

// Aim: on a board where people log in, the commands of the board's own user reach the gateway by its data folder, each with an answer of its own; over the
// network nobody is heard who has not logged in. What commands say is English; the record is in the language of the site.
func TestCommands_reachTheGateway(t *testing.T) {
	g := openGuarded(t, func(rules string) string {
		return strings.Replace(rules, "    timezone        America/Lima\n", "    timezone        America/Lima\n    show            es\n", 1)
	})
	out := t.TempDir()
	for _, c := range []struct {
		asked string
		says  string
	}{
		{"readings", "tank-1/temperature"},
		{"alarms", ""},
		{"lot intake 901 --kg 412 --cherry own --by ana", "entry"},
		{"lot weigh 901 --kg 410 --by ana", "entry"},
		{"empty deck-a --kg 190 --by ana", "entry"},
		{"load deck-a 901 --kg 200 --by ana", "entry"},
		{"lots", "901"},
		{"swap ana ben --from 2026-12-24T18:00 --to 2026-12-26T06:00 --by ana", "Ben takes"},
		{"swap", "from 2026-12-24 18:00 to 2026-12-26 06:00"},
		{"swap", "Ana, at once (watch night)"},
		{"season", "stay"},
		{"season --csv", ","},
		{"record 901 --out " + out, "lot-901.html"},
		{"explain over-fermented@tank-1", "priority high, class quality"},
	} {
		args := append(strings.Fields(c.asked), "--data", g.data)
		if code, said, wrong := command(t, args...); code != exitWell || !strings.Contains(said, c.says) {
			t.Errorf("%s: exit %d\n%s%s", c.asked, code, said, wrong)
		}
		args = append(strings.Fields(c.asked), "--at", g.address)
		if code, _, wrong := command(t, args...); code != exitFailed || !strings.Contains(wrong, "wants to know who asks") {
			t.Errorf("%s over the network: exit %d\n%s", c.asked, code, wrong)
		}
	}
	if code, said, wrong := command(t, "rates", "--data", g.data); code != exitWell || !strings.Contains(said, "annunciated") {
		t.Errorf("rates by the running gateway's rules: exit %d\n%s%s", code, said, wrong)
	}
	if page, err := os.ReadFile(filepath.Join(out, "lot-901.html")); err != nil || !strings.Contains(string(page), "412.0 kg") || !strings.Contains(string(page), `<html lang="es">`) {
		t.Errorf("the record of the lot: %v, %d bytes", err, len(page))
	}
}
