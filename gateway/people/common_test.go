package people

import (
	"errors"
	"flag"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"github.com/trustelem/zxcvbn"
	"github.com/trustelem/zxcvbn/frequency"
)

var update = flag.Bool("update", false, "make the filter of common passwords anew")

// texts are what the filter holds: each entry of the lists, and the word in it without the digits and signs around.
func texts() map[string]bool {
	all := map[string]bool{}
	for _, list := range frequency.FrequencyLists {
		for _, entry := range list {
			lower := strings.ToLower(entry)
			all[lower] = true
			if word := strings.TrimFunc(lower, isNoLetter); len(word) >= leastCore {
				all[word] = true
			}
		}
	}
	return all
}

// Aim: the filter is what its source gives; it holds as many as ASVS asks for; about words that are not in the list it is wrong as seldom as it says.
func TestCommon(t *testing.T) {
	all := texts()
	made := make([]byte, 20*len(all)/8+1)
	for text := range all {
		for _, bit := range placesOf(text, len(made)) {
			made[bit/8] |= 1 << (bit % 8)
		}
	}
	if *update {
		if err := os.WriteFile("common.filter", made, 0o644); err != nil { //nolint:gosec // part of the source
			t.Fatal(err)
		}
		common = string(made)
	}
	if string(made) != common {
		t.Fatal("common.filter is not what the list gives: go test ./gateway/people -run Common -update")
	}
	if n := len(frequency.FrequencyLists["passwords"]); n < 3000 {
		t.Fatalf("%d common passwords, want 3,000 [ASVS 5.0.0 6.2.4]", n)
	}
	wrong, tried := 0, 200_000
	for range tried {
		if isCommon(randomWord()) {
			wrong++
		}
	}
	if limit := math.Pow(0.5, places) * float64(tried); float64(wrong) > 4*limit {
		t.Errorf("%d of %d random passwords are told common, want about %.0f", wrong, tried, limit)
	}
}

func randomWord() string {
	word := make([]byte, 12)
	for i := range word {
		word[i] = byte('a' + rand.IntN(26)) //nolint:gosec // a letter
	}
	return string(word)
}

// Aim: what leaked most is refused as it is and as people dress it.
func TestWeigh_leaked(t *testing.T) {
	leaked := frequency.FrequencyLists["passwords"]
	for _, password := range leaked {
		if got := Weigh(password); got == nil {
			t.Errorf("Weigh(%q) = nil, and it is in the list", password)
		}
	}
	for _, password := range leaked[:3000] {
		if len(password) < leastCore {
			continue
		}
		dresses := []string{strings.ToUpper(password) + "1234", "!!" + password + "2026"}
		if !strings.ContainsAny(password, "0123456789") {
			dresses = append(dresses, strings.NewReplacer("a", "@", "o", "0", "e", "3").Replace(password)+"!!!!")
		}
		for _, dressed := range dresses {
			if got := Weigh(dressed); got == nil {
				t.Errorf("Weigh(%q) = nil, and it is %q with decoration", dressed, password)
			}
		}
	}
}

// Aim: nothing of three words that do not belong together is refused, whatever the words: random ones of the estimator's dictionary, which takes none of them for easy.
func TestWeigh_words(t *testing.T) {
	words := frequency.FrequencyLists["english_wikipedia"]
	refused := 0
	for range 500 {
		phrase := words[rand.IntN(len(words))] + " " + words[rand.IntN(len(words))] + " " + words[rand.IntN(len(words))]
		if len(phrase) < shortest || zxcvbn.PasswordStrength(phrase, nil).Guesses < 1e6 {
			continue
		}
		if err := Weigh(phrase, "fern hollow", "millwarden"); errors.Is(err, ErrCommon) {
			refused++
			t.Logf("Weigh(%q) = %v", phrase, err)
		}
	}
	if refused > 2 { // the filter errs once in 15,000
		t.Errorf("%d of 500 random phrases of three words are told common", refused)
	}
}
