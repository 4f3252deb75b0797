package web

import (
	"cmp"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// saysSpanish are the sentences that the book of lots says, refusals, warnings and entries, by their English form: the Spanish for each, with $1, $2 for what stands in the places of the verbs. A test holds the list to
// the sentences of gateway/logbook/lots.
//
//nolint:misspell // it is Spanish
var saysSpanish = map[string]string{
	// What cannot be entered.
	"There is no entry %d about a lot.":                                            "No hay ningún asiento $1 sobre un lote.",
	"Entry %d is %s: it can be corrected as that, or struck, and %s entered anew.": "El asiento $1 es $2: se puede corregir como tal, o tachar, y anotar $3 de nuevo.",
	"Then entry %d (%s) would not hold: %s Correct that one first.":                "Entonces el asiento $1 ($2) ya no valdría: $3 Corrija primero ese.",
	"There is no act %q: write one of %s.":                                         "No existe el acto $1: escriba uno de $2.",
	"There is no act %q.":                                                          "No existe el acto $1.",
	"%s does not go with %s: it takes %s.":                                         "$1 no va con $2: lleva $3.",
	"%s %v cannot be: write it %s.":                                                "$1 $2 no puede ser: escríbalo $3.",
	"%q is no name of a lot: begin with a letter or digit, then also - _ . # / and spaces, up to %d, for example 143 or west-7.": "$1 no es nombre de lote: empiece con letra o cifra, luego también - _ . # / y espacios, hasta $2, por ejemplo 143 o oeste-7.",
	"%s is %s, not %q.": "$1 es $2, no $3.",
	"%.20q is too long, or has signs that cannot be printed: write at most %d letters.": "$1 es muy largo, o tiene signos que no se pueden imprimir: escriba a lo sumo $2 letras.",
	"That is more than %d parts: enter them in two steps.":                              "Son más de $1 partes: anótelas en dos pasos.",
	"%s stands there twice.": "$1 aparece dos veces.",
	"%v kg of %s cannot be: write a weight in kg, for example 200.":                             "$1 kg de $2 no puede ser: escriba un peso en kg, por ejemplo 200.",
	"A blend is of two lots or more.":                                                           "Una mezcla es de dos lotes o más.",
	"Screen %d cannot be, or stands there twice: screens go from 8 to 22, in 64ths of an inch.": "La zaranda $1 no puede ser, o aparece dos veces: las zarandas van de 8 a 22, en 64avos de pulgada.",
	"%v kg on screen %d cannot be.":                                                             "$1 kg en la zaranda $2 no puede ser.",
	"No meter shows %s.":                                                                        "Ningún medidor muestra $1.",
	"%q is no reading of a hand meter: write it with its unit, for example 11.8 %%wb, 0.58 aw, 4.5 pH or 23 °C.": "$1 no es una lectura de medidor de mano: escríbala con su unidad, por ejemplo 11.8 %wb, 0.58 aw, 4.5 pH o 23 °C.",
	"Bought cherry has a supplier: say their code.":                                                              "La cereza comprada tiene proveedor: diga su código.",
	"Own cherry has no supplier; is it bought?":                                                                  "La cereza propia no tiene proveedor; ¿es comprada?",
	"Say which lot or station was checked.":                                                                      "Diga qué lote o puesto se revisó.",
	"Say what was found: gritty, bite, a meter, or a note.":                                                      "Diga qué se encontró: tacto, mordida, un medidor o una nota.",
	"Say what was found: screens, defects, moisture, or a note.":                                                 "Diga qué se encontró: zarandas, defectos, humedad o una nota.",
	"It stands in %s already.":                                                                                   "Ya está en $1.",
	"First crack comes before the drop.":                                                                         "El primer crujido viene antes de la descarga.",
	"A correction is corrected by pointing at the first entry again.":                                            "Una corrección se corrige señalando otra vez el primer asiento.",
	"The board's clock is not set: a time cannot be given now.":                                                  "El reloj de la placa no está puesto: ahora no se puede dar una hora.",
	"That time has not come yet.":                                                                                "Esa hora todavía no llega.",
	"That is too long ago.":                                                                                      "Eso fue hace demasiado tiempo.",
	"Say which lot, for example 143.":                                                                            "Diga qué lote, por ejemplo 143.",
	"Say the weight, for example kg 412.":                                                                        "Diga el peso, por ejemplo kg 412.",
	"Say whether the cherry is own or bought.":                                                                   "Diga si la cereza es propia o comprada.",
	"Say which station, for example tank-1.":                                                                     "Diga qué puesto, por ejemplo tank-1.",
	"Say to which station.":                                                                                      "Diga a qué puesto.",
	"Say which lots, each with its weight.":                                                                      "Diga qué lotes, cada uno con su peso.",
	"Say how much went in, for example in 12 kg.":                                                                "Diga cuánto entró, por ejemplo in 12 kg.",
	"Say which entry was wrong, by its number.":                                                                  "Diga qué asiento estaba mal, por su número.",
	"Write the time as minutes and seconds, for example 12:40.":                                                  "Escriba el tiempo en minutos y segundos, por ejemplo 12:40.",
	"%s: write a number with a point, for example %s.":                                                           "$1: escriba un número con punto, por ejemplo $2.",
	"A number in the form is none.":                                                                              "Un número del formulario no lo es.",
	"A count in the form is not whole, or a field does not fit.":                                                 "Una cantidad del formulario no es entera, o un campo no corresponde.",
	"The form could not be read; is it too long?":                                                                "No se pudo leer el formulario; ¿es muy largo?",
	"Write each screen with its weight, for example 17=52, 16=31.":                                               "Escriba cada zaranda con su peso, por ejemplo 17=52, 16=31.",
	"Write each with its weight, for example %s.":                                                                "Escriba cada uno con su peso, por ejemplo $1.",
	"There is no station %q.":                                                                                    "No hay ningún puesto $1.",
	"Say who you are.":                                                                                           "Diga quién es.",
	// What cannot be, as things stand.
	"There is no lot %s.":        "No hay ningún lote $1.",
	"Nothing is left of %s: %s.": "De $1 ya no queda nada: $2.",
	"Nothing is left of %s: %s. Give the new cherry its own name.": "De $1 ya no queda nada: $2. Dé a la cereza nueva su propio nombre.",
	"it went into %s": "pasó a $1",
	"it is roasted":   "está tostado",
	"%s is on its way already: give the new cherry its own name.":                                             "$1 ya está en camino: dé a la cereza nueva su propio nombre.",
	"%s weighed %s before and cannot weigh %s now: weigh it again, or correct the earlier weight (entry %d).": "$1 pesaba antes $2 y no puede pesar ahora $3: péselo otra vez, o corrija el peso anterior (asiento $4).",
	"Lot %s stands in %s since %s: empty it first.":                                                           "El lote $1 está en $2 desde $3: sáquelo primero.",
	"Lot %s stands in %s since %s, and cannot be in two places: move it, or split it first.":                  "El lote $1 está en $2 desde $3, y no puede estar en dos lugares: páselo, o divídalo primero.",
	"Lot %s is %s: hull it before it is roasted.":                                                             "El lote $1 es $2: tríllelo antes de tostarlo.",
	"Nobody has entered where the cherry of %s came from.":                                                    "Nadie ha anotado de dónde vino la cereza de $1.",
	"Only %s of %s are left.":                                                                           "Solo quedan $1 de $2.",
	"Only %s of %s are there.":                                                                          "Solo hay $1 de $2.",
	"Lot %s stood in %s until %s.":                                                                      "El lote $1 estuvo en $2 hasta $3.",
	"No lot stands in %s.":                                                                              "No hay ningún lote en $1.",
	"No lot stands in %s: say which lot was checked.":                                                   "No hay ningún lote en $1: diga qué lote se revisó.",
	"Lot %s stands in %s, not %s.":                                                                      "En $2 está el lote $1, no $3.",
	"Lot %s was loaded into %s at %s: it cannot come out before.":                                       "El lote $1 se cargó en $2 el $3: no puede salir antes.",
	"A roaster is loaded and emptied: its batch is a part of the lot.":                                  "Un tostador se carga y se vacía: su tanda es una parte del lote.",
	"There is a lot %s already: give the part a name of its own.":                                       "Ya hay un lote $1: dé a la parte un nombre propio.",
	"There is a lot %s already: give the blend a name of its own.":                                      "Ya hay un lote $1: dé a la mezcla un nombre propio.",
	"Say what each part weighs; only the last may be what is left, and only of a lot that was weighed.": "Diga cuánto pesa cada parte; solo la última puede ser lo que queda, y solo de un lote pesado.",
	"The parts weigh %s, and %s are there.":                                                             "Las partes pesan $1, y hay $2.",
	"Nothing is left for the last part: the others weigh %s of %s.":                                     "No queda nada para la última parte: las otras pesan $1 de $2.",
	"All of %s goes into the parts, and it stands in %s: empty that first.":                             "Todo $1 pasa a las partes, y está en $2: sáquelo primero.",
	"All of %s goes into the blend, and it stands in %s: empty that first, or say how much.":            "Todo $1 pasa a la mezcla, y está en $2: sáquelo primero, o diga cuánto.",
	"%s is %s and %s is %s: they can be blended once they are the same.":                                "$1 es $2 y $3 es $4: se pueden mezclar cuando sean lo mismo.",
	"The parts weigh %s, and the blend cannot weigh %s.":                                                "Las partes pesan $1, y la mezcla no puede pesar $2.",
	"Lot %s is %s already.":                                                                             "El lote $1 ya es $2.",
	"Lot %s is %s: it is hulled once it is dry.":                                                        "El lote $1 es $2: se trilla cuando está seco.",
	"Lot %s stands in %s: empty that first.":                                                            "El lote $1 está en $2: sáquelo primero.",
	"%s of %s are hulled, and the rest is not: split it first.":                                         "Se trillan $1 de $2, y el resto no: divídalo primero.",
	"%s cannot come of %s.":                                                                             "De $2 no pueden salir $1.",
	"%.1f %% of the parchment is green; 78 to 84 %% is usual. Weigh again.":                             "El $1 % del pergamino es verde; lo usual es 78 a 84 %. Pese otra vez.",
	"Lot %s is %s: green is graded.":                                                                    "El lote $1 es $2: se clasifica el verde.",
	"The screens hold %s, and %s are there. Is it a sample?":                                            "Las zarandas tienen $1, y hay $2. ¿Es una muestra?",
	"There is a batch %s of %s already.":                                                                "Ya hay una tanda $1 de $2.",
	"The batch lost %.1f %% of its weight; 12 to 20 %% is usual. Weigh again.":                          "La tanda perdió $1 % de su peso; lo usual es 12 a 20 %. Pese otra vez.",
	// Entries, piece by piece.
	"%s taken in: %s cherry": "$1 recibido: cereza $2", "%s loaded: %s": "$1 cargado: $2", "%s emptied: %s": "$1 vaciado: $2", "%s emptied": "$1 vaciado",
	"%s moved from %s to %s": "$1 pasado de $2 a $3", "%s split into %s": "$1 dividido en $2", "%s blended of %s": "$1 mezclado de $2", "%s weighed": "$1 pesado", "%s checked by hand": "$1 revisado a mano",
	"%s hulled": "$1 trillado", "%s graded": "$1 clasificado", "%s graded by a sample": "$1 clasificado por una muestra", "%s roasted %s": "$1 tostado $2", "%s roasted": "$1 tostado",
	"entry %d struck: it never was": "asiento $1 tachado: no fue", "entry %d corrected: %s": "asiento $1 corregido: $2",
	"%s in": "entran $1", "%s out": "salen $1", "from %s": "de $1", "plot %s": "parcela $1", "floaters %.3g %%": "flotes $1 %", "ripe %.3g %%": "maduros $1 %", "gritty: %s": "áspero: $1", "bite: %s": "mordida: $1",
	"meter: %s": "medidor: $1", "screen %d: %s": "zaranda $1: $2", "below: %s": "debajo: $1", "primary defects %.0f": "defectos primarios $1", "secondary defects %.0f": "defectos secundarios $1",
	"quakers %.0f": "granos inmaduros $1", "charge %.4g °C": "carga $1 °C", "first crack %.4g °C": "primer crujido $1 °C", "drop %.4g °C": "descarga $1 °C", "colour %s": "color $1",
	"%.4g %%wb": "$1 %wb", "aw %.3g": "aw $1", "%d:%02d min": "$1:$2 min", "%s": "$1",
}

var verb = regexp.MustCompile(`%[-+#.0-9]*[a-zA-Z]`)

// saysPattern is one sentence as a pattern; the longer its own words, the earlier it is tried.
type saysPattern struct {
	matches *regexp.Regexp
	spanish string
	words   int
}

// patterns are made when somebody first reads Spanish.
var patterns = sync.OnceValue(func() []saysPattern {
	var list []saysPattern
	for english, spanish := range merged(saysSpanish, refusalsSpanish) {
		if english == "%s" {
			continue
		}
		var text strings.Builder
		rest := strings.ReplaceAll(english, "%%", "\x00")
		words, any := 0, `(.+?)`
		if _, whole := refusalsSpanish[english]; !whole && !strings.HasSuffix(english, ".") {
			any = `([^,]+?)` // a piece of an entry: the next piece comes behind a comma
		}
		for {
			at := verb.FindStringIndex(rest)
			if at == nil {
				break
			}
			text.WriteString(regexp.QuoteMeta(rest[:at[0]]) + any)
			words += at[0]
			rest = rest[at[1]:]
		}
		text.WriteString(regexp.QuoteMeta(rest))
		list = append(list, saysPattern{regexp.MustCompile("^" + strings.ReplaceAll(text.String(), "\x00", "%") + "$"), spanish, words + len(rest)})
	}
	slices.SortFunc(list, func(a, b saysPattern) int { return cmp.Or(b.words-a.words, strings.Compare(a.spanish, b.spanish)) })
	return list
})

func merged(tables ...map[string]string) map[string]string {
	all := map[string]string{}
	for _, t := range tables {
		maps.Copy(all, t)
	}
	return all
}

// spanishSays gives a sentence of the book, or a refusal, in Spanish; one that is not known stays as it is. Words within it are given too: what a lot is, a sentence in a sentence.
func spanishSays(english string) string {
	if word, ok := bookSpanish[english]; ok {
		return word
	}
	for _, p := range patterns() {
		found := p.matches.FindStringSubmatch(english)
		if found == nil {
			continue
		}
		out := p.spanish
		for i := len(found) - 1; i > 0; i-- {
			out = strings.ReplaceAll(out, "$"+strconv.Itoa(i), spanishSays(found[i]))
		}
		return out
	}
	if head, rest, more := strings.Cut(english, ", "); more { // an entry: its pieces one by one
		return spanishSays(head) + ", " + spanishSays(rest)
	}
	return english
}
