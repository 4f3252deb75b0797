package people

import (
	"bytes"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"
)

// vectors of the W3C, as base64url.
func vectors(t *testing.T) map[string]string {
	t.Helper()
	text, err := os.ReadFile("testdata/webauthn.txt")
	must(t, err)
	all := map[string]string{}
	for line := range strings.Lines(string(text)) {
		if name, value, found := strings.Cut(strings.TrimSpace(line), " "); found && name != "#" {
			raw, err := hex.DecodeString(value)
			must(t, err)
			all[name] = base64.RawURLEncoding.EncodeToString(raw)
		}
	}
	return all
}

// challengeOf is the one that a vector answers.
func challengeOf(t *testing.T, clientData string) string {
	t.Helper()
	raw, err := base64.RawURLEncoding.DecodeString(clientData)
	must(t, err)
	var c struct{ Challenge string }
	must(t, json.Unmarshal(raw, &c))
	return c.Challenge
}

func made(v map[string]string, kind, id string) []byte {
	return fmt.Appendf(nil, `{"id":%q,"rawId":%q,"type":"public-key","response":{"attestationObject":%q,"clientDataJSON":%q}}`, id, id, v[kind+"-attestation-object"], v[kind+"-client-data"])
}

// offered makes the book's own offer to ana one with the challenge of a vector.
func offered(t *testing.T, p *Passkeys, challenge string) {
	t.Helper()
	who, err := p.book.holder("ana", "Ana")
	must(t, err)
	_, session, err := p.party.BeginRegistration(who)
	must(t, err)
	session.Challenge = challenge
	p.begin(session, who)
}

// Aim: against the vectors of the W3C: one that was verified by the person is taken, once, within two minutes, from whom it was offered to, for the name and
// origin of the page; all else is refused and leaves nothing. A login without the person being verified is refused; that a good one is taken, and what
// becomes of counters, is shown with a browser (gateway/command, Passkeys).
func TestPasskeys_vectors(t *testing.T) {
	b, h, _ := newBook(t)
	must(t, b.Set(t.Context(), "ana", "oak under the moon"))
	v := vectors(t)
	id := v["self-credential"]
	open := func(name, origin string) *Passkeys {
		p, err := NewPasskeys(b, name, origin)
		must(t, err)
		offered(t, p, challengeOf(t, v["self-client-data"]))
		return p
	}
	refused := func(what string, err error) {
		t.Helper()
		want(t, what, err, ErrWrong)
		if list, err := b.ListPasskeys("ana"); err != nil || len(list) != 0 {
			t.Errorf("%s leaves %v (%v)", what, list, err)
		}
	}
	refused("Keep() of another name", open("example.com", "https://example.org").Keep("ana", made(v, "self", id)))
	refused("Keep() of another origin", open("example.org", "https://www.example.org").Keep("ana", made(v, "self", id)))
	refused("Keep() for another person", open("example.org", "https://example.org").Keep("ben", made(v, "self", id)))
	p := open("example.org", "https://example.org")
	refused("Keep() of half an answer", p.Keep("ana", made(v, "self", id)[:300]))
	h.pass(challengeLife + time.Second)
	refused("Keep() too late", p.Keep("ana", made(v, "self", id)))
	offered(t, p, challengeOf(t, v["none-client-data"]))
	refused("Keep() without the person verified", p.Keep("ana", made(v, "none", "-R85HbTJsv3g6nAYnLo_tj9Xm6YSKzOtlP8-wzAIS-Q")))

	offered(t, p, challengeOf(t, v["self-client-data"]))
	must(t, p.Keep("ana", made(v, "self", id)))
	want(t, "Keep() a second time", p.Keep("ana", made(v, "self", id)), ErrWrong)
	if list, err := b.ListPasskeys("ana"); err != nil || len(list) != 1 || list[0].ID != id || !list[0].Used.IsZero() {
		t.Fatalf("kept is %v (%v)", list, err)
	}
	_, session, err := p.party.BeginDiscoverableLogin()
	must(t, err)
	session.Challenge = challengeOf(t, v["self-get-client-data"])
	p.begin(session, nil)
	who, err := b.holder("ana", "Ana")
	must(t, err)
	_, err = p.Check(fmt.Appendf(nil, `{"id":%q,"rawId":%q,"type":"public-key","response":{"authenticatorData":%q,"clientDataJSON":%q,"signature":%q,"userHandle":%q}}`, id, id,
		v["self-get-authenticator-data"], v["self-get-client-data"], v["self-get-signature"], base64.RawURLEncoding.EncodeToString(who.handle)), here)
	var why *protocol.Error
	if !errors.Is(err, ErrWrong) || !errors.As(err, &why) || !strings.Contains(strings.ToLower(why.DevInfo+why.Details), "user verification") {
		t.Errorf("Check() without the person verified = %v", err)
	}
}

// Aim: passkeys end with a code, with a password from the command line and with the login; they stay when their owner changes the password.
func TestPasskeys_end(t *testing.T) {
	b, _, _ := newBook(t)
	put := func(name string) {
		t.Helper()
		who, err := b.holder(name, name)
		must(t, err)
		must(t, b.keepPasskey(who, &webauthn.Credential{ID: fmt.Appendf(nil, "%s %x", name, who.handle)}))
	}
	left := func(want int) {
		t.Helper()
		if list, err := b.ListPasskeys("ana"); err != nil || len(list) != want {
			t.Errorf("%d passkeys are left (%v), want %d", len(list), err, want)
		}
	}
	must(t, b.Set(t.Context(), "ana", "oak under the moon"))
	put("ana")
	must(t, b.Change(t.Context(), "ana", "oak under the moon", "elm beside the brook", here))
	left(1)
	if list, err := b.List(); err != nil || list[0].Passkeys != 1 {
		t.Errorf("List() = %+v (%v)", list, err)
	}
	code, _, err := b.GiveCode("ana")
	must(t, err)
	must(t, b.Redeem(t.Context(), "ana", code, "fir above the mill", here))
	left(0)
	put("ana")
	must(t, b.Set(t.Context(), "ana", "oak under the moon"))
	left(0)
	put("ana")
	if _, err := b.Remove("ana"); err != nil {
		t.Fatal(err)
	}
	left(0)
	who, err := b.holder("ana", "Ana")
	must(t, err)
	want(t, "a passkey for who has no login", b.keepPasskey(who, &webauthn.Credential{ID: []byte("late")}), ErrWrong)
}

// Aim: a person has no more than ten, somebody else's cannot be removed, and questions that nobody answers take no more room than their bound.
func TestPasskeys_bounds(t *testing.T) {
	b, _, _ := newBook(t)
	p, err := NewPasskeys(b, "mill.example", "https://mill.example")
	must(t, err)
	must(t, b.Set(t.Context(), "ana", "oak under the moon"))
	who, err := b.holder("ana", "Ana")
	must(t, err)
	for i := range mostPasskeys {
		must(t, b.keepPasskey(who, &webauthn.Credential{ID: []byte{byte(i)}}))
	}
	want(t, "one too many", b.keepPasskey(who, &webauthn.Credential{ID: []byte("more")}), ErrFull)
	if _, err := p.Offer("ana", "Ana"); !errors.Is(err, ErrFull) {
		t.Errorf("Offer() of one too many = %v", err)
	}
	list, err := b.ListPasskeys("ana")
	must(t, err)
	for name, wanted := range map[string]bool{"ben": false, "ana": true} {
		if found, err := b.RemovePasskey(name, list[0].ID); err != nil || found != wanted {
			t.Errorf("removed for %s: %v (%v)", name, found, err)
		}
	}
	for range mostChallenges + 10 {
		options, err := p.Ask()
		must(t, err)
		if bytes.Contains(options, []byte(`"ana"`)) || !bytes.Contains(options, []byte(`"userVerification":"required"`)) {
			t.Fatalf("asked is %s", options)
		}
	}
	if len(p.open) != mostChallenges {
		t.Errorf("%d questions are kept, want %d", len(p.open), mostChallenges)
	}
	if _, err := NewPasskeys(b, "192.168.10.2", "https://192.168.10.2"); err == nil {
		t.Error("an address is taken for a name")
	}
	for range 30 { // nobody tries for ever
		_, err = p.Check([]byte("{}"), here)
	}
	if wait := new(Wait); !errors.As(err, &wait) {
		t.Errorf("the thirtieth wrong passkey: %v", err)
	}
}
