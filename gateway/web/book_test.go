package web

import (
	"html"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
)

// Aim: the plain forms enter what they say, keep who entered it, and answer in words; the same texts in one form and the JSON interface are the same step.
func TestBook_forms(t *testing.T) {
	for _, c := range []struct {
		path   string
		fields string
		status int
		says   string
	}{
		{"/book", "act=intake&lot=150&kg=640.5&cherry=bought&supplier=N-12&floaters=0&ripe=95&by=ben", 200, "Written down: 150 taken in: bought cherry, 640.5 kg, from N-12, floaters 0 %, ripe 95 %"},
		{"/book", "act=intake&lot=150&kg=much&cherry=own&by=ben", 422, "write a number"},
		{"/book", "act=intake&lot=150&kg=640&cherry=own&by=", 422, "Say who you are"},
		{"/book", "act=intake&lot=150&kg=640&cherry=own&by=vera", 403, "may not do that"},
		{"/book/143-b", "act=load&station=tank-2&kg=&by=ben", 200, "tank-2 loaded: 143-b"},
		{"/book/143-b", "act=weigh&kg=900&by=ben", 409, "cannot weigh 900 kg"},
		{"/book/143-b", "act=check&gritty=yes&bite=&meter=11.8+%25wb&by=ben", 200, "meter: 11.8 %wb"},
		{"/book/143-b", "act=split&parts=143-c%3D5,+143-d&by=ben", 200, "split into 143-c 5 kg and 143-d"},
		{"/book/143-b", "act=split&parts=143-c%3Dsome&by=ben", 422, "with its weight"},
		{"/book/143-a", "act=grade&screens=17%3D20,+16%3D10&below=3&primary=0&by=ben", 200, "screen 17: 20 kg"},
		{"/book/143-a", "act=grade&screens=large&by=ben", 422, "for example 17=52"},
		{"/book/143-a", "act=roast&in=12&kg=10.2&time=12:40&by=ben", 200, "12:40 min"},
		{"/book/143-a", "act=roast&in=12&kg=10.2&time=long&by=ben", 422, "minutes and seconds"},
		{"/book/143", "act=correct&entry=99&by=ben", 404, "no entry 99"},
		{"/book/143", "act=fly&by=ben", 422, "There is no act"},
		{"/book/none", "act=weigh&kg=1&by=ben", 404, "no lot"},
	} {
		f := newFake().night()
		r := httptest.NewRequest("POST", "http://127.0.0.1:8420"+c.path, strings.NewReader(c.fields))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		got := ask(t, newWeb(t, f), r)
		if got.Code != c.status || !strings.Contains(strings.ReplaceAll(got.Body.String(), "&#39;", "'"), c.says) {
			t.Errorf("%s %s: status %d, want %d and %q:\n%.600s", c.path, c.fields, got.Code, c.status, c.says, got.Body)
		}
	}
}

// Aim: in Spanish every word of every form is Spanish, and what is chosen still enters the same step.
func TestBook_spanish(t *testing.T) {
	get := func(path, language string) string {
		r := httptest.NewRequest("GET", "http://127.0.0.1:8420"+path, nil)
		r.Header.Set("Accept-Language", language)
		return ask(t, newWeb(t, newFake().night()), r).Body.String()
	}
	word := regexp.MustCompile(`<(?:summary|h1|title|button|option value="[a-z]+")>([^<]+)<|<label>([^<]+) <`)
	for _, path := range []string{"/book", "/book/143-a", "/book/143-b"} {
		english, spanish := get(path, "en"), get(path, "es-PE,es;q=0.9")
		if !strings.Contains(spanish, `lang="es"`) || !strings.Contains(english, `lang="en"`) {
			t.Errorf("%s: the language is not said", path)
		}
		same := map[string]bool{}
		for _, m := range word.FindAllStringSubmatch(english, -1) {
			same[m[1]+m[2]] = true
		}
		found := 0
		for _, m := range word.FindAllStringSubmatch(spanish, -1) {
			text := html.UnescapeString(m[1] + m[2])
			found++
			if _, translated := bookSpanish[text]; translated && bookSpanish[text] != text {
				t.Errorf("%s: %q is English", path, text)
			}
		}
		if found < 10 || len(same) < 10 {
			t.Errorf("%s: only %d words were looked at", path, found)
		}
	}
	for _, f := range bookFields {
		for _, text := range append(f.Choices, f.Title) {
			if spanish := bookWords("es")(text); spanish == text && text != "" && text != "no" {
				t.Errorf("%q has no Spanish", text)
			}
		}
	}
}

// Aim: no form makes the gateway fail.
func FuzzBook(f *testing.F) {
	f.Add("act=intake&lot=150&kg=640.5&cherry=bought&supplier=N-12&by=ben")
	f.Add("act=split&parts=143-c%3D5,+143-d&by=ben&kg=NaN&time=1:1&screens=1=1")
	w := newWeb(f, newFake())
	f.Fuzz(func(t *testing.T, fields string) {
		if _, err := url.ParseQuery(fields); err != nil {
			return
		}
		r := httptest.NewRequest("POST", "http://127.0.0.1:8420/book", strings.NewReader(fields))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		if got := ask(t, w, r); got.Code >= 500 {
			t.Fatalf("%q: status %d, %s", fields, got.Code, got.Body)
		}
	})
}
