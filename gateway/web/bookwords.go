package web

import (
	"strings"

	"millwarden/internal/saying"
)

// bookSpanish are the words of the book's forms in Spanish, by the English ones. Its sentences, and the words within them, are in internal/saying.
//
//nolint:misspell // it is Spanish
var bookSpanish = map[string]string{
	"Lot": "Lote", "The book of lots": "El libro de lotes", "What next": "Qué sigue", "All lots": "Todos los lotes", "Written down:": "Anotado:", "Look again:": "Revise otra vez:",
	"Nothing is left of it.": "Ya no queda nada.", "Nobody has entered what it is": "Nadie ha anotado qué es", "in": "en", "since": "desde",
	"The lot's record, to print": "El registro del lote, para imprimir", "as a table": "como tabla", "Who": "Quién", "entry": "asiento", "corrected by": "corregido por",

	"Cherry taken in": "Cereza recibida", "Loaded": "Cargado", "Out of": "Sacado de", "Moved from": "Pasado de", "Hand check": "Revisión a mano", "Weighed": "Pesado", "Hulled": "Trillado",
	"Graded": "Clasificado", "Roasted": "Tostado", "Split": "Dividido", "An entry never was": "Un asiento no fue",

	"Station": "Puesto", "To": "A", "Weight, kg": "Peso, kg", "In, kg": "Entra, kg", "Moisture, %wb": "Humedad, %wb", "Water activity": "Actividad de agua", "Cherry": "Cereza",
	"Supplier's code, if bought": "Código del proveedor, si es comprada", "Plot or pickers": "Parcela o recolectores", "Floaters, %": "Flotes, %", "Ripe, %": "Maduros, %",
	"Parts with their kg": "Partes con sus kg", "Gritty": "Áspero al tacto", "Bite": "Mordida", "Hand meter, with its unit": "Medidor de mano, con su unidad", "Screens with their kg": "Zarandas con sus kg",
	"Below all screens, kg": "Bajo todas las zarandas, kg", "Primary defects": "Defectos primarios", "Secondary defects": "Defectos secundarios", "Quakers": "Granos inmaduros (quakers)",
	"Charge, °C": "Carga, °C", "Drop, °C": "Descarga, °C", "Charge to drop": "De carga a descarga", "Colour": "Color", "Entry that was wrong": "Asiento equivocado", "Note": "Nota",
}

// bookWords gives the words of the forms in a language. A title that ends in the name of a station is put together from both.
func bookWords(language string) func(string) string {
	if language != "es" {
		return func(english string) string { return english }
	}
	return func(english string) string {
		if word, ok := bookSpanish[english]; ok {
			return word
		}
		for _, begins := range []string{"Out of", "Moved from"} {
			if station, ok := strings.CutPrefix(english, begins+" "); ok {
				return bookSpanish[begins] + " " + station
			}
		}
		return saying.In(language, english)
	}
}
