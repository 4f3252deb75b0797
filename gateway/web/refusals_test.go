package web

import (
	"net/http/httptest"
	"strings"
	"testing"
)

// Aim: a refusal comes in the language that the page asks in, with its varying words, and says which language that is; another language, and what is not
// refused, are the controls.
func TestRefusals_inLanguage(t *testing.T) {
	for _, c := range []struct{ path, body, language, want, says string }{
		{"/api/acts", `{"do":"note","station":"tank-1","why":"x","by":"nobody-here"}`, "es", "es", "En el archivo de reglas no hay nadie con ese nombre."},
		{"/api/acts", `{"do":"note","station":"tank-1","why":"x","by":"nobody-here"}`, "en", "en", "There is no person of that name in the rules file."},
		{"/api/acts", `{"do":"note","station":"tank-1","why":"x","by":"nobody-here"}`, "de", "en", "There is no person of that name in the rules file."},
		{"/api/acts", `{"do":"shelve","alarm":"over-fermented@tank-1","why":"x","by":"ana","for":"9 h"}`, "es-PE", "es", "se puede aplazar 1 h a lo sumo"},
		{"/api/acts", `{"do":"acknowledge","alarm":"over-fermented@tank-1","occurrence":7,"by":"ana"}`, "es", "", ""},
	} {
		f := newFake().night()
		if strings.Contains(c.body, "shelve") {
			f.refusal = &Refusal{RefusedState, "it may be shelved for 1 h at most"}
		}
		r := httptest.NewRequest("POST", "http://127.0.0.1:8420"+c.path, strings.NewReader(c.body))
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("Accept-Language", c.language)
		got := ask(t, newWeb(t, f), r)
		if language := got.Header().Get("Content-Language"); language != c.want || !strings.Contains(got.Body.String(), c.says) {
			t.Errorf("%s in %s: Content-Language %q, %s; want %q, %q", c.body, c.language, language, got.Body, c.want, c.says)
		}
	}
}
