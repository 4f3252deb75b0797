package check

import (
	_ "embed"
	"regexp"
	"slices"
	"sync"

	"millwarden/internal/phrase"
)

//go:embed kinds.txt
var kindsText string

// Kinds are the declarations of the kinds of station, and of what else `for each` may name.
var Kinds = sync.OnceValue(func() []phrase.Declaration {
	list, err := phrase.Parse(kindsText)
	if err != nil {
		panic("check: kinds.txt: " + err.Error()) // embedded text, held by a test
	}
	return list
})

// vocabulary finds declarations by their names.
type vocabulary struct {
	parts, busKinds, channels, kinds, each map[string]*phrase.Declaration
	partNames, busNames, channelNames      []string
	kindNames                              []string
	hosts                                  []hostBus
	keys                                   map[string]map[string]bool // declared lines by the word of their block
}

type hostBus struct {
	like *regexp.Regexp
	word string
}

func newVocabulary(declared []phrase.Declaration) *vocabulary {
	v := &vocabulary{parts: map[string]*phrase.Declaration{}, busKinds: map[string]*phrase.Declaration{}, channels: map[string]*phrase.Declaration{},
		kinds: map[string]*phrase.Declaration{}, each: map[string]*phrase.Declaration{},
		keys: map[string]map[string]bool{"probe": {}, "bus": {}, "channel": {}, "station": {}}}
	for _, d := range slices.Concat(declared, Kinds()) {
		for _, p := range d.Phrases {
			if keys := v.keys[blockOf[d.Class]]; keys != nil {
				keys[p.Key] = true
			}
		}
		switch d.Class {
		case phrase.HostBus:
			if like, err := regexp.Compile("^(?:" + d.Name + ")$"); err == nil {
				v.hosts = append(v.hosts, hostBus{like, d.Word})
			}
		case phrase.Bus:
			v.busNames = add(v.busKinds, v.busNames, d)
		case phrase.Part:
			v.partNames = add(v.parts, v.partNames, d)
		case phrase.Channel:
			v.channelNames = add(v.channels, v.channelNames, d)
		case phrase.Kind:
			v.kindNames = add(v.kinds, v.kindNames, d)
		case phrase.Each:
			add(v.each, nil, d)
		}
	}
	return v
}

// blockOf is the block in which the lines of a declaration stand.
var blockOf = map[phrase.Class]string{phrase.Kind: "station", phrase.Part: "probe", phrase.Channel: "channel", phrase.Bus: "bus"}

// declares tells whether blocks of that word may have a declared line of that key.
func (v *vocabulary) declares(block, key string) bool { return v.keys[block][key] }

// add keeps the first declaration of a name: a caller that declares a kind again changes nothing.
func add(m map[string]*phrase.Declaration, names []string, d phrase.Declaration) []string {
	if m[d.Name] != nil {
		return names
	}
	m[d.Name] = &d
	return append(names, d.Name)
}

// hostWord is the slot that a bus of the host fills; "" if the name is none.
func (v *vocabulary) hostWord(name string) string {
	for _, h := range v.hosts {
		if h.like.MatchString(name) {
			return h.word
		}
	}
	return ""
}
