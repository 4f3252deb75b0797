package command

import (
	"bytes"
	"context"
	"crypto/sha256"
	"crypto/tls"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/webauthn"
	"github.com/chromedp/chromedp"

	"millwarden/internal/browser"
	"millwarden/internal/peers"
)

const passkeyRules = `site small-mill
    timezone        UTC
    altitude        1450 m

page
    listen          ADDRESS
    name            mill.example
    certificate     "CERTIFICATE"

person ana
    rights          owner
    mail            ana@estate.example

person ben
    rights          crew
    mail            ben@estate.example
`

const passkeyPassword = "ladder and sieve of ana"

// keyed is a running gateway with a page under its own name, over TLS with a certificate that the site made, and a browser with an authenticator that is
// the browser's own double of one [Chrome DevTools Protocol, domain WebAuthn].
type keyed struct {
	visitor
	url, data string
	client    *http.Client
	device    webauthn.AuthenticatorID
	end       func()
}

func newKeyed(t *testing.T) *keyed {
	t.Helper()
	k := &keyed{visitor: visitor{TB: t}, data: t.TempDir()}
	address, made := peers.FreeAddress(t), t.TempDir()
	quiet := IO{In: strings.NewReader(passkeyPassword + "\n"), Out: io.Discard, Err: io.Discard}
	k.must(makeCertificates(t.Context(), quiet, []string{"mill.example", "--out", made}))
	page := filepath.Join(made, "page.pem")
	file := filepath.Join(made, "site.rules")
	k.must(os.WriteFile(file, []byte(strings.NewReplacer("ADDRESS", address, "CERTIFICATE", page).Replace(passkeyRules)), 0o600))
	k.must(peopleCommand(t.Context(), quiet, []string{"add", "ana", "--data", k.data}))
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- run(ctx, quiet, []string{"--rules", file, "--data", k.data, "--trust-clock"}) }()
	k.end = func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("the gateway ended with %v", err)
		}
		ended <- nil
	}
	t.Cleanup(k.end)
	_, port, _ := net.SplitHostPort(address)
	k.url = "https://mill.example:" + port
	// The browser is told to take just these two keys: it has no list of its own into which the site's root could be put for a test alone.
	pair, err := tls.LoadX509KeyPair(page, page)
	k.must(err)
	other := foreignPage(t)
	k.client = &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}, //nolint:gosec // the gateway is on this machine
		DialContext: func(ctx context.Context, network, _ string) (net.Conn, error) {
			return new(net.Dialer).DialContext(ctx, network, address)
		}}}
	k.tab = browser.Open(t, index, chromedp.Flag("host-resolver-rules", "MAP *.example 127.0.0.1"),
		chromedp.Flag("ignore-certificate-errors-spki-list", pin(pair.Leaf.RawSubjectPublicKeyInfo)+","+pin(other.Certificate().RawSubjectPublicKeyInfo)))
	k.at = &mill{url: k.url, folder: strings.Replace(other.URL, "127.0.0.1", "evil.mill.example", 1)}
	_, err = chromedp.Call(k.tab, webauthn.Enable, webauthn.EnableParams{})
	k.must(err)
	added, err := chromedp.Call(k.tab, webauthn.AddVirtualAuthenticator, webauthn.AddVirtualAuthenticatorParams{Options: &webauthn.VirtualAuthenticatorOptions{
		Protocol: webauthn.AuthenticatorProtocolCtap2, Transport: webauthn.AuthenticatorTransportInternal, HasResidentKey: true, HasUserVerification: true,
		IsUserVerified: true, AutomaticPresenceSimulation: true}})
	k.must(err)
	k.device = added.AuthenticatorID
	for begun := time.Now(); ; time.Sleep(100 * time.Millisecond) {
		if answer, err := k.client.Get(k.url + "/health"); err == nil {
			_ = answer.Body.Close()
			return k
		}
		if time.Since(begun) > browser.Patience {
			t.Fatal("the gateway does not answer")
		}
	}
}

// foreignPage is another page, of a name below that of the mill: the nearest that a browser lets anybody ask for the mill's passkeys from.
func foreignPage(t *testing.T) *httptest.Server {
	t.Helper()
	s := httptest.NewTLSServer(http.HandlerFunc(func(rw http.ResponseWriter, _ *http.Request) {
		rw.Header().Set("Content-Type", "text/html")
		_, _ = io.WriteString(rw, "<!doctype html><title>Free coffee</title><p>Free coffee")
	}))
	t.Cleanup(s.Close)
	return s
}

func pin(key []byte) string {
	sum := sha256.Sum256(key)
	return base64.StdEncoding.EncodeToString(sum[:])
}

// assertion makes the browser sign a fresh challenge of the gateway's on the page that it shows, and gives what would be sent.
func (k *keyed) assertion() string {
	k.Helper()
	answer, err := k.client.Post(k.url+"/login/passkey/ask", "application/json", strings.NewReader("{}"))
	k.must(err)
	defer answer.Body.Close()
	options, err := io.ReadAll(answer.Body)
	k.must(err)
	signed, err := chromedp.Run(k.tab, chromedp.Evaluate[string](fmt.Sprintf(`(async () => {
		const bytes = (t) => Uint8Array.from(atob(t.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0));
		const text = (raw) => btoa(String.fromCharCode(...new Uint8Array(raw))).replace(/\+/g, "-").replace(/\//g, "_").replace(/=/g, "");
		const o = (%s).publicKey;
		const c = await navigator.credentials.get({ publicKey: { ...o, challenge: bytes(o.challenge) } });
		const r = c.response;
		return JSON.stringify({ id: c.id, rawId: text(c.rawId), type: c.type, clientExtensionResults: {}, response: { clientDataJSON: text(r.clientDataJSON),
			authenticatorData: text(r.authenticatorData), signature: text(r.signature), userHandle: text(r.userHandle) } }); })()`, options), chromedp.EvalAwaitPromise))
	k.must(err)
	return signed
}

// post sends an assertion as the page's script does, and tells whether it let somebody in.
func (k *keyed) post(signed string) bool {
	k.Helper()
	answer, err := k.client.Post(k.url+"/login/passkey", "application/json", strings.NewReader(signed))
	k.must(err)
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK && answer.StatusCode != http.StatusForbidden {
		k.Fatalf("status %d", answer.StatusCode)
	}
	return answer.StatusCode == http.StatusOK && len(answer.Cookies()) == 1
}

// Aim: a person adds a passkey by the password and logs in with it, in a browser over TLS; a signed answer counts once, for the mill's own origin, while the
// key's counter goes on, and until the passkey is removed; each act stands in the logbook.
func TestPasskeys_browser(t *testing.T) {
	k := newKeyed(t)
	k.open("/login")
	k.sees(`document.querySelector("#passkey").hidden === false`)
	browser.Type(k.tab, t, "#name", "ana")
	browser.Type(k.tab, t, "#password", passkeyPassword)
	browser.Press(k.tab, t, "form button")
	k.sees(`location.pathname === "/"`)
	k.open("/passkeys")
	browser.Type(k.tab, t, "#password", "not the password")
	browser.Press(k.tab, t, "#passkey button")
	k.sees(`document.querySelector("#passkey [role=alert]").innerText === "Name or password is wrong."`)
	k.open("/passkeys")
	browser.Type(k.tab, t, "#password", passkeyPassword)
	browser.Press(k.tab, t, "#passkey button")
	k.reads("Passkey since")
	k.logOut()
	browser.Press(k.tab, t, "#passkey button")
	k.sees(`location.pathname === "/"`)
	k.reads("You are Ana")

	signed := k.assertion()
	if !k.post(signed) {
		t.Error("a good answer is refused: what follows proves nothing")
	}
	if k.post(signed) {
		t.Error("an answer counts a second time")
	}
	k.refuseForeign()
	k.refuseCopy()
	k.open("/passkeys")
	browser.Press(k.tab, t, "section button")
	k.reads("The passkey is removed here")
	if k.post(k.assertion()) {
		t.Error("a removed passkey still lets in")
	}
	k.end()
	k.logbookSays("added a passkey from", "logged in by passkey from", "adding a passkey refused", "passkey refused, its counter did not go on", "removed a passkey from")
}

func (k *keyed) logOut() {
	k.Helper()
	k.open("/")
	browser.Press(k.tab, k, "//button[text()='Log out']")
	k.sees(`location.pathname === "/login"`)
}

// refuseForeign: the browser signs for the mill's name on a page of another origin; and a page of another name is not even signed for.
func (k *keyed) refuseForeign() {
	k.Helper()
	k.must(chromedp.Do(k.tab, chromedp.Navigate(k.at.folder)))
	signed := k.assertion()
	client := struct {
		Response struct{ ClientDataJSON string }
	}{}
	k.must(json.Unmarshal([]byte(signed), &client))
	data, err := base64.RawURLEncoding.DecodeString(client.Response.ClientDataJSON)
	k.must(err)
	if !bytes.Contains(data, []byte("evil.mill.example")) {
		k.Fatalf("signed was %s", data)
	}
	if k.post(signed) {
		k.Error("an answer signed on a foreign page lets in")
	}
}

// refuseCopy: the same key with an older counter, as a copy of it would have.
func (k *keyed) refuseCopy() {
	k.Helper()
	k.open("/passkeys")
	held, err := chromedp.Call(k.tab, webauthn.GetCredentials, webauthn.GetCredentialsParams{AuthenticatorID: k.device})
	k.must(err)
	if len(held.Credentials) != 1 || held.Credentials[0].SignCount < 3 {
		k.Fatalf("the device holds %d passkeys", len(held.Credentials))
	}
	_, err = chromedp.Call(k.tab, webauthn.ClearCredentials, webauthn.ClearCredentialsParams{AuthenticatorID: k.device})
	k.must(err)
	c := held.Credentials[0]
	add := cdp.Command[map[string]any, cdp.Empty]{Method: webauthn.CommandAddCredential} // the typed form sends a field that this authenticator does not take
	_, err = chromedp.Call(k.tab, add, map[string]any{"authenticatorId": k.device, "credential": map[string]any{"credentialId": c.CredentialID, "isResidentCredential": true,
		"rpId": c.RpID, "privateKey": c.PrivateKey, "userHandle": c.UserHandle, "signCount": 1}})
	k.must(err)
	if k.post(k.assertion()) {
		k.Error("a key whose counter went back lets in")
	}
}

func (k *keyed) logbookSays(want ...string) {
	k.Helper()
	var out bytes.Buffer
	k.must(showLogbook(context.Background(), IO{In: strings.NewReader(""), Out: &out, Err: io.Discard}, []string{"--data", k.data}))
	for _, text := range want {
		if !strings.Contains(out.String(), text) {
			k.Errorf("the logbook does not say %q:\n%s", text, &out)
		}
	}
}
