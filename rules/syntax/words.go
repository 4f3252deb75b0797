package syntax

import (
	"slices"
	"strings"
)

// Blocks are the words that begin a block, in the order of the grammar.
func Blocks() []string {
	var words []string
	for _, b := range blocks {
		words = append(words, b.word)
	}
	return words
}

// Keys are the fixed keys of a block, in the order in which they are listed to people.
func Keys(block string) []Key {
	if b := factsOf(block); b != nil {
		return slices.Clone(b.keys)
	}
	return nil
}

// FindKey is the key of that name in a block.
func FindKey(block, name string) (Key, bool) {
	if k := factsOf(block).key(name); k != nil {
		return *k, true
	}
	return Key{}, false
}

// BlocksWith are the blocks that have a key of that name.
func BlocksWith(name string) []string {
	var words []string
	for _, b := range blocks {
		if _, ok := FindKey(b.word, name); ok {
			words = append(words, b.word)
		}
	}
	return words
}

// TakesSettings tells whether a block has lines that are declared by parts, buses, channels or kinds.
func TakesSettings(block string) bool {
	b := factsOf(block)
	return b != nil && b.settings
}

// Header is an example of a block's header.
func Header(block string) string {
	if b := factsOf(block); b != nil {
		return b.header
	}
	return ""
}

// Example is what stands behind "for example" in what the key says when wrong; "" where it says none.
func (k Key) Example() string {
	_, example, _ := strings.Cut(k.Says, "for example ")
	return example
}

// Sentence is the key's meaning as a sentence.
func (k Key) Sentence() string { return sentence(k.Meaning) }

// sentence gives a text its capital and its full stop.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

// KeyNames are the names of a block's keys, sorted: for messages that list them.
func KeyNames(block string) []string {
	var names []string
	for _, k := range Keys(block) {
		names = append(names, k.Name)
	}
	slices.Sort(names)
	return names
}

// table finds what goes with a word. Words lie by their length and first letter: so few share a place that a look costs a comparison or two.
type table[T any] [places][]entry[T]

type entry[T any] struct {
	word string
	of   T
}

// places of a table: a bit of a machine word for each.
const places = 64

// placeOf is that of a word.
func placeOf(word string) uint8 {
	if word == "" {
		return 0
	}
	return (uint8(len(word))*5 + word[0]) % places
}

// listed are the words of a list, with nothing to find but that they are there.
func listed(words []string) (t table[struct{}]) {
	for _, w := range words {
		t.add(w, struct{}{})
	}
	return t
}

func (t *table[T]) add(word string, of T) {
	at := placeOf(word)
	t[at] = append(t[at], entry[T]{word, of})
}

// find gives nothing for a word that is not there.
func (t *table[T]) find(word string) (of T, known bool) {
	for i, at := 0, t[placeOf(word)]; i < len(at); i++ {
		if at[i].word == word {
			return at[i].of, true
		}
	}
	return of, false
}

func factsOf(block string) *blockFacts {
	facts, _ := blocksByWord.find(block)
	return facts
}

// key is the fixed key of that name, or nil. A nil block has none.
func (b *blockFacts) key(name string) *Key {
	if b == nil {
		return nil
	}
	key, _ := b.byName.find(name)
	return key
}

// keywords are never names, wherever they stand.
var keywords = []string{"and", "or", "not", "is", "at", "by", "for", "each", "every", "from", "in", "ago", "because", "except"}

// Keywords are the words of the language that stand between others.
func Keywords() []string { return slices.Clone(keywords) }

var keywordTable = listed(keywords)

// isKeyword tells whether a small name is one of them.
func isKeyword(name string) bool {
	_, known := keywordTable.find(name)
	return known
}

// Functions are the words of the functions; night and watched are points too, and may be names.
var Functions = []string{
	"mean", "highest", "lowest", "spread", "rise", "change", "count", "neighbours", "time-above", "time-below", "time-on", "heat-above",
	"time-since", "times", "age", "apart", "vote", "during", "until", "watched",
}

var reserved = listed(slices.Concat(keywords, Functions, []string{"everyone", "value"}))

// Reserved tells of words that name something already, so that no block may be called so.
func Reserved(word string) bool {
	_, known := reserved.find(word)
	return known
}
