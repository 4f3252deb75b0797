package callout

import (
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"testing"
)

var verbs = regexp.MustCompile(`%[0-9.]*[a-z]`)

// texts gives every text that is kept in a value, by where it stands.
func texts(v reflect.Value, at string, into map[string]string) {
	switch v.Kind() {
	case reflect.String:
		into[at] = v.String()
	case reflect.Struct:
		for i := range v.NumField() {
			texts(v.Field(i), at+"."+v.Type().Field(i).Name, into)
		}
	case reflect.Array:
		for i := range v.Len() {
			texts(v.Index(i), fmt.Sprint(at, ".", i), into)
		}
	case reflect.Map:
		for _, k := range v.MapKeys() {
			texts(v.MapIndex(k), at+"."+k.String(), into)
		}
	}
}

// Aim: each language has every word that English has, with the same places for what is filled in, and no word of its own that nobody uses.
func TestWords_complete(t *testing.T) {
	want := map[string]string{}
	texts(reflect.ValueOf(english), "", want)
	if len(want) < 45 || languages["es"] == nil {
		t.Fatalf("%d words, languages %v", len(want), languages)
	}
	for name, language := range languages {
		got := map[string]string{}
		texts(reflect.ValueOf(*language), "", got)
		if len(got) != len(want) {
			t.Errorf("%s has %d words, English %d", name, len(got), len(want))
		}
		for at, text := range want {
			if got[at] == "" || !slices.Equal(verbs.FindAllString(got[at], -1), verbs.FindAllString(text, -1)) {
				t.Errorf("%s: %s is %q, in English %q", name, at, got[at], text)
			}
		}
	}
}
