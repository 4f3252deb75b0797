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

func factsOf(block string) *blockFacts {
	for _, b := range blocksByPlace[placeOf(block)] {
		if b.word == block {
			return b
		}
	}
	return nil
}

// key is the fixed key of that name, or nil. A nil block has none.
func (b *blockFacts) key(name string) *Key {
	if b == nil {
		return nil
	}
	for _, k := range b.byPlace[placeOf(name)] {
		if k.Name == name {
			return k
		}
	}
	return nil
}

// keywords are never names, wherever they stand.
var keywords = []string{"and", "or", "not", "is", "at", "by", "for", "each", "every", "from", "in", "ago", "because", "except"}

// Keywords are the words of the language that stand between others.
func Keywords() []string { return slices.Clone(keywords) }

// byLetter puts words together that begin with the same letter.
func byLetter(words []string) (by [256][]string) {
	for _, w := range words {
		by[w[0]] = append(by[w[0]], w)
	}
	return by
}

var keywordsBy = byLetter(keywords)

// isKeyword tells whether a name, small or not, is one of them.
func isKeyword(name string) bool {
	for _, k := range keywordsBy[name[0]|' '] {
		if len(name) == len(k) && strings.EqualFold(name, k) { // their letters have one byte each
			return true
		}
	}
	return false
}

// Functions are the words of the functions; night and watched are points too, and may be names.
var Functions = []string{
	"mean", "highest", "lowest", "spread", "rise", "change", "count", "neighbours", "time-above", "time-below", "time-on", "heat-above",
	"time-since", "times", "age", "apart", "vote", "during", "until", "watched",
}

var reservedBy = byLetter(slices.Concat(keywords, Functions, []string{"everyone", "value"}))

// Reserved tells of words that name something already, so that no block may be called so.
func Reserved(word string) bool { return word != "" && slices.Contains(reservedBy[word[0]], word) }
