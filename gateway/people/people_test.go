package people

import (
	"bytes"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// light makes hashing quick: what it costs is judged by no test.
var light = Cost{Passes: 1, Memory: 64, Threads: 1}

// hourglass is a wall clock that a test turns.
type hourglass struct {
	mu sync.Mutex // guards at
	at time.Time
}

func (h *hourglass) now() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.at
}

func (h *hourglass) pass(d time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.at = h.at.Add(d)
}

func newBook(t *testing.T) (*Book, *hourglass, string) {
	t.Helper()
	h, dir := &hourglass{at: time.Date(2026, 6, 10, 3, 0, 0, 0, time.UTC)}, t.TempDir()
	b, err := Open(dir, Options{Cost: light, Now: h.now})
	must(t, err)
	t.Cleanup(func() { must(t, b.Close()) })
	return b, h, dir
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func want(t *testing.T, what string, got, want error) {
	t.Helper()
	if !errors.Is(got, want) {
		t.Errorf("%s = %v, want %v", what, got, want)
	}
}

const here = "127.0.0.1"

// Aim: the first code lets in one person, once, and only while nobody can log in.
func TestRedeem_first(t *testing.T) {
	b, _, dir := newBook(t)
	want(t, "Check() of nobody", b.Check(t.Context(), "ana", "", here), ErrWrong)
	want(t, "Redeem() without any code", b.Redeem(t.Context(), "ana", "", "oak under the moon", here), ErrCode)
	code := b.FirstCode()
	want(t, "Redeem() with a wrong code", b.Redeem(t.Context(), "ana", "AAAA-AAAA-AAAA-AAAA", "oak under the moon", here), ErrCode)
	must(t, b.Redeem(t.Context(), "ana", strings.ToLower(strings.ReplaceAll(code, "-", " ")), "oak under the moon", here))
	must(t, b.Check(t.Context(), "ana", "oak under the moon", here))
	want(t, "Redeem() a second time", b.Redeem(t.Context(), "mallory", code, "oak under the moon", here), ErrCode)

	// Another process on the same folder, with a code of its own, while ana has a password already.
	other, err := Open(dir, Options{Cost: light})
	must(t, err)
	defer other.Close()
	want(t, "Redeem() of a first code too late", other.Redeem(t.Context(), "mallory", other.FirstCode(), "oak under the moon", here), ErrCode)
}

// Aim: of two who come with the first code at the same moment one gets in.
func TestRedeem_race(t *testing.T) {
	b, _, _ := newBook(t)
	code := b.FirstCode()
	var wait sync.WaitGroup
	got := make([]error, 2)
	for i, name := range []string{"ana", "ben"} {
		wait.Go(func() { got[i] = b.Redeem(context.Background(), name, code, "oak under the moon", here) })
	}
	wait.Wait()
	if (got[0] == nil) == (got[1] == nil) {
		t.Errorf("Redeem() of two at once = %v, want one refused", got)
	}
}

// Aim: a person's code is for that person, once, for a day; it takes the place of the one before; sessions end with the new password.
func TestRedeem_code(t *testing.T) {
	b, h, _ := newBook(t)
	must(t, b.Set(t.Context(), "ana", "oak under the moon"))
	must(t, b.Set(t.Context(), "ben", "river of stones"))
	session, err := b.Begin("ben", PersonLife)
	must(t, err)
	old, _, err := b.GiveCode("ben")
	must(t, err)
	code, _, err := b.GiveCode("ben")
	must(t, err)
	want(t, "the code before", b.Redeem(t.Context(), "ben", old, "ladder and sieve", here), ErrCode)
	want(t, "somebody else's code", b.Redeem(t.Context(), "ana", code, "ladder and sieve", here), ErrCode)
	must(t, b.Check(t.Context(), "ben", "river of stones", here)) // until it is used, the old one goes on
	must(t, b.Redeem(t.Context(), "ben", code, "ladder and sieve", here))
	want(t, "the old password", b.Check(t.Context(), "ben", "river of stones", here), ErrWrong)
	must(t, b.Check(t.Context(), "ben", "ladder and sieve", here))
	want(t, "the code once more", b.Redeem(t.Context(), "ben", code, "ladder and sieve", here), ErrCode)
	if _, ok := b.Session(session); ok {
		t.Error("a session outlived the password it began with")
	}
	late, until, err := b.GiveCode("ben")
	must(t, err)
	h.pass(until.Sub(h.now()))
	want(t, "a code of yesterday", b.Redeem(t.Context(), "ben", late, "ladder and sieve", here), ErrCode)
}

func TestChange(t *testing.T) {
	b, _, _ := newBook(t)
	must(t, b.Set(t.Context(), "ana", "oak under the moon"))
	want(t, "Change() without the old one", b.Change(t.Context(), "ana", "guess", "ladder and sieve", here), ErrWrong)
	must(t, b.Change(t.Context(), "ana", "oak under the moon", "ladder and sieve", here))
	want(t, "the old one", b.Check(t.Context(), "ana", "oak under the moon", here), ErrWrong)
	must(t, b.Check(t.Context(), "ana", "ladder and sieve", here))
}

// Aim: a session ends by idleness, by age, by logging out, by taking the login away from another process; a foreign or changed token is none.
func TestSession(t *testing.T) {
	b, h, dir := newBook(t)
	must(t, b.Set(t.Context(), "ana", "oak under the moon"))
	begin := func() string {
		token, err := b.Begin("ana", PersonLife)
		must(t, err)
		return token
	}
	ended := func(why, token string, want bool) {
		t.Helper()
		if _, ok := b.Session(token); ok == want {
			t.Errorf("%s: session stands = %v", why, ok)
		}
	}
	a, other := begin(), begin()
	if a == other || len(a) < 43 {
		t.Errorf("tokens %q and %q: want two of 256 bits", a, other)
	}
	ended("at once", a, false)
	ended("nothing", "", true)
	ended("changed", string(a[0]^1)+a[1:], true)
	must(t, b.End(a))
	ended("logged out", a, true)
	ended("the other browser", other, false)

	for range 7 { // used every 13 days: it lasts, until its 90 days are over
		h.pass(13 * 24 * time.Hour)
		if h.now().Sub(time.Date(2026, 6, 10, 3, 0, 0, 0, time.UTC)) < PersonLife.Most {
			ended("in use", other, false)
		}
	}
	ended("after 91 days", other, true)
	idle := begin()
	h.pass(PersonLife.Idle + time.Second)
	ended("idle", idle, true)

	taken := begin()
	command, err := Open(dir, Options{Cost: light})
	must(t, err)
	defer command.Close()
	if found, err := command.Remove("ana"); !found || err != nil {
		t.Errorf("Remove() = %v, %v", found, err)
	}
	ended("taken away by a command", taken, true)
	want(t, "Check() of one who was taken away", b.Check(t.Context(), "ana", "oak under the moon", here), ErrWrong)
}

// Aim: while the file cannot be written a session holds all the same, for as long as the gateway runs, and can be ended.
func TestSession_unwritten(t *testing.T) {
	b, _, _ := newBook(t)
	must(t, b.Set(t.Context(), "ana", "oak under the moon"))
	_, err := b.file.Write.ExecContext(t.Context(), "CREATE TRIGGER no_room BEFORE INSERT ON session BEGIN SELECT RAISE(ABORT, 'no room'); END")
	must(t, err)
	token, written := b.Begin("ana", PersonLife)
	if written == nil {
		t.Fatal("the file took the session: the test tries nothing")
	}
	if s, ok := b.Session(token); !ok || s.Name != "ana" {
		t.Errorf("Session() = %v, %v", s, ok)
	}
	must(t, b.EndAll("ana"))
	if _, ok := b.Session(token); ok {
		t.Error("it stands after EndAll")
	}
}

// Aim: guessing is slow by name and by address; who knows the password gets in again after the pause; another person is not touched by it.
func TestThrottle(t *testing.T) {
	b, h, _ := newBook(t)
	must(t, b.Set(t.Context(), "ana", "oak under the moon"))
	must(t, b.Set(t.Context(), "ben", "river of stones"))
	tried := 0
	for range 6 * 3600 / 10 { // six hours of tries, each 10 s, each from another address
		var wait *Wait
		if err := b.Check(t.Context(), "ana", "guess", "192.0.2."+string(rune('a'+tried%26))); errors.As(err, &wait) {
			if wait.For <= 0 || wait.For > perName.each+2*time.Second {
				t.Fatalf("Wait = %v", wait.For)
			}
		} else {
			tried++
		}
		h.pass(10 * time.Second)
	}
	if most := 5 + 6*3600/30; tried > most+1 || tried < most/2 {
		t.Errorf("%d guesses at one name in six hours got through, want at most %d", tried, most)
	}
	must(t, b.Check(t.Context(), "ben", "river of stones", here))
	var wait *Wait
	for range 10 {
		_ = b.Check(t.Context(), "ana", "guess", here)
	}
	if err := b.Check(t.Context(), "ana", "oak under the moon", here); !errors.As(err, &wait) {
		t.Errorf("Check() in the middle of guessing = %v, want a pause", err)
	}
	h.pass(wait.For)
	must(t, b.Check(t.Context(), "ana", "oak under the moon", here))

	// One address that goes through names.
	through := 0
	for i := range 1000 {
		if err := b.Check(t.Context(), "name"+string(rune('a'+i%26))+string(rune('a'+i/26)), "password", "203.0.113.9"); errors.Is(err, ErrWrong) {
			through++
		}
	}
	if through > 20 {
		t.Errorf("%d names were tried from one address without a pause", through)
	}
	if n := len(b.throttle.buckets); n > mostBuckets+1 {
		t.Errorf("%d buckets", n)
	}
}

// Aim: the memory of the throttle is bounded, whatever names come.
func TestThrottle_bounded(t *testing.T) {
	th, at := newThrottle(), time.Now()
	for i := range 3 * mostBuckets {
		_ = th.take(strings.Repeat("x", 1+i%7)+time.Duration(i).String(), "192.0.2.1:"+time.Duration(i).String(), at)
	}
	if n := len(th.buckets); n > mostBuckets+1 {
		t.Errorf("%d buckets, want at most %d", n, mostBuckets+1)
	}
}

// Aim: a crowd at the login takes the memory of one hash, and is told to come again.
func TestQueue(t *testing.T) {
	q, hold := newQueue(), make(chan struct{})
	var wait sync.WaitGroup
	for range mostWaiting {
		wait.Go(func() { _ = q.do(context.Background(), func() { <-hold }) })
	}
	for len(q.waiting) < mostWaiting {
		time.Sleep(time.Millisecond)
	}
	want(t, "do() of one too many", q.do(t.Context(), func() {}), ErrBusy)
	close(hold)
	wait.Wait()
	must(t, q.do(t.Context(), func() {}))
}

// Aim: the file is for its owner alone, holds no password, code or session in clear, and one that others may read is refused.
func TestOpen_private(t *testing.T) {
	b, _, dir := newBook(t)
	code := b.FirstCode()
	must(t, b.Redeem(t.Context(), "ana", code, "oak under the moon", here))
	token, err := b.Begin("ana", PersonLife)
	must(t, err)
	own, _, err := b.GiveCode("ana")
	must(t, err)
	entries, err := os.ReadDir(dir)
	must(t, err)
	if len(entries) < 3 {
		t.Fatalf("only %d files", len(entries))
	}
	for _, e := range entries {
		info, err := e.Info()
		must(t, err)
		if info.Mode().Perm() != 0o600 {
			t.Errorf("%s has mode %04o", e.Name(), info.Mode().Perm())
		}
		text, err := os.ReadFile(filepath.Join(dir, e.Name()))
		must(t, err)
		for _, secret := range []string{"oak under the moon", code, strings.ReplaceAll(code, "-", ""), own, strings.ReplaceAll(own, "-", ""), token} {
			if bytes.Contains(text, []byte(secret)) {
				t.Errorf("%s holds a secret in clear", e.Name())
			}
		}
	}
	open := t.TempDir()
	must(t, os.WriteFile(filepath.Join(open, fileName), nil, 0o644))
	if _, err := Open(open, Options{}); err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("Open() of a file that others may read = %v", err)
	}
}

// Aim: what is kept of a password is what others' tools make of it: the reference program of the authors of RFC 9106 (Debian package argon2).
func TestHash_reference(t *testing.T) {
	// Test vectors of the reference implementation, file src/test.c, version 0x13, Argon2id; salt "somesalt".
	for _, c := range []struct{ password, kept string }{
		{"password", "$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4"},
		{"password", "$argon2id$v=19$m=256,t=2,p=2$c29tZXNhbHQ$bQk8UB/VmZZF4Oo79iDXuL5/0ttZwg2f/5U52iv1cDc"},
	} {
		if ok, err := matches(c.password, c.kept); !ok || err != nil {
			t.Errorf("matches(%s) = %v, %v", c.kept, ok, err)
		}
		if ok, err := matches(c.password+"x", c.kept); ok || err != nil {
			t.Errorf("matches(%s) of another password = %v, %v", c.kept, ok, err)
		}
	}
	program, err := exec.LookPath("argon2")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("argon2 is not installed")
		}
		t.Skip("argon2 is not installed")
	}
	run := exec.Command(program, "sixteen bytes of", "-id", "-t", "3", "-k", "65536", "-p", "4", "-l", "32", "-e")
	run.Stdin = strings.NewReader("oak under the moon")
	out, err := run.Output()
	must(t, err)
	if ok, err := matches("oak under the moon", strings.TrimSpace(string(out))); !ok || err != nil {
		t.Errorf("what the reference makes at our cost does not match: %v, %v", ok, err)
	}
	if ours := hash("x", DefaultCost); !strings.HasPrefix(ours, "$argon2id$v=19$m=65536,t=3,p=4$") || !strings.HasPrefix(string(out), "$argon2id$v=19$m=65536,t=3,p=4$") {
		t.Errorf("ours begins %.40s, the reference's %.40s", ours, out)
	}
}

// Aim: the library is that of RFC 9106: its own test of section 5.3, whose tag begins 0d 64 0d f5, passes here too.
func TestHash_rfc9106(t *testing.T) {
	folder, err := exec.Command("go", "list", "-f", "{{.Dir}}", "golang.org/x/crypto/argon2").Output()
	must(t, err)
	text, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(folder)), "argon2_test.go"))
	must(t, err)
	if !bytes.Contains(text, []byte("0x0d, 0x64, 0x0d, 0xf5, 0x8d, 0x78, 0x76, 0x6c")) {
		t.Fatal("the library's test does not hold the tag of the RFC")
	}
	if out, err := exec.Command("go", "test", "-count=1", "-run", "^TestArgon2$", "-v", "golang.org/x/crypto/argon2").CombinedOutput(); err != nil || !bytes.Contains(out, []byte("--- PASS: TestArgon2 ")) {
		t.Errorf("its test: %v\n%s", err, out)
	}
}

func TestMatches_damaged(t *testing.T) {
	for _, kept := range []string{"", "x", "$argon2i$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR", "$argon2id$v=19$m=99999999,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4",
		"$argon2id$v=19$m=256,t=0,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4", "$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$"} {
		if ok, err := matches("", kept); ok || err == nil {
			t.Errorf("matches(%q) = %v, %v, want it refused", kept, ok, err)
		}
	}
}

// Aim: length, and nothing that is guessed first; no kinds of characters are asked for. The common ones are from the public lists of leaked passwords.
func TestWeigh(t *testing.T) {
	for password, want := range map[string]error{
		"": ErrShort, "aB3$xY9": ErrShort, "password": ErrCommon, "12345678": ErrCommon, "qwertyuiop": ErrCommon, "iloveyou1": ErrCommon, "Password1": ErrCommon,
		"fernhollow": ErrCommon, "ana12345": ErrCommon, strings.Repeat("a", 257): ErrLong, "aaaaaaaaaaaaaaaa": ErrCommon, "elephant": ErrCommon, "34567890": ErrCommon, "ana-mill2026": ErrCommon,
		"oak under the moon": nil, "ladder and sieve": nil, "zorro y la luna de piedra": nil, "kq7vmz2xwp": nil, strings.Repeat("river of stones ", 10): nil,
	} {
		if got := Weigh(password, "fern hollow", "fernhollow", "ana"); !errors.Is(got, want) || got == nil != (want == nil) {
			t.Errorf("Weigh(%.20q) = %v, want %v", password, got, want)
		}
	}
}
