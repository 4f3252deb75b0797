package people

import (
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"sync"
	"time"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"
)

// ErrCopied says that a passkey's counter did not go on: a copy of it may be about. [WebAuthn 7.2, step 22]
var ErrCopied = errors.New("the counter of the passkey did not go on: a copy of it may exist")

const (
	// challengeLife is how long a person may take to find a finger or a key. Chosen: the two minutes after which browsers give up by themselves, or sooner.
	challengeLife = 2 * time.Minute
	// mostChallenges bounds memory: past it the oldest is forgotten, whose owner begins again.
	mostChallenges = 1024
)

// Passkeys are logins by a key pair of which the person's device keeps the private half, bound to the name of the page [W3C, Web Authentication]: what is
// signed for another name or origin is refused, and so is what was signed before. The device asks for finger, face or PIN each time.
//
// Concurrency: any goroutine.
type Passkeys struct {
	book  *Book
	party *webauthn.WebAuthn

	mu   sync.Mutex // guards open
	open map[string]ceremony
}

// ceremony is one that was begun; it is found by its challenge, once.
type ceremony struct {
	session webauthn.SessionData
	who     *holder // who adds a passkey; nil: somebody logs in
	ends    time.Time
}

// NewPasskeys takes them for the page of that name (the relying party's id), which is reached at the origins: https://mill.example:8420. A name must be
// one of a name server's: browsers take no address.
func NewPasskeys(b *Book, name string, origins ...string) (*Passkeys, error) {
	if net.ParseIP(name) != nil {
		return nil, fmt.Errorf("people: passkeys need a name of the page, not the address %s", name)
	}
	limit := webauthn.TimeoutConfig{Timeout: challengeLife, TimeoutUVD: challengeLife}
	party, err := webauthn.New(&webauthn.Config{RPID: name, RPDisplayName: name, RPOrigins: origins, AttestationPreference: protocol.PreferNoAttestation,
		// Required: the passkey is all that is asked for, so it is something the person has and something he knows or is. [ASVS 5.0.0 6.3.3]
		AuthenticatorSelection: protocol.AuthenticatorSelection{ResidentKey: protocol.ResidentKeyRequirementRequired, RequireResidentKey: new(true), UserVerification: protocol.VerificationRequired},
		Timeouts:               webauthn.TimeoutsConfig{Login: limit, Registration: limit}})
	if err != nil {
		return nil, fmt.Errorf("people: passkeys for the page %s: %w", name, err)
	}
	return &Passkeys{book: b, party: party, open: map[string]ceremony{}}, nil
}

// Offer begins to add a passkey of name: what navigator.credentials.create takes, as JSON. Whether it is name who asks is the caller's to know.
func (p *Passkeys) Offer(name, title string) ([]byte, error) {
	who, err := p.book.holder(name, title)
	if err != nil {
		return nil, err
	}
	if len(who.keys) >= mostPasskeys {
		return nil, ErrFull
	}
	options, session, err := p.party.BeginRegistration(who, webauthn.WithExclusions(webauthn.Credentials(who.keys).CredentialDescriptors()))
	if err != nil {
		return nil, fmt.Errorf("people: a passkey of %s: %w", name, err)
	}
	p.begin(session, who)
	return json.Marshal(options)
}

// Keep takes what the browser made of an offer to name, as JSON. ErrWrong: it is no answer to one that stands.
func (p *Passkeys) Keep(name string, answer []byte) error {
	made, err := protocol.ParseCredentialCreationResponseBytes(answer)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrWrong, err)
	}
	c, err := p.take(made.Response.CollectedClientData.Challenge)
	if err != nil {
		return err
	}
	if c.who == nil || c.who.name != name {
		return fmt.Errorf("%w: it was not offered to %s", ErrWrong, name)
	}
	key, err := p.party.CreateCredential(c.who, c.session, made)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrWrong, err)
	}
	return p.book.keepPasskey(c.who, key)
}

// Ask begins a login: what navigator.credentials.get takes, as JSON. It tells nothing of who is known.
func (p *Passkeys) Ask() ([]byte, error) {
	options, session, err := p.party.BeginDiscoverableLogin()
	if err != nil {
		return nil, fmt.Errorf("people: asking for a passkey: %w", err)
	}
	p.begin(session, nil)
	return json.Marshal(options)
}

// Check tells whose passkey answered: ErrWrong, ErrCopied, or a *Wait after too many wrong ones from the address. Name is also given with ErrCopied.
func (p *Passkeys) Check(answer []byte, address string) (name string, err error) {
	now := p.book.now()
	if err := p.book.throttle.take("passkey from "+address, address, now); err != nil {
		return "", err
	}
	said, err := protocol.ParseCredentialRequestResponseBytes(answer)
	if err != nil {
		return "", fmt.Errorf("%w: %w", ErrWrong, err)
	}
	c, err := p.take(said.Response.CollectedClientData.Challenge)
	if err != nil {
		return "", err
	}
	if c.who != nil {
		return "", fmt.Errorf("%w: it answers another question", ErrWrong)
	}
	who, before, err := p.book.holderOf(said.RawID, said.Response.UserHandle)
	if err != nil {
		return "", err
	}
	_, key, err := p.party.ValidatePasskeyLogin(func(_, _ []byte) (webauthn.User, error) { return who, nil }, c.session, said)
	if err != nil {
		return "", fmt.Errorf("%w: %w", ErrWrong, err)
	}
	if key.Authenticator.CloneWarning {
		return who.name, ErrCopied
	}
	if err := p.book.usePasskey(key, before); err != nil {
		return "", err
	}
	p.book.throttle.give("passkey from "+address, address, now)
	return who.name, nil
}

func (p *Passkeys) begin(session *webauthn.SessionData, who *holder) {
	now := p.book.now()
	p.mu.Lock()
	defer p.mu.Unlock()
	oldest := ""
	for challenge, c := range p.open {
		if now.After(c.ends) {
			delete(p.open, challenge)
		} else if oldest == "" || c.ends.Before(p.open[oldest].ends) {
			oldest = challenge
		}
	}
	if len(p.open) >= mostChallenges {
		delete(p.open, oldest)
	}
	p.open[session.Challenge] = ceremony{session: *session, who: who, ends: now.Add(challengeLife)}
}

// take gives the ceremony of a challenge, which is used up by it whatever comes of it.
func (p *Passkeys) take(challenge string) (ceremony, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	c, found := p.open[challenge]
	delete(p.open, challenge)
	if !found || p.book.now().After(c.ends) {
		return ceremony{}, fmt.Errorf("%w: its challenge was not given, has run out, or was used", ErrWrong)
	}
	return c, nil
}
