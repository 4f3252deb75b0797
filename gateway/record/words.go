package record

import (
	_ "embed"
	"regexp"
	"strings"
	"sync"

	"millwarden/internal/saying"
	"millwarden/internal/units"
)

//go:embed es.txt
var spanish string

// runs finds tags and actions of the page; what stands between them are its words.
var runs = regexp.MustCompile(`(?s)<style>.*?</style>|<[^>]*>|\{\{.*?\}\}`)

// spanishPage is the page with its words in Spanish; made when somebody first wants it.
var spanishPage = sync.OnceValue(func() string {
	known := map[string]string{}
	of := ""
	for line := range strings.Lines(spanish) {
		line = strings.TrimRight(line, "\n")
		switch {
		case strings.HasPrefix(line, "    "):
			known[of] = line[4:]
		case line != "" && line[0] != '#':
			of = line
		}
	}
	var out strings.Builder
	text := strings.Replace(page, `<html lang="en">`, `<html lang="es">`, 1)
	from := 0
	for _, at := range append(runs.FindAllStringIndex(text, -1), []int{len(text), len(text)}) {
		run := text[from:at[0]]
		word := strings.TrimSpace(run)
		if said, ok := known[word]; ok {
			run = strings.Replace(run, word, said, 1)
		}
		out.WriteString(run + text[at[0]:at[1]])
		from = at[1]
	}
	return out.String()
})

// For gives the record as one person reads it: in a language ("es"; any other is English) and in the units of that person. What was entered stays what it is.
func (r *Record) For(language string, choice units.Choice) *Record {
	own := *r
	own.Language, own.Site.Choice = language, choice
	return &own
}

// say gives a text of the program in the language of the record.
func (r *Record) say(text string) string { return saying.In(r.Language, text) }

// told gives what was done in the language and the units of the record: an entry, or why an alarm came or went.
func (r *Record) told(text string) string {
	said := r.say(text)
	if said == text {
		said = saying.Reason(r.Language, text)
	}
	return r.Site.Choice.Sentence(r.called(said))
}

// months in Spanish, whole and short, as Go writes them in English.
var months = strings.NewReplacer("January", "de enero de", "February", "de febrero de", "March", "de marzo de", "April", "de abril de", "May ", "de mayo de ", "June", "de junio de", "July", "de julio de",
	"August", "de agosto de", "September", "de septiembre de", "October", "de octubre de", "November", "de noviembre de", "December", "de diciembre de")

var shortMonths = strings.NewReplacer("Jan", "ene", "Feb", "feb", "Mar", "mar", "Apr", "abr", "May", "may", "Jun", "jun", "Jul", "jul", "Aug", "ago", "Sep", "sep", "Oct", "oct", "Nov", "nov", "Dec", "dic")

// withYear tells a date from a day and hour.
var withYear = regexp.MustCompile(` \d{4}$`)

// date is a printed time with its month in the language.
func (r *Record) date(printed string) string {
	if r.Language != "es" {
		return printed
	}
	if withYear.MatchString(printed) {
		return months.Replace(printed)
	}
	return shortMonths.Replace(printed)
}
