package web

import (
	"encoding/base64"
	"net/http"
)

// Push keeps the telephones that take push messages.
type Push interface {
	// PushKey is the public key that a browser subscribes with, in base64url; "": there is no such channel.
	PushKey() string
	// PushSubscribe keeps a telephone of a person, or forgets it. A *Refusal says why it did not.
	PushSubscribe(person string, t Telephone) error
}

// Telephone is what a browser gives when it subscribes [Push API, PushSubscription].
type Telephone struct {
	Endpoint    string
	Key, Secret []byte // p256dh and auth
	Forget      bool
}

// subscription is the body of /api/push.
type subscription struct {
	By       string `json:"by"`
	Endpoint string `json:"endpoint"`
	P256DH   string `json:"p256dh"`
	Auth     string `json:"auth"`
	Forget   bool   `json:"forget"`
}

func (w *Web) servePushKey(rw http.ResponseWriter, _ *http.Request) {
	key := ""
	if w.config.Push != nil {
		key = w.config.Push.PushKey()
	}
	reply(rw, encode(map[string]string{"key": key}))
}

func (w *Web) serveSubscribe(rw http.ResponseWriter, r *http.Request) {
	var body subscription
	if !readBody(rw, r, &body) {
		return
	}
	by, _, err := w.speaks(r.Context(), body.By, Exercise)
	if err == nil {
		err = w.subscribe(by, &body)
	}
	if err != nil {
		status, kind, says := w.refusal(err)
		refuse(rw, status, kind, says)
		return
	}
	reply(rw, []byte(`{"done":true}`))
}

func (w *Web) subscribe(by string, s *subscription) error {
	key, err := base64.RawURLEncoding.DecodeString(s.P256DH)
	secret, other := base64.RawURLEncoding.DecodeString(s.Auth)
	if err != nil || other != nil {
		return &Refusal{RefusedInput, "That is no subscription to push messages."}
	}
	if w.config.Push == nil {
		return &Refusal{RefusedState, "This gateway sends no push messages."}
	}
	return w.config.Push.PushSubscribe(by, Telephone{Endpoint: s.Endpoint, Key: key, Secret: secret, Forget: s.Forget})
}
