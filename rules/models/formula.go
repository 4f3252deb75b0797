package models

// Formula says how a computed point is worked out, in words and signs that people read, and what that rests on.
type Formula struct {
	Text   string
	Source string
	When   string   // how often it is worked out
	Also   []string // points of the station that it uses beside those it cannot do without, where they are measured
	Uses   []string // settings of the station and named limits in it
}

// Rhythms, as rhythm.go has them.
const (
	atEntry    = "at the entry, and once a minute"
	eachMinute = "once a minute, and when an input turns uncertain, bad or good again"
	asItMoves  = "when an input has moved by 0.2 K or 1 %RH, and once a minute"
	eachRoast  = "every 2 s in a roast, every 10 s outside"
	eachStep   = "every ten minutes"
	farAndNear = "every half hour, every ten minutes when the end is within three hours or 0.3 pH; between two the time that passed is taken off, once a minute"
	byHours    = "on a deck every hour, in a dryer and when the end is within three hours every ten minutes; between two the time that passed is taken off, once a minute"
)

// rhythms by point; what is not named is worked out once a minute. Those of a roaster are all eachRoast.
var rhythms = map[string]string{
	"loaded": atEntry, "empty": atEntry, "warmer-than-start": asItMoves, "ph-slope": eachStep, "lowest-ph": eachStep, "ph-above-lowest": eachStep, "looks-loaded": eachStep, "looks-empty": eachStep,
	"dew-point": asItMoves, "wet-bulb": asItMoves, "vapour-deficit": asItMoves, "equilibrium-moisture": asItMoves, "dew-margin": asItMoves,
	"wash-in": farAndNear, "wash-in-early": farAndNear, "wash-in-late": farAndNear, "over-in": farAndNear,
	"drying-in": byHours, "drying-in-early": byHours, "drying-in-late": byHours, "never-dries": byHours,
}

// alsos are the points that are used where they are measured.
var alsos = map[string][]string{
	"estimated-moisture": {"moisture", "weight"}, "wet-time": {"moisture", "weight"}, "drying-in": {"moisture", "weight"}, "drying-in-early": {"moisture", "weight"}, "drying-in-late": {"moisture", "weight"}, "never-dries": {"moisture", "weight"},
	"looks-empty": {"weight"},
}

// uses are the settings and limits in a formula, by point.
var uses = map[string][]string{
	"equivalent-hours": {"reference", "q10"}, "wash-in": forTank, "wash-in-early": forTank, "wash-in-late": forTank, "over-in": {"over-fermented-ph", "ready-after", "reference", "q10"},
	"drying-in": {"target-moisture"}, "drying-in-early": {"target-moisture"}, "drying-in-late": {"target-moisture"}, "never-dries": {"target-moisture"},
	"mould-hours": {"mould-bin-air"}, "drop-in": {"drop-temperature"}, "past-first-crack": {"first-crack-at"},
}

var forTank = []string{"ready-ph", "ready-after", "reference", "q10"}

// Sources by the names of internal/coffee.
const (
	ashrae  = "ASHRAE Handbook Fundamentals 2017, chapter 1 (Hyland and Wexler, over water)"
	trejos  = "Trejos, Roa, Oliveros 1989, Cenicafé 40(1):5-15, desorption of parchment arabica, as quoted; standard error 0.54 % of the dry weight, 5 to 65 °C"
	roa     = "Roa, Cenicafé, thin layers from 10 to 70 °C, as quoted; the layer's own pace is learned from the moisture meter"
	entered = "what people enter: load, empty, move"
	ways    = "characteristic drying curves: van Meel 1958, Page 1949, Roa, Trejos 1989, as quoted; what is spread over them is chosen"
	marks   = "chosen, within what drum roasters show (trade pages, and from memory)"
	shifted = "29 CFR 1910.1000(d)(1)(i): divided by eight hours however long the work lasts"
	souring = "curves weighed by what was measured, prior 15 h at 20 to 26 °C (Jackels 2006, as quoted), Q10 of 1.5 to 2.6 (no measured one was found); 80 % interval, judged on simulated tanks of other laws"
)

// rule is a formula and its source.
type rule struct{ text, source string }

// formulas by kind of station and point; "" stands for every kind.
var formulas = map[string]map[string]rule{
	"": {
		"loaded":               {"a lot was loaded and not emptied since", entered},
		"empty":                {"no lot stands here", entered},
		"dew-point":            {"T at which saturation pressure pws(T) equals RH · pws(air temperature)", ashrae},
		"equilibrium-moisture": {"Me = (61.030848 h - 108.37141 h² + 74.461059 h³) · exp((-0.037049 h + 0.070114 h² - 0.035177 h³) T) % of the dry weight, h = RH / 100, T in °C; shown on the wet weight", trejos},
		"vapour-deficit":       {"pws(T) · (1 - RH / 100)", ashrae},
		"dew-margin":           {"wall temperature less dew point of the air in the mass", ashrae},
		"co-mean-8h":           {"sum of concentration · time over the last eight hours / 8 h", shifted},
		"co2-mean-8h":          {"sum of concentration · time over the last eight hours / 8 h", shifted},
	},
	"tank": {
		"soak-time":         {"time since loading", entered},
		"equivalent-hours":  {"sum of time · Q10^((T - reference) / 10), over steps of ten minutes", "Q10 2 and 23 °C are settings of the station; chosen: no measured Q10 was found"},
		"warmer-than-start": {"temperature now less temperature at loading", "arithmetic"},
		"ph-slope":          {"median of the slopes between all pairs of ten-minute medians of the last two hours", "Theil and Sen, a robust slope; window chosen"},
		"lowest-ph":         {"lowest ten-minute median since loading", "arithmetic; the median keeps a wild reading out"},
		"ph-above-lowest":   {"last ten-minute median less the lowest", "arithmetic"},
		"wash-in":           {"time until pH is ready-ph: middle of the weighted curves, the mass getting warmer or cooler as the estate's own washed tanks did at that hour since loading, 12 min sooner as electrodes lag, and by a twentieth as tanks quicken", souring},
		"wash-in-early":     {"time that one of ten such tanks would be ready before", souring},
		"wash-in-late":      {"time that nine of ten such tanks would be ready before", souring},
		"over-in":           {"time until pH is over-fermented-ph: middle of the weighted curves", souring},
		"looks-loaded":      {"no lot is entered, and pH and temperature stepped as when cherry comes in, or pH has fallen for an hour or more", "chosen: fresh mucilage is at 5.5 to 5.8 (Jackels 2005, as quoted)"},
		"looks-empty":       {"a lot is entered, and pH rose by more than 1.2 over its lowest, or to that of rinse water", "chosen: no fermenting mass turns so far"},
	},
	"deck": bedFormulas, "dryer": bedFormulas,
	"bin": {
		"stored-time":    {"time since loading", entered},
		"water-activity": {"RH of the air in the mass / 100", "by definition, where air and beans have come to rest"},
		"mould-hours":    {"time for which the air in the mass was above mould-bin-air", "Codex CXC 69-2009 par. 37, as quoted"},
		"looks-empty":    looksEmpty,
		"own-mean":       {"mean temperature of the last seven days, by hours", "chosen: self-heating is judged against the bin's own past"},
	},
	"huller": {"running-time": {"time for which the motor ran", "arithmetic"}},
	"roaster": {
		"roast-time":          {"time since the charge", marks},
		"rate-of-rise":        {"median of slopes between readings half a window of 30 s apart", "Theil's incomplete method; window from memory of trade practice"},
		"drop-in":             {"(drop-temperature - bean temperature) / rate of rise", "arithmetic, after the turning point"},
		"exhaust-above-usual": {"exhaust temperature less the median of the highest of the last ten roasts", "chosen"},
		"roasts-since-chaff":  {"roasts since the chaff was emptied", entered},
		"roasts-since-ducts":  {"roasts since the ducts were cleaned", entered},
		"roasting":            {"the bean probe fell from a hot drum as cold coffee makes it fall, and has not fallen as at a drop", marks},
		"past-first-crack":    {"the bean probe has passed first-crack-at, or somebody marked it", marks},
	},
}

var looksEmpty = rule{"a lot is entered, and its moisture fell by more than 3 %wb and a quarter within twenty minutes, or its weight to a tenth", "chosen: no dryer dries so quickly"}

var bedFormulas = map[string]rule{
	"drying-time":        {"time since loading", entered},
	"wet-bulb":           {"T at which W = ((2501 - 2.326 Tw) Ws - 1.006 (T - Tw)) / (2501 + 1.86 T - 4.186 Tw), at the pressure of the site's altitude", ashrae},
	"estimated-moisture": {"the last moisture known, by a meter or by weight (m = kg / dry kg - 1, dry kg from the weight at the last reading of a meter, before it from the moisture at loading), carried on by MR = exp(-k t^1.06439), k = 0.0143 (Pvs - Pv)^0.87898, through the air as it changed", roa},
	"water-activity":     {"the humidity that stands with the estimated moisture: equilibrium-moisture inverted", trejos + "; re-wetted beans have a higher one: go by measured humidity where there is a probe"},
	"wet-time":           {"time since the wash with water activity above 0.80", "Codex CXC 69-2009 par. 37, as quoted"},
	"drying-in":          {"time to target-moisture in the air of the last day, come again, by 61 ways M' = -c D^e g(M - Me), D the vapour deficit, each weighed by how well it goes through the readings of meter or scale and by how the estate's last layers went; in a dryer the time that those laid fresh took, less the hours gone, counts beside it, by how far either was off, and how the newest three went on from the present moisture; before the first, 20 to 36 h in a dryer and 3 to 7 days of sun are usual", ways},
	"drying-in-early":    {"early end of the 80 % interval, as wide as the ways differ and as the estate's last layers were missed", ways},
	"drying-in-late":     {"late end of the 80 % interval, as wide as the ways differ and as the estate's last layers were missed", ways},
	"looks-empty":        looksEmpty,
	"never-dries":        {"equilibrium moisture of the last day's air is above target-moisture", trejos},
}

// Explain gives the formula of a computed point at a kind of station; false where the point is none of the models'.
func Explain(kind, point string) (Formula, bool) {
	r, ok := formulas[kind][point]
	if !ok {
		if r, ok = formulas[""][point]; !ok || !kinds[kind] {
			return Formula{}, false
		}
	}
	f := Formula{Text: r.text, Source: r.source, When: rhythms[point], Uses: uses[point]}
	switch {
	case kind == "roaster":
		f.When = eachRoast
	case kind == "bin" && point == "water-activity":
		f.When = asItMoves
	case f.When == "":
		f.When = eachMinute
	}
	if kind == "deck" || kind == "dryer" || point == "looks-empty" && kind == "bin" {
		f.Also = alsos[point]
		if point == "water-activity" {
			f.Also = alsos["estimated-moisture"]
		}
	}
	return f, true
}

// kinds of station that have models.
var kinds = map[string]bool{"tank": true, "deck": true, "dryer": true, "bin": true, "store": true, "room": true, "yard": true, "huller": true, "roaster": true}
