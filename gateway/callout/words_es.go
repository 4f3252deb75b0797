package callout

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
	priorities: [...]string{"baja", "media", "alta"}, language: "es",
}
