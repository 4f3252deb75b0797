package people

import (
	"errors"
	"strings"
	"unicode"
	"unicode/utf8"
)

// What is wrong with a new password.
var (
	ErrShort  = errors.New("a password has at least 8 characters")
	ErrLong   = errors.New("a password has at most 256 characters")
	ErrCommon = errors.New("this password is among those that are guessed first")
)

const (
	shortest = 8   // [ASVS 5.0.0 6.2.1]
	longest  = 256 // at least 64 [ASVS 5.0.0 6.2.9]
	// What is left once names and decoration are taken away: chosen, that of "ana-2026-x" too little stays, of a word of four letters something.
	leastCore = 4
	// Chosen: fewer different characters than this are a pattern ("abababab").
	leastDifferent = 4
)

// Weigh tells whether a new password may stand. It asks for length and that it is not among the first guesses: a common password, a name of the site or
// of the person, a run of the alphabet or a pattern, each also with digits and signs around it or in place of letters. It asks for no kinds of characters,
// and it forces no change with time. [NIST SP 800-63B 5.1.1.2; ASVS 5.0.0 6.2.1 to 6.2.11]
func Weigh(password string, about ...string) error {
	switch n := utf8.RuneCountInString(password); {
	case n < shortest:
		return ErrShort
	case n > longest:
		return ErrLong
	}
	lower := strings.ToLower(password)
	if isFirst(lower) {
		return ErrCommon
	}
	lower = withoutNames(lower, about)
	for _, isDecoration := range []func(rune) bool{isSign, isNoLetter} { // the 3 at the end of "jan3" may stand for a letter or behind a word
		core := strings.TrimFunc(lower, isDecoration)
		if utf8.RuneCountInString(core) < leastCore || isFirst(core) || isFirst(plainer.Replace(core)) {
			return ErrCommon
		}
	}
	return nil
}

// isFirst tells what is guessed first, as it is.
func isFirst(text string) bool { return isCommon(text) || isPattern(text) }

// plainer puts letters back where signs that look like them are usual.
var plainer = strings.NewReplacer("0", "o", "1", "i", "3", "e", "4", "a", "5", "s", "7", "t", "@", "a", "$", "s")

func isNoLetter(r rune) bool { return !unicode.IsLetter(r) }

func isSign(r rune) bool { return isNoLetter(r) && !strings.ContainsRune("013457@$", r) }

// withoutNames takes the words of the names out of a text in small letters. Words of one or two letters stand in too many others.
func withoutNames(text string, names []string) string {
	for _, name := range names {
		for _, word := range append([]string{name}, strings.FieldsFunc(name, isNoLetter)...) {
			if utf8.RuneCountInString(word) > 2 {
				text = strings.ReplaceAll(text, strings.ToLower(word), "")
			}
		}
	}
	return text
}

// isPattern tells a text of too few different characters, or one that goes on by the same step: "aaaaaaaa", "34567890", "hgfedcba".
func isPattern(text string) bool {
	seen, steps := map[rune]bool{}, map[rune]bool{}
	before := rune(0)
	for i, r := range text {
		if seen[r] = true; i > 0 {
			steps[r-before] = true
		}
		before = r
	}
	return len(seen) < leastDifferent || len(steps) == 1
}
