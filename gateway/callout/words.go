package callout

import (
	"fmt"
	"regexp"
	"strings"

	"millwarden/internal/units"
)

// words are the fixed words of messages in one language. The sentences of an alarm are the rules file's.
type words struct {
	limit, since, ago, unknown, held, notRead                   string
	caution, action, consequence, cause, verify, respond        string
	onIt, reply, aid, digest, exercise, drill, on, off, yes, no string
	got, gotReply, well, notWell, lastDrill, noDrill, silence   string
	over, unanswered                                            string
	windows                                                     map[string]string // a function over a window of time, in words
	onItButton, gotButton                                       Button            // of messages that can be touched
	flood, others, floodDo                                      string
	priorities                                                  [3]string // by engine.Priority
}

var english = words{
	limit: "limit", since: "since", ago: "for %s", unknown: "unknown", held: "Not seen now: %s", notRead: "not read for",
	caution: "CAUTION", action: "What to do", consequence: "If nobody acts", cause: "Usual cause", verify: "Look at", respond: "Respond within",
	onIt:   "I am on it (opens the page; one tap more acknowledges):",
	reply:  "Reply 1 %04d = I am on it.",
	aid:    "Millwarden is a monitoring aid, not a fire alarm, gas detector or safety function. The machine's own cut-outs and listed detection stay in charge; follow your local codes.",
	digest: "%d alarms of priority low stand", exercise: "EXERCISE", drill: "%s, this is a test. Nothing has happened. Tell the mill that you got it",
	on: "on", off: "off", yes: "yes", no: "no",
	got: "I got it (opens the page; one tap more says so):", gotReply: "Reply 1 %d = I got it.",
	well: "All well, %d of %d probes give readings.", notWell: "NOT all well: %d alarms stand, %d of %d probes give readings.",
	lastDrill: "Last drill: %s", noDrill: "No drill was answered yet.",
	silence: "This message comes every day at the same hour. If it does not come, go and look: the board may be dead.",
	over:    "over %s", unanswered: "Nobody has answered for %s.",
	windows: map[string]string{"mean": "mean %s", "highest": "highest %s", "lowest": "lowest %s", "spread": "spread of %s", "rise": "rise of %s",
		"change": "change of %s"},
	onItButton: Button{"I am on it", "Written down: you are on it.", "Not written down. Open the page, or answer another way."},
	gotButton:  Button{"I got it", "Written down: you got it.", "Not written down. Open the page."},
	flood:      "%d more alarms (%s)", others: "%d others", floodDo: "All stand on the page; answer each there.",
	priorities: [...]string{"low", "medium", "high"},
}

var spanish = words{
	limit: "límite", since: "desde", ago: "desde hace %s", unknown: "desconocido", held: "Ahora no se ve: %s", notRead: "sin lectura hace",
	caution: "PRECAUCIÓN", action: "Qué hacer", consequence: "Si nadie actúa", cause: "Causa habitual", verify: "Mire", respond: "Responder en",
	onIt:   "Yo me encargo (abre la página; un toque más lo confirma):",
	reply:  "Responda 1 %04d = voy yo.",
	aid:    "Millwarden ayuda a vigilar; no es alarma de incendio, detector de gas ni función de seguridad. Mandan los cortes propios de la máquina y los detectores homologados; siga los códigos locales.",
	digest: "%d alarmas de prioridad baja siguen", exercise: "SIMULACRO", drill: "%s, esto es una prueba. No pasó nada. Avise al beneficio que le llegó",
	on: "encendido", off: "apagado", yes: "sí", no: "no",
	got: "Me llegó (abre la página; un toque más lo confirma):", gotReply: "Responda 1 %d = me llegó.",
	well: "Todo bien, %d de %d sondas dan lecturas.", notWell: "NO está todo bien: %d alarmas siguen, %d de %d sondas dan lecturas.",
	lastDrill: "Último simulacro: %s", noDrill: "Nadie ha respondido aún a un simulacro.",
	silence: "Este mensaje llega cada día a la misma hora. Si no llega, vaya a ver: la placa puede estar muerta.",
	over:    "en %s", unanswered: "Nadie ha respondido en %s.",
	windows: map[string]string{"mean": "media de %s", "highest": "máximo de %s", "lowest": "mínimo de %s", "spread": "dispersión de %s",
		"rise": "subida de %s", "change": "cambio de %s"},
	onItButton: Button{"Voy yo", "Anotado: va usted.", "No quedó anotado. Abra la página o responda de otra manera."},
	gotButton:  Button{"Me llegó", "Anotado: le llegó.", "No quedó anotado. Abra la página."},
	flood:      "%d alarmas más (%s)", others: "%d otras", floodDo: "Todas están en la página; responda a cada una allí.",
	priorities: [...]string{"baja", "media", "alta"},
}

// wordsOf are those of the person's language, else of the site's, else English.
func wordsOf(p *Person, r *Roster) *words {
	language := p.Language
	if language == "" {
		language = r.Language
	}
	if language == "es" {
		return &spanish
	}
	return &english
}

var window = regexp.MustCompile(`^([a-z]+)\(([a-z0-9/-]+), ([0-9.]+ [a-z]+)\)$`)

// figure says what a formula of the rules file gives, as a person would say it before its value, and what stands behind the value. A formula that
// is more than one point over one window is left as it was written.
func (w *words) figure(formula, place string) (name, behind string) {
	part := window.FindStringSubmatch(formula)
	if part == nil || w.windows[part[1]] == "" {
		return formula, ""
	}
	return fmt.Sprintf(w.windows[part[1]], spaced(strings.TrimPrefix(part[2], place+"/"))), " " + fmt.Sprintf(w.over, part[3])
}

func (w *words) state(value float64, q units.Quantity) string {
	switch {
	case value != value: // unknown
		return w.unknown
	case q == units.State && value != 0:
		return w.on
	case q == units.State:
		return w.off
	case value != 0:
		return w.yes
	}
	return w.no
}
