package forward

import (
	"strings"
	"testing"
	"time"

	"millwarden/internal/wire"
)

func pack(stream string, from, to, watermark, stored uint64, boot string) *wire.Pack {
	return &wire.Pack{Board: "hub", Header: wire.Header{Stream: stream, From: from, To: to, Watermark: watermark, Stored: stored, Boot: boot}}
}

// scene drives books by seconds after a start.
type scene struct {
	t *testing.T
	*books
	receipts []receipt
}

var begin = time.Unix(1.7e9, 0)

func after(seconds float64) time.Time {
	return begin.Add(time.Duration(seconds * float64(time.Second)))
}

func (s *scene) offer(p *wire.Pack, want bool) {
	s.t.Helper()
	r, got := s.take(begin, p)
	if got != want {
		s.t.Errorf("pack %d to %d: wanted %v, want %v", p.From, p.To, got, want)
	}
	if got {
		s.receipts = append(s.receipts, r)
	}
}

func (s *scene) answerAll(seconds float64) {
	s.answered(after(seconds), s.receipts)
	s.receipts = nil
}

func (s *scene) expect(next, commit uint64) {
	s.t.Helper()
	if k := s.boards["hub"]; k.next != next || k.commit != commit {
		s.t.Errorf("next %d, commit %d, want %d, %d", k.next, k.commit, next, commit)
	}
}

func TestBooks_commitIsWhatNextWas(t *testing.T) {
	s := &scene{t: t, books: newBooks("store", 20*time.Second)}
	s.confirmed(after(0), "1")
	s.offer(pack("a", 1, 64, 0, 0, ""), true)
	s.answerAll(1)
	s.expect(64, 0)
	s.offer(pack("a", 65, 128, 0, 64, "1"), true)
	s.answerAll(5)
	s.confirmed(after(20.9), "1")
	s.expect(128, 0)
	s.confirmed(after(21), "1")
	s.expect(128, 64)
	s.answerAll(24) // nothing new
	s.expect(128, 64)
	s.confirmed(after(25), "1")
	s.expect(128, 128)
}

func TestBooks_anotherBootThrowsBack(t *testing.T) {
	s := &scene{t: t, books: newBooks("store", 20*time.Second)}
	s.confirmed(after(0), "1")
	s.offer(pack("a", 1, 64, 0, 0, ""), true)
	s.answerAll(1)
	s.confirmed(after(22), "1")
	s.offer(pack("a", 65, 128, 64, 64, "1"), true)
	s.answerAll(23)
	s.offer(pack("a", 129, 192, 64, 128, "1"), true) // being written while the store dies
	s.confirmed(after(24), "2")
	s.expect(64, 64)
	s.answerAll(25) // answered by the new process, but 65 to 128 may be gone
	s.expect(64, 64)
	s.offer(pack("a", 193, 256, 64, 128, "1"), false) // a gap now
	s.offer(pack("a", 65, 128, 64, 64, "2"), true)
	s.answerAll(26)
	s.expect(128, 64)
	s.confirmed(after(45.9), "2")
	s.expect(128, 64)
	s.confirmed(after(46), "2")
	s.expect(128, 128)
}

func TestBooks_beginFromWhatThePackKnows(t *testing.T) {
	for _, c := range []struct {
		boot string
		next uint64
	}{{"1", 640}, {"2", 64}, {"", 64}} {
		s := &scene{t: t, books: newBooks("store", 20*time.Second)}
		s.confirmed(after(0), "1")
		s.offer(pack("a", 641, 704, 64, 640, c.boot), c.next == 640)
		s.expect(c.next, 64)
	}
}

func TestBooks_gapsAndRepeats(t *testing.T) {
	s := &scene{t: t, books: newBooks("store", 0)}
	s.offer(pack("a", 1, 64, 0, 0, ""), true)
	s.offer(pack("a", 1, 64, 0, 0, ""), false)   // being written already
	s.offer(pack("a", 66, 70, 0, 0, ""), false)  // 65 is missing
	s.offer(pack("a", 33, 100, 0, 0, ""), true)  // overlaps
	s.offer(pack("a", 101, 101, 0, 0, ""), true) // joins
	s.answerAll(1)
	s.expect(101, 101) // lag 0: the answer is final
	s.offer(pack("a", 201, 264, 200, 200, ""), true)
	s.expect(200, 200) // the board knows more
}

func TestBooks_anotherStreamBeginsAnew(t *testing.T) {
	s := &scene{t: t, books: newBooks("store", 0)}
	s.offer(pack("a", 1, 6400, 0, 0, ""), true)
	s.answerAll(1)
	s.refuse("hub")
	s.offer(pack("b", 65, 128, 64, 64, ""), true) // a backup was restored: position 65 is another reading now
	s.expect(64, 64)
	s.offer(pack("b", 129, 192, 64, 64, ""), true)
	late := receipt{board: "hub", stream: "a", to: 9000}
	s.receipts = append(s.receipts, late)
	s.answerAll(2)
	s.expect(192, 192)
	if s.boards["hub"].refused != 1 {
		t.Error("the count of refused readings was forgotten")
	}
}

// The resolution of the past must not let a reading be counted as safe a slot too early.
func TestBooks_pastIsNeverYounger(t *testing.T) {
	s := &scene{t: t, books: newBooks("store", 20*time.Second)}
	s.confirmed(after(0), "1")
	var true_ []point
	position := uint64(0)
	for ms := 0; ms < 30000; ms += 7 {
		s.offer(pack("a", position+1, position+64, 0, 0, ""), true)
		position += 64
		at := begin.Add(time.Duration(ms) * time.Millisecond)
		s.answered(at, s.receipts)
		s.receipts = nil
		true_ = append(true_, point{at, position})
	}
	if n := len(s.boards["hub"].past); n > 30000/90 {
		t.Errorf("%d points of the past are kept for 30 s", n)
	}
	for ms := 20000; ms < 60000; ms += 333 {
		asked := begin.Add(time.Duration(ms) * time.Millisecond)
		s.confirmed(asked, "1")
		certain := uint64(0)
		for _, p := range true_ {
			if !p.at.After(asked.Add(-20 * time.Second)) {
				certain = p.next
			}
		}
		if commit := s.boards["hub"].commit; commit > certain || certain-commit > 64*30 {
			t.Fatalf("at %d ms commit is %d, certain is %d", ms, commit, certain)
		}
	}
}

func TestBooks_marksAreRepeatedAndBounded(t *testing.T) {
	b := newBooks("store", 0)
	for n := range boardsKept + 10 {
		p := pack("a", 1, 64, 0, 0, "")
		p.Board = "board-" + strings.Repeat("x", n%7) + string(rune('a'+n%26)) + time.Duration(n).String()
		b.take(after(float64(n)), p)
	}
	if len(b.boards) != boardsKept {
		t.Errorf("%d boards are kept", len(b.boards))
	}
	if n := len(b.due(after(1000), time.Second, nil)); n != boardsKept {
		t.Errorf("%d marks", n)
	}
	if n := len(b.due(after(1000.5), time.Second, nil)); n != 0 {
		t.Errorf("%d marks again at once", n)
	}
	if !b.say("503") || b.say("503") {
		t.Error("trouble is told once")
	}
	marks := b.due(after(1000.6), time.Second, nil)
	if len(marks) != boardsKept || marks[0].mark.Trouble != "503" || marks[0].mark.Store != "store" {
		t.Errorf("%d marks with trouble", len(marks))
	}
	if n := len(b.due(after(1001.7), time.Second, nil)); n != boardsKept {
		t.Errorf("%d marks repeated", n)
	}
}

func TestReadBoot(t *testing.T) {
	for page, want := range map[string]string{
		"# HELP a\nprocess_start_time_seconds 1.79561067983e+09\n":                   "1.79561067983e+09", // influxd 1.8.10
		"process_start_time_seconds 1795611767\nvm_app_start_timestamp 1795611768\n": "1795611768",        // victoria-metrics 1.79.5
		"process_start_time_seconds_total 3\n":                                       "",
		"":                                                                           "",
	} {
		if got, err := readBoot(strings.NewReader(page)); got != want || (err == nil) != (want != "") {
			t.Errorf("%q: %q, %v", page, got, err)
		}
	}
}
