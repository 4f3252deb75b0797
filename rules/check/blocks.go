package check

import (
	"slices"
	"strings"

	"millwarden/internal/diag"
	"millwarden/rules/syntax"
)

// needed are the keys without which a block is refused.
var needed = map[string][]string{
	"site": {"timezone"}, "probe": {"part", "gives"}, "alarm": {"when", "priority", "class", "consequence", "action", "respond-within"},
	"prompt": {"when", "say"}, "event": {"when", "say"}, "watch": {"hours", "call"}, "store": {"address", "org", "bucket"}, "change": {"because"},
}

// examples of lines, for what is missing.
var examples = map[string]string{
	"timezone": "America/Lima", "part": "ds18b20 28-0316a2794bff", "gives": "temperature at tank-1", "when": "ph < 4.2 pH",
	"priority": "medium", "class": "quality", "consequence": `"The lot drops a grade."`, "action": `"Drain and wash now."`,
	"respond-within": "45 min", "caution": `"Do not open the drum."`, "say": `"Cover the deck."`, "hours": "18:00-08:00 every day",
	"call": "ana by text", "address": "https://store.estate.example:8086", "org": "mill", "bucket": "mill",
	"because": `"burner room has listed detection"`, "choice": `"margin to the maker's limit"`,
}

// whyNeeded says more where the keys alone do not explain themselves.
var whyNeeded = map[string]string{"alarm": "What needs no response is a prompt or an event, not an alarm.",
	"limit": "Every limit says where it comes from.", "change": "The reason stands in the register."}

// missing says which keys a block lacks.
func (c *checker) missing(b *block, keys []string, why string) {
	var shown []string
	for _, k := range keys {
		shown = append(shown, k+" "+examples[k])
	}
	at := b.Name.Where()
	if !b.Name.Given() {
		at = b.Word.Where()
	}
	c.say("16", at, facts{"block": b.Title(), "keys": strings.Join(keys, ", "), "example": strings.Join(shown, "; ") + ".", "why": why})
}

// misnamed tells that the word which begins the block was mistyped: what it is, is a guess, and nothing more is said about it.
func (b *block) misnamed() bool { return len(b.Head) > 0 && b.Head[0].Word() != b.Word.Word() }

// checkBlocks says what is missing, what stands twice, and which names are none.
func (c *checker) checkBlocks() {
	for _, b := range c.blocks {
		if !b.misnamed() {
			c.checkKeys(b)
		}
	}
	c.checkTwice(nil, "area")
	c.checkTwice(nil, "bus")
	c.checkTwice(nil, "probe")
	c.checkTwice(nil, "person", "watch")
	c.checkTwice(nil, "channel")
	c.checkTwice(nil, "station")
	c.checkTwice(func(b *block) string {
		if b.subject == "" {
			return ""
		}
		return "It is a built-in alarm: alter how it calls with change, leave it out with without, or choose another name."
	}, "alarm", "prompt", "event")
	c.checkSingles("broker", "store", "page", "outside-watcher")
}

func (c *checker) checkKeys(b *block) {
	word := b.Word.Word()
	var lacks []string
	for _, k := range needed[word] {
		if !b.Has(k) && !c.meant(b, k) {
			lacks = append(lacks, k)
		}
	}
	if word == "alarm" {
		if class := line(b, "class"); class != nil && valueWord(class) == "safety" && !b.Has("caution") {
			if len(lacks) == 0 {
				c.missing(b, []string{"caution"}, "Class safety is about people: say what can hurt.")
				return
			}
			lacks = append(lacks, "caution")
		}
	}
	if word == "outside-watcher" && !b.Has("address") && !b.Has("credential") {
		lacks = append(lacks, "address")
	}
	if len(lacks) > 0 {
		c.missing(b, lacks, whyNeeded[word])
	}
}

// meant tells whether a line that nothing declares is that key mistyped, which is said at the line: nobody is told that it is missing too.
func (c *checker) meant(b *block, key string) bool {
	word := b.Word.Word()
	if word == "probe" && key == "part" {
		return false // without its part nobody knows the lines of a probe, so nothing is said at them
	}
	return slices.ContainsFunc(b.Lines, func(l *syntax.Line) bool {
		typed := l.Key.Word()
		_, fixed := syntax.FindKey(word, typed)
		return !fixed && !c.words.declares(word, typed) && diag.Near(typed, syntax.KeyNames(word)) == key
	})
}

// checkTwice says which names of one sort stand twice. The site's own text is looked at last, so that it is marked beside a built-in.
func (c *checker) checkTwice(why func(*block) string, words ...string) {
	blocks := c.of(words...)
	seen := make(map[string]*block, len(blocks))
	for _, ours := range []bool{false, true} {
		for _, b := range blocks {
			if b.ours() != ours || !b.Name.Given() {
				continue
			}
			name := b.Name.Word()
			c.checkName(b)
			before, twice := seen[name]
			if !twice || before.board != b.board && (b.Word.Word() == "area" || b.Word.Word() == "bus") {
				seen[name] = b
				continue
			}
			known := facts{"what": b.Word.Word(), "name": name, "place": before.Name.Where().Position.String()}
			if why != nil {
				known["why"] = why(before)
			}
			c.say("21", b.Name.Where(), known)
		}
	}
}

// checkName refuses words of the language, a kind as the name of a station of another kind, and an area named as the branch of topics that alarms have.
func (c *checker) checkName(b *block) {
	name := b.Name.Word()
	word := b.Word.Word()
	_, isKind := c.words.kinds[name]
	stray := isKind && (word == "station" && b.Kind.Given() && b.Kind.Word() != name)
	clash := word == "area" && name == "alarm" // readings of an area and alarms of the site would share a topic
	if syntax.Reserved(name) || stray || clash {
		c.say("23", b.Name.Where(), facts{"name": name, "y": name + "-1"})
	}
}

// checkSingles: of these blocks one stands at most.
func (c *checker) checkSingles(words ...string) {
	for _, w := range words {
		var before *block
		for _, b := range c.of(w) {
			if !b.ours() {
				continue
			}
			if before != nil {
				c.say("21", b.Word.Where(), facts{"what": "block", "name": w, "place": before.Word.Where().Position.String()})
			}
			before = b
		}
	}
}
