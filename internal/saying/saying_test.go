package saying

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
)

// Aim: whole sentences, pieces and reasons as the program writes them are said in Spanish, with names, values and people's words as they are; other languages and what is not the program's stay.
func TestIn(t *testing.T) {
	for _, c := range [][2]string{
		{"tank-1/ph is 4.15 pH, limit 4.20 pH, for 5 min, since 02:14:05; rule over-fermented, fern-hollow.rules:14.",
			"tank-1/ph: 4.15 pH, límite 4.20 pH, durante 5 min, desde 02:14:05; regla over-fermented, fern-hollow.rules:14."},
		{"rise(air-temperature, 2 min) is 3.0 °C/min, limit 1.0 °C/min; dryer-1/fan is off, for 10 s, since 02:14:05; rule dryer-runs-away, fern-hollow.rules:180.",
			"rise(air-temperature, 2 min): 3.0 °C/min, límite 1.0 °C/min; dryer-1/fan: apagado, durante 10 s, desde 02:14:05; regla dryer-runs-away, fern-hollow.rules:180."},
		{"back to normal: tank-1/ph is 4.40 pH, limit 4.30 pH, since 04:00:00; rule over-fermented, fern-hollow.rules:14.",
			"de vuelta a lo normal: tank-1/ph: 4.40 pH, límite 4.30 pH, desde 04:00:00; regla over-fermented, fern-hollow.rules:14."},
		{"shelved by Ana for 2 h, until 04:00:00, because the stick is changed; rule measurement-lost, standard/instruments.rules:14.",
			"aplazada por Ana durante 2 h, hasta 04:00:00, porque the stick is changed; regla measurement-lost, standard/instruments.rules:14."},
		{"the rules were changed by ana; its priority is now high: tank-1/ph is unknown; rule x, y.rules:1.", "las reglas cambiaron por ana; su prioridad es ahora alta: tank-1/ph: no se conoce; regla x, y.rules:1."},
		{"“loaded” ended; rule ready, y.rules:1.", "terminó «loaded»; regla ready, y.rules:1."},
		{"the rules were changed by ana; withdrawn by rules change.", "las reglas cambiaron por ana; retirada por el cambio de reglas."},
		{"150 taken in: bought cherry, 640.5 kg, from N-12, floaters 0 %, ripe 95 %", "150 recibido: cereza comprada, 640.5 kg, de N-12, flotes 0 %, maduros 95 %"},
		{"to Ana by text, try 2: DRYER 1 is on fire, since 02:14.", "a Ana por mensaje de texto, intento 2: DRYER 1 is on fire, since 02:14."},
		{"Run a drill.", "Haga un simulacro."}, // a built-in text
		{"The bell by the gate rings.", "The bell by the gate rings."},
		{"", ""},
	} {
		if got := In("es", c[0]); got != c[1] {
			t.Errorf("In(es, %q)\n got %q\nwant %q", c[0], got, c[1])
		}
		if got := In("en", c[0]); got != c[0] {
			t.Errorf("In(en, %q) = %q", c[0], got)
		}
	}
}

// Aim: every form is found by its sentence with any words in its places, and its Spanish keeps them; a longer one is not taken for a shorter one.
func TestIn_everyForm(t *testing.T) {
	for section, say := range map[string]func(string) string{"sentences": func(s string) string { return In("es", s) }, "entries": func(s string) string { return In("es", s) },
		"reasons": func(s string) string { return Reason("es", s) }} {
		forms := Forms("es", section)
		if len(forms) < 40 {
			t.Errorf("%s has only %d forms", section, len(forms))
		}
		for english, spanish := range forms {
			n, want := strings.Count(filled(english), "zz"), spanish
			for i := n; i > 0; i-- {
				word := fmt.Sprintf("zz%d", i)
				want = strings.NewReplacer("$"+strconv.Itoa(i), word, "&"+strconv.Itoa(i), word).Replace(want)
				if !strings.Contains(want, word) {
					t.Errorf("%q leaves out %d of %q", spanish, i, english)
				}
			}
			if got := say(filled(english)); got != want {
				t.Errorf("%q in Spanish is %q, want %q", filled(english), got, want)
			}
		}
	}
}

// Fuzz: whatever stands in the logbook is turned without a panic, and twice the same.
func FuzzIn(f *testing.F) {
	f.Add("tank-1/ph is 4.15 pH, limit 4.20 pH; rule over-fermented, fern-hollow.rules:14.")
	f.Add("150 taken in: bought cherry, 640.5 kg")
	f.Fuzz(func(t *testing.T, text string) {
		if a, b := In("es", text), In("es", text); a != b {
			t.Errorf("%q, then %q", a, b)
		}
	})
}
