package logbook

import (
	"bufio"
	"context"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"millwarden/gateway/logbook/lots"
)

// killedIn names the folder in which this test binary, started anew, enters lots until it is killed.
const killedIn = "MILLWARDEN_TEST_ENTERS_IN"

// TestMain lets the test binary be the process that is killed.
func TestMain(m *testing.M) {
	if dir := os.Getenv(killedIn); dir != "" {
		enterUntilKilled(dir)
	}
	os.Exit(m.Run())
}

// enterUntilKilled says the number of each entry once it is surely written.
func enterUntilKilled(dir string) {
	l, err := Open(dir)
	if err != nil {
		os.Exit(3)
	}
	book, err := l.Lots(context.Background(), nil)
	if err != nil {
		os.Exit(4)
	}
	for n := len(book.Lots()); ; n++ {
		e, _, err := l.Enter(book, lots.Entry{At: at(time.Duration(n) * time.Minute), Who: "ana", Step: lots.Step{Do: lots.Intake, Lot: strconv.Itoa(n), Kg: 100, Cherry: "own"}})
		if err != nil {
			os.Exit(5)
		}
		os.Stdout.WriteString(strconv.FormatInt(e.ID, 10) + "\n")
	}
}

// Aim: entry and seal are one commit. Killed at a random moment while it enters lots, ten times over, the record is whole each time, holds every entry that was acknowledged, and the
// book goes on where it was.
func TestEnter_survivesKills(t *testing.T) {
	if testing.Short() {
		t.Skip("ten processes are started and killed")
	}
	dir, last := t.TempDir(), int64(0)
	for round := range 10 {
		c := exec.Command(os.Args[0])
		c.Env = append(os.Environ(), killedIn+"="+dir)
		out, err := c.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		var once sync.Once
		for lines := bufio.NewScanner(out); lines.Scan(); {
			if n, err := strconv.ParseInt(strings.TrimSpace(lines.Text()), 10, 64); err == nil {
				last = n
			}
			once.Do(func() { time.AfterFunc(time.Duration(37*round)*time.Millisecond, func() { _ = c.Process.Kill() }) })
		}
		_ = c.Wait() // it was killed
		l, err := Open(dir)
		if err != nil {
			t.Fatalf("round %d: Open() = %v", round, err)
		}
		if l.Aside() != nil {
			t.Fatalf("round %d: the file was set aside", round)
		}
		head, err := l.Verify(t.Context())
		if err != nil || head.ID < last {
			t.Errorf("round %d: Verify() = %d, %v; %d was acknowledged", round, head.ID, err, last)
		}
		book, err := l.Lots(t.Context(), nil)
		if err != nil || len(book.Troubles()) > 0 || int64(len(book.Lots())) != head.ID {
			t.Errorf("round %d: %d lots of %d entries, troubles %v, %v", round, len(book.Lots()), head.ID, book.Troubles(), err)
		}
		if err := l.Close(); err != nil {
			t.Error(err)
		}
	}
	if last == 0 {
		t.Error("nothing was acknowledged: the kills prove nothing")
	}
	t.Logf("%d entries acknowledged, all there", last)
}

// What the chain costs: a sealed entry against the synced commit it stands in.
func BenchmarkSeal(b *testing.B) {
	row := rowOf(&some(1)[0])
	row.Data = strings.Repeat("x", 300)
	before := [32]byte{1}
	for b.Loop() {
		before = seal(before, &row)
	}
}

func BenchmarkWrite(b *testing.B) {
	l := openTest(b, b.TempDir())
	for b.Loop() {
		if _, err := l.Write(some(1)...); err != nil {
			b.Fatal(err)
		}
	}
}
