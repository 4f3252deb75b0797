package command

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	_ "modernc.org/sqlite" // to change a record behind its back

	"millwarden/gateway/logbook"
	"millwarden/internal/reading"
)

func command(t testing.TB, args ...string) (code int, out, said string) {
	t.Helper()
	var o, e bytes.Buffer
	code = Main(context.Background(), args, IO{In: strings.NewReader(""), Out: &o, Err: &e})
	return code, o.String(), e.String()
}

// Aim: the command says that a record is whole, fits a printed head, and which entry was changed; with the seals all reckoned anew only the printed head tells.
func TestLogbook_verify(t *testing.T) {
	dir := t.TempDir()
	book, err := logbook.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 5 {
		if _, err := book.Write(logbook.Entry{At: reading.Stamp{Wall: time.Unix(1.7e9, 0), Set: true}, Kind: logbook.Note, Who: "ana", Text: fmt.Sprintf("note %d", i)}); err != nil {
			t.Fatal(err)
		}
	}
	if err := book.Close(); err != nil {
		t.Fatal(err)
	}
	code, out, _ := command(t, "logbook", "--data", dir, "--verify")
	if code != exitWell || !strings.Contains(out, "5 entries, each as it was written. Head 5:") {
		t.Fatalf("a whole record: exit %d\n%s", code, out)
	}
	_, head, _ := strings.Cut(out, "Head ")
	head, _, _ = strings.Cut(head, "\n")
	if code, out, _ := command(t, "logbook", "--data", dir, "--verify", "--head", head[:20]); code != exitWell || !strings.Contains(out, "The printed head fits") {
		t.Errorf("with its head: exit %d\n%s", code, out)
	}
	if code, out, _ := command(t, "logbook", "--data", dir, "--verify", "--head", "5:0011223344556677"); code != exitFailed || !strings.Contains(out, "does not fit") {
		t.Errorf("with another head: exit %d\n%s", code, out)
	}
	if code, out, _ := command(t, "logbook", "--data", dir); code != exitWell || strings.Count(out, "note") != 10 || !strings.Contains(out, "(ana)") {
		t.Errorf("listed: exit %d\n%s", code, out)
	}
	db, err := sql.Open("sqlite", filepath.Join(dir, "logbook.db"))
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range []string{"DROP TRIGGER entry_is_not_changed", "UPDATE entry SET text = 'nothing' WHERE id = 3"} {
		if _, err := db.ExecContext(t.Context(), s); err != nil {
			t.Fatal(err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if code, out, _ := command(t, "logbook", "--data", dir, "--verify"); code != exitFailed || !strings.Contains(out, "entry 3 was changed after it was written") {
		t.Errorf("a changed record: exit %d\n%s", code, out)
	}
}
