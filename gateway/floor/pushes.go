package floor

import (
	"errors"

	"millwarden/gateway/callout"
	"millwarden/gateway/callout/push"
	"millwarden/gateway/logbook"
	"millwarden/gateway/web"
	"millwarden/rules/check"
)

// pushes builds the channel of push messages. All channels of the kind share one key and one list of telephones.
func (f *Floor) pushes(c *check.Channel) (callout.Channel, func(*callout.Person) bool, error) {
	if f.telephones == nil {
		var err error
		if f.telephones, err = push.OpenStore(f.o.Data); err != nil {
			return nil, nil, err
		}
	}
	channel, err := push.New(push.Options{Contact: word(c.Settings, "contact"), Store: f.telephones, Clock: f.clock, Transport: f.o.PushService,
		Gone: func(person, because string) {
			f.log.Warn("a telephone was forgotten", "person", person, "cause", because)
			f.write(logbook.Entry{Kind: logbook.Fault, Place: c.Name, Who: person, Text: "a telephone of " + f.personTitle(person) + " was forgotten: " + because})
		}})
	if err != nil {
		return nil, nil, err
	}
	return channel, channel.Reaches, nil
}

// PushKey is what a browser subscribes with; "": no channel of the rules file sends push messages.
func (f *Floor) PushKey() string {
	if f.telephones == nil {
		return ""
	}
	return f.telephones.Key()
}

// PushSubscribe keeps a telephone of a person, or forgets it.
func (f *Floor) PushSubscribe(person string, t web.Telephone) error {
	if f.telephones == nil {
		return &web.Refusal{Kind: web.RefusedState, Says: "The rules file has no channel push, or it could not be set up."}
	}
	var err error
	does := "takes push messages"
	if t.Forget {
		does, err = "takes no more push messages", f.telephones.Forget(person, t.Endpoint)
	} else {
		err = f.telephones.Add(push.Subscription{Person: person, Endpoint: t.Endpoint, P256DH: t.Key, Auth: t.Secret})
	}
	if errors.Is(err, push.ErrSubscription) {
		return &web.Refusal{Kind: web.RefusedInput, Says: "That is no subscription to push messages."}
	}
	if err != nil {
		return err
	}
	f.write(logbook.Entry{Kind: logbook.Act, Place: "push", Who: person, Text: "a telephone of " + f.personTitle(person) + " " + does})
	return nil
}
