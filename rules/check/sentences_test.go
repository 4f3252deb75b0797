package check

import (
	"cmp"
	"fmt"
	"io/fs"
	"os"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"millwarden/internal/diag"
	"millwarden/rules/formula"
	"millwarden/rules/syntax"
)

// saying is one thing that the specification of the language says, in few words, and what shows it: one of test, rules and layout.
type saying struct {
	section string
	says    string
	test    string // folder and name of the test that shows it

	rules string // behind the floor of these tests
	codes string // all errors that are said of them
	also  string // a warning or note that is said of them

	layout string // a file, and how the formatter prints it
	prints string
}

// when is an alarm with that condition at tank-1, with more lines.
func when(condition string, more ...string) string {
	return strings.Join(append([]string{"alarm a at tank-1\n    when " + condition}, more...), "\n    ") + rest
}

// lid is a probe that gives a point of no kind at bin-1; its lines stand behind the part.
func lid(part string, more ...string) string {
	return "probe lid\n    " + strings.Join(append([]string{"part " + part, `note "x"`}, more...), "\n    ") + "\n"
}

const (
	wire     = "ds18b20 28-0316a2794b77"
	atLid    = "gives lid at bin-1"
	crew     = "channel text\n    modem /dev/ttyUSB0\nperson ana\n    phone \"+51 900 000 001\"\nperson ben\n    phone \"+51 900 000 002\"\n"
	fulltime = "watch w\n    hours always\n    call ana\n"
)

var sentences = []saying{
	// Lines
	{section: "1", says: "lines end with LF or CRLF", rules: strings.ReplaceAll(when("ph < 4.2"), "\n", "\r\n")},
	{section: "1", says: "depth of indentation, by spaces or tabs, does not matter", rules: "prompt p at tank-1\n\twhen ph < 4\n say \"x\"\n"},
	{section: "1", says: "the formatter writes four spaces", layout: "area a\n\tnote \"x\"\n", prints: "area a\n    note            \"x\"\n"},
	{section: "1", says: "blocks stand in any order", rules: when("lid > 20 °C and late < 3 K") + lid(wire, "gives lid at tank-1") + "point late at tank-1 is lid - temperature\n"},
	{section: "1", says: "how a line goes on in the next; a key that slipped to the right stays a key", test: "rules/syntax TestParse_goesOn"},
	{section: "1", says: "pieces of a text are joined by a space", test: "rules/check TestSentences_values"},
	{section: "1", says: "# begins a comment, except inside quotes", test: "rules/check TestSentences_values"},
	{section: "1", says: "a comment belongs to what it stands beside or above, and is never lost", test: "rules/syntax TestFormat_ofSentences"},
	{section: "1", says: "words are read without regard to case, and printed small", layout: "Area A\n    NOTE \"X\"\n", prints: "area a\n    note            \"X\"\n"},
	{section: "1", says: "a path, a topic, an id keep their case", layout: "probe a\n    part radio on topic Store/Bin-4\n    port /dev/ttyUSB0\n", prints: "probe a\n    part            radio on topic Store/Bin-4\n    port            /dev/ttyUSB0\n"},
	{section: "1", says: "a name begins with a letter", rules: "area 1st\n", codes: "3"},
	{section: "1", says: "a name has single hyphens", rules: "area wet--end\n", codes: "3"},
	{section: "1", says: "a name ends with no hyphen", rules: "area wet-\n", codes: "3"},
	{section: "1", says: "a name has letters a to z", rules: "area peña\n", codes: "3"},
	{section: "1", says: "a name has at most 40 characters", test: "rules/syntax TestParse_bounds"},
	{section: "1", says: "keywords, functions, everyone and value are no names", test: "rules/check TestSentences_noNames"},
	{section: "1", says: "a name may equal a kind for a station of that kind", rules: "station room is room\n", also: "W6"},
	{section: "1", says: "and for no other", rules: "station room is bin\n", codes: "23"},
	{section: "1", says: "a text may stand in curly quotes", layout: "area a\n    note “x”\n", prints: "area a\n    note            \"x\"\n"},
	{section: "1", says: `\" and \\ are the escapes`, rules: "area a\n    note \"x \\\" \\\\\"\n"},
	{section: "1", says: "there are no others", rules: "area a\n    note \"x \\n\"\n", codes: "80"},
	{section: "1", says: "a text has at most 500 characters", test: "rules/syntax TestParse_bounds"},
	{section: "1", says: "a number has no exponent", rules: lid(wire, atLid, "every 1e1 s"), codes: "8"},
	{section: "1", says: "a number has no thousands mark", rules: lid(wire, atLid, "every 1_000 s"), codes: "8"},
	{section: "1", says: "4,2 is refused", rules: when("ph < 4,2"), codes: "2"},
	{section: "1", says: "a number may be below zero", rules: lid(wire, atLid, "offset -0.4 K")},
	{section: "1", says: "times of day go up to 24:00", rules: crew + fulltime + "watch v\n    hours 18:00-24:00\n    call ben\n"},
	{section: "1", says: "and no further", rules: crew + fulltime + "watch v\n    hours 18:00-24:01\n    call ben\n", codes: "70"},
	{section: "1", says: "to is read as .. and printed so; a number before it may leave its unit to the second", layout: "probe a\n    range 0 to 60 C\n", prints: "probe a\n    range           0 .. 60 °C\n"},
	{section: "1", says: "the range without a first unit means the second's", rules: lid(wire, atLid, "range 0 .. 60 °C")},
	{section: "1", says: "the space before a unit is optional", layout: "limit a 60°C\n", prints: "limit a 60 °C\n"},
	{section: "1", says: "station/point refers to another station", rules: when("yard/temperature > 30 °C")},
	{section: "1", says: "a word with spaces is quoted", rules: "bus line is serial\n    port \"/dev/my line\"\n"},
	{section: "1", says: "unquoted, the rest is too much", rules: "bus line is serial\n    port /dev/my line\n", codes: "19"},
	{section: "1", says: "a - b subtracts", rules: when("ph - 1 < 3")},
	{section: "1", says: "a-b is a name", rules: when("ph-lowest-ph < 3"), codes: "53"},
	{section: "1", says: "other signs are read, the plain ones printed", layout: "event a\n    when b − 3 × c ≥ 4\n         and d ≤ 5\n         and e = on\n", prints: "event a\n    when            b - 3 * c >= 4\n                    and d <= 5\n                    and e is on\n"},
	{section: "1", says: "there are no braces", rules: "area a {\n", codes: "7"},
	{section: "1", says: "no colon stands behind a key", rules: lid(wire, atLid, "every: 5 s"), codes: "7"},
	{section: "1", says: "; stands between steps of a watch, where the formatter makes lines", layout: "watch w\n    call ana; after 5 min ben\n", prints: "watch w\n    call            ana\n    after           5 min ben\n"},
	{section: "1", says: "and nowhere else", rules: when("ph < 4 ; loaded"), codes: "7"},

	// Quantities
	{section: "2", says: "how each unit is printed and what else is read", test: "rules/syntax TestUnits_same"},
	{section: "2", says: "factors to the base unit", test: "internal/units TestParse_factors"},
	{section: "2", says: "wb = 100 db/(100 + db)", test: "internal/units TestParse_dryBase"},
	{section: "2", says: "the deadband of each quantity, unless given", test: "rules/check TestTyping_deadbands"},
	{section: "2", says: "time of several measures", rules: when("soak-time > 1 h 30 min")},
	{section: "2", says: "what may be added, subtracted, multiplied, divided, and what comes of it", test: "rules/check TestTyping_table"},
	{section: "2", says: "converted at load", test: "rules/check TestTyping_baseUnits"},
	{section: "2", says: "a limit in °C or °F is absolute", rules: "limit own 86 °F\n    choice \"x\"\n" + when("temperature > own")},
	{section: "2", says: "a limit in K is a difference", rules: "limit own 3 K\n    choice \"x\"\n" + when("temperature > own"), codes: "37"},
	{section: "2", says: "K is always a difference", rules: when("temperature > 45 K"), codes: "39"},
	{section: "2", says: "a deadband and a rate are differences", rules: when("rise(temperature, 1 h) > 9 °F/h", "deadband 1 °C/h")},
	{section: "2", says: "°C against a difference is one", rules: when("temperature - yard/temperature > 3 °C")},
	{section: "2", says: "an offset in °C is one", rules: lid(wire, atLid, "offset -0.4 °C")},
	{section: "2", says: "a plain number takes a water activity's", rules: "alarm a at bin-1\n    when water-activity > 0.7" + rest},
	{section: "2", says: "a count has no unit", rules: when("count(each tank/loaded) > 1")},
	{section: "2", says: "a condition may stand by itself", rules: when("loaded")},
	{section: "2", says: "only one quantity is compared", rules: when("ph < temperature"), codes: "37"},
	{section: "2", says: "% takes the other side's quantity", rules: "alarm a at bin-1\n    when humidity > 65 %" + rest},
	{section: "2", says: "% beside a moisture does not say which", rules: "alarm a at bin-1\n    when moisture > 12 %" + rest, codes: "38"},
	{section: "2", says: "a plain number takes a pH's", rules: when("ph < 4.2")},
	{section: "2", says: "another quantity needs its unit", rules: when("temperature > 45"), codes: "5"},
	{section: "2", says: "fixed parts are folded", test: "rules/check TestSentences_values"},
	{section: "2", says: "a comparison of fixed values is refused", rules: when("ph < 4 and 4 pH < 5 pH"), codes: "43"},
	{section: "2", says: "%db is never a difference", rules: "alarm a at bin-1\n    when moisture > 11 %wb + 1 %db" + rest, codes: "76"},
	{section: "2", says: "measured values are never equal", rules: when("ph is 4.2"), codes: "46"},
	{section: "2", says: "is on, is off for states", rules: "alarm a at dryer-1\n    when burner is on or burner is not off" + rest},
	{section: "2", says: "is good, uncertain, bad, overdue, frozen for any point", rules: when("ph is good or ph is uncertain or ph is bad or ph is overdue or ph is not frozen")},
	{section: "2", says: "and, or are not mixed without parentheses", rules: when("ph < 4 and loaded or night"), codes: "45"},
	{section: "2", says: "with them they are", rules: when("(ph < 4 and loaded) or night")},
	{section: "2", says: "not takes a comparison, a name or a parenthesis", rules: when("not ph < 4 or not loaded or not (loaded or night)")},
	{section: "2", says: "and no other not", rules: when("not not loaded"), codes: "7"},

	// Points and functions
	{section: "3", says: "a bare name is a point of the station before it is a limit", rules: "limit temperature 30 °C\n    choice \"x\"\n" + when("temperature > 20 °C"), codes: "67"},
	{section: "3", says: "then a limit", rules: "limit own 30 °C\n    choice \"x\"\n" + when("temperature > own")},
	{section: "3", says: "then night or watched", rules: when("ph < 4 and (night or watched)")},
	{section: "3", says: "KIND/point is the one station of that kind", rules: when("yard/humidity > 90 %RH")},
	{section: "3", says: "of several it is refused", rules: when("tank/temperature > 30 °C"), codes: "55"},
	{section: "3", says: "board/ is this gateway", rules: when("board/disk-free < 5 %")},
	{section: "3", says: "buses and probes have points", rules: when("not i2c-1/answers")},
	{section: "3", says: "channels too", rules: crew + fulltime + when("not text/works or text/signal < 20 %")},
	{section: "3", says: "for each makes one alarm a station; one that lacks a point is skipped with a note", rules: "alarm a for each tank\n    when ph < 4" + rest, also: "N1"},
	{section: "3", says: "an error if all do", rules: "alarm a for each roaster\n    when bean-temperature > 200 °C" + rest, codes: "60"},
	{section: "3", says: "for each bus, probe", rules: "alarm a for each bus\n    when not answers" + rest},
	{section: "3", says: "for each probe", rules: "alarm a for each probe\n    when calibration-age > 30 d" + rest},
	{section: "3", says: "for each channel", rules: crew + fulltime + "alarm a for each channel\n    when not works" + rest},
	{section: "3", says: "in for each point, value is that point", rules: "alarm a for each point\n    when value is bad" + rest},
	{section: "3", says: "measured points may have any name", rules: lid(wire, atLid)},
	{section: "3", says: "those that kinds know must have their quantity", rules: lid(wire, "gives moisture at dryer-1"), codes: "33"},
	{section: "3", says: "settings, points and moments of each kind", test: "rules/check TestKinds_table"},
	{section: "3", says: "computed points are unknown outside a stay", test: "rules/models TestTank_lifeOfAStay"},
	{section: "3", says: "and unknown or uncertain as their inputs are", test: "rules/models TestModels_uncertainStaysUncertain"},
	{section: "3", says: "in rooms, stores and the yard they need no stay", test: "rules/models TestRoom_shiftAverage"},
	{section: "3", says: "what each computed point is", test: "rules/models TestExplain_everyComputedPoint"},
	{section: "3", says: "wash-in and its ends, over-in", test: "rules/models TestTank_lifeOfAStay"},
	{section: "3", says: "drying-in and its ends, wet-time", test: "rules/models TestBed_judged"},
	{section: "3", says: "own-mean, dew-margin", test: "rules/models TestBin_points"},
	{section: "3", says: "looks-loaded, looks-empty: the readings say so, nobody did", test: "rules/models TestTank_looks"},
	{section: "3", says: "unsent-room", test: "gateway/command TestOutage_drill"},
	{section: "3", says: "acts of people and marks of models are moments", test: "gateway/floor TestMarkable_isDeclared"},
	{section: "3", says: "the coming of an event of this file is a moment", rules: "event cold at tank-1\n    when temperature < 10 °C\n    say \"x\"\n" + when("time-since(cold) < 1 h")},
	{section: "3", says: "mean, highest, lowest, spread, change and windows that end earlier", test: "rules/engine TestWindow_againstDefinition"},
	{section: "3", says: "rise by least squares", test: "rules/engine TestRise_norris"},
	{section: "3", says: "rise needs four readings", rules: when("rise(temperature, 15 s) > 1 °C/min"), codes: "52"},
	{section: "3", says: "first to last at least half of T apart", test: "rules/engine TestWindow_againstDefinition"},
	{section: "3", says: "times counts how often a moment came", test: "rules/engine TestPromptAndEvent"},
	{section: "3", says: "T is 1 s to 31 d", rules: when("mean(temperature, 32 d) > 30 °C"), codes: "18"},
	{section: "3", says: "mean and the like over stations, neighbours, apart, vote", test: "rules/engine TestNumbers"},
	{section: "3", says: "count of what is true; unknown counts as not", test: "rules/engine TestCount"},
	{section: "3", says: "neighbours need two others", rules: "alarm a at bin-1\n    when neighbours(temperature) < temperature - 2 K" + rest, codes: "56"},
	{section: "3", says: "time-above, time-below, time-on, heat-above", test: "rules/engine TestGrowing"},
	{section: "3", says: "time-since and age", test: "rules/engine TestTimeSince"},
	{section: "3", says: "vote tells disagrees", test: "rules/engine TestDerived_disagrees"},
	{section: "3", says: "night, during", test: "rules/engine TestCalendar"},
	{section: "3", says: "until", test: "rules/engine TestUntil"},
	{section: "3", says: "watched, now and ahead", test: "rules/engine TestWatched"},

	// Truth
	{section: "4", says: "a reading stands until the next, or until it is overdue", test: "rules/engine TestQualityTests"},
	{section: "4", says: "an older reading decides nothing", test: "rules/engine TestOlderReading"},
	{section: "4", says: "judged at each reading and each second in which a time runs; the same in, the same out", test: "rules/engine TestProperty_sameInputSameOutput"},
	{section: "4", says: "three values, after Kleene", test: "rules/engine TestTruth_tables"},
	{section: "4", says: "is good and the like, and age, are always known", test: "rules/engine TestQualityTests"},
	{section: "4", says: "uncertain counts when open, is unknown when strict", test: "rules/engine TestUncertain_isUnknownWhenStrict"},
	{section: "4", says: "uncertain may raise, never clear", test: "rules/engine TestUncertain_raisesNeverClears"},
	{section: "4", says: "occurs: true for the whole on-delay, false sets back, unknown stops it; one reading is enough; held", test: "rules/engine TestDelay_on"},
	{section: "4", says: "zero delay: at that reading; not active and unknown is normal, and cannot see", test: "rules/engine TestDelay_on"},
	{section: "4", says: "the point's own bad-measurement alarm occurs", test: "gateway/floor TestNight_rings"},
	{section: "4", says: "clears: strictly false for the whole off-delay, true or unknown sets back; then held", test: "rules/engine TestDelay_off"},
	{section: "4", says: "loss of signal never clears", test: "rules/engine TestProperty_missingNeverLowers"},
	{section: "4", says: "the deadband keeps an active alarm, under a not too", test: "rules/engine TestDeadband_keeps"},
	{section: "4", says: "in a compound each comparison is relaxed by its own", test: "rules/engine TestDeadband_keeps"},
	{section: "4", says: "of the limit, it is nothing where neither side is fixed", test: "rules/check TestTyping_deadbands"},
	{section: "4", says: "a deadband for each quantity, else of the table; none of a gate", test: "rules/check TestTyping_noDeadbandInGates"},
	{section: "4", says: "a deadband fits a comparison of when", rules: when("ph < 4", "deadband 1 %RH"), codes: "61"},
	{section: "4", says: "while: closed clears at once, open begins anew, unknown stays", test: "rules/engine TestWhile_gate"},
	{section: "4", says: "suppressed-while: judged and logged, not called; unknown does not suppress", test: "rules/engine TestSuppressedWhile"},
	{section: "4", says: "depends-on: the same, and an update time longer", test: "rules/engine TestDependsOn"},
	{section: "4", says: "ringing before what one depends on is a warning", rules: when("ph < 4.2", "depends-on b") + "alarm b at tank-1\n    when ph < 4\n    on-delay 5 min" + rest, also: "W17"},
	{section: "4", says: "latching waits for a reset", test: "rules/engine TestLatching"},
	{section: "4", says: "re-annunciate: unacknowledged again, the same occurrence", test: "rules/engine TestReAnnunciate"},
	{section: "4", says: "states and acts", test: "rules/engine TestTable_everyCell"},
	{section: "4", says: "gaps are not interpolated; half covered or unknown", test: "rules/engine TestWindow_gap"},
	{section: "4", says: "windows are filled from the history after a start", test: "rules/engine TestProperty_saveAndLoad"},
	{section: "4", says: "what only grows is true as soon as the known part exceeds", test: "rules/engine TestGrowing"},
	{section: "4", says: "4,096 readings, then slices", test: "rules/engine TestWindow_goesOverToSlices"},
	{section: "4", says: "360 slices, exact to one", test: "rules/engine TestCoarse_nearDefinition"},
	{section: "4", says: "uncertain: more than a tenth, or the extreme that is taken", test: "rules/engine TestWindow_uncertainExtreme"},
	{section: "4", says: "equal windows on one point are one", test: "rules/engine TestWindow_equalOnesAreOne"},
	{section: "4", says: "who is called: on duty, priority, area, or named", test: "rules/check TestRoster_whoTakes"},
	{section: "4", says: "steps count from the first call and end with an acknowledgement", test: "gateway/callout TestBook_escalates"},
	{section: "4", says: "what the text message says", test: "gateway/callout TestCompose"},

	// Blocks and keys
	{section: "5", says: "keys, defaults, ends, and what is said when wrong", test: "rules/syntax TestKeys_tables"},
	{section: "5", says: "a key stands once", rules: when("ph < 4", "on-delay 1 min", "on-delay 2 min"), codes: "15"},
	{section: "5", says: "gives may stand several times", rules: "probe two\n    part sht4x on i2c-9 at 0x44\n    gives temperature at tank-3 as temperature\n    gives lid at tank-3 as humidity\n    note \"x\"\n", codes: "32"},
	{section: "5", says: "a block without what it needs is refused", rules: "watch w\n    hours always\n", codes: "16"},
	{section: "5", says: "title and note of any other block", rules: "area a\n    title \"Peña\"\n    note \"x\"\n"},
	{section: "5", says: "a title has at most 40 characters", rules: "area a\n    title \"" + strings.Repeat("ñ", 41) + "\"\n", codes: "75"},
	{section: "5", says: "one site", rules: "site other\n    timezone UTC\n", codes: "21"},
	{section: "5", says: "an area where none is written is mill", rules: "alarm a for each bin in mill\n    when temperature > 30 °C" + rest},
	{section: "5", says: "a limit of a used subject is overridden, for the site or at a station", test: "rules/check TestLoad_overrides"},
	{section: "5", says: "an override beyond least and greatest is refused", rules: "use drying\nlimit dryer-air-high 90 °C\n    because \"x\"\n", codes: "66"},
	{section: "5", says: "an override beyond unwise is a warning", rules: "use fermentation\nlimit over-fermented-ph 4.05 pH\n    because \"x\"\n", also: "W1"},
	{section: "5", says: "a limit of one's own says its source or that it is a choice", rules: "limit own 30 °C\n" + when("temperature > own"), codes: "16"},
	{section: "5", says: "without of class food needs because", rules: "use drying\nwithout wet-too-long\n", codes: "16"},
	{section: "5", says: "and is told", rules: "use drying\nwithout wet-too-long because \"x\"\n", also: "W13"},
	{section: "5", says: "change alters how a built-in alarm calls", rules: "use fermentation\nchange over-fermented\n    respond-within 30 min\n    because \"x\"\n"},
	{section: "5", says: "never what it watches", rules: "use fermentation\nchange over-fermented\n    when ph < 3\n    because \"x\"\n", codes: "69"},
	{section: "5", says: "and needs because", rules: "use fermentation\nchange over-fermented\n    respond-within 30 min\n", codes: "16"},
	{section: "5", says: "class safety needs a caution", rules: "alarm a at tank-1\n    when ph < 4" + strings.Replace(rest, "quality", "safety", 1), codes: "16"},
	{section: "5", says: "and is never shelved", rules: "alarm a at tank-1\n    when ph < 4\n    caution \"x\"\n    shelvable 1 h" + strings.Replace(rest, "quality", "safety", 1), codes: "63"},
	{section: "5", says: "with persons and no watch everybody is called at once", test: "gateway/callout TestTakers"},
	{section: "5", says: "a siren among the channels sounds with the first", test: "gateway/callout TestBook_escalates"},
	{section: "5", says: "a channel has a kind as its name, or a name and a kind", rules: "channel night-phone is text\n    modem /dev/ttyUSB1\n"},
	{section: "5", says: "one broker, one store", rules: "broker\n    listen 127.0.0.1:1883\nbroker\n    listen 127.0.0.1:1884\n", codes: "21"},
	{section: "5", says: "a page beyond this machine needs a certificate", rules: "page\n    listen 192.168.10.2:443\n", codes: "16"},
	{section: "5", says: "a declaration with a key of section 5 is refused by a test", test: "rules/check TestKinds_declare"},
	{section: "5", says: "needs, one, shares, aside, numbers without a unit", test: "rules/check TestMessages_more"},
	{section: "5", says: "what a part declares is read by its patterns", test: "rules/check TestLoad_slots"},

	// Reload, and time
	{section: "6", says: "the same alarm is the same name at the same station; formerly carries over", test: "rules/engine TestReload_identity"},
	{section: "6", says: "a raised priority rings again; what vanished is withdrawn", test: "rules/engine TestReload_identity"},
	{section: "6", says: "new is opened before old is closed, shared buses once", test: "gateway/floor TestReload_newBeforeOld"},
	{section: "6", says: "a changed condition begins its delays anew, and who changed it is named; a class raised to safety ends the shelf", test: "rules/engine TestReload_changedRule"},
	{section: "6", says: "the printed form changes with condition, limit, deadband and delay; layout and comments change nothing", test: "rules/check TestLoad_printedForm"},
	{section: "6", says: "windows keep their content", test: "rules/engine TestProperty_reloadOfTheSame"},
	{section: "6", says: "any failure leaves the old plan and raises rules-refused with file, line and message", test: "gateway/floor TestReload_addsAProbeAndSurvivesAMistake"},
	{section: "6", says: "days name the day on which hours begin; over midnight", test: "rules/engine TestCalendar"},
	{section: "6", says: "hours keep their wall times over clock changes", test: "rules/engine TestSpan_changeDays"},
	{section: "6", says: "clock unset: night, nobody there, hours unknown", test: "rules/engine TestClock_unset"},
	{section: "6", says: "clock unset: every watch is on duty", test: "gateway/callout TestTakers"},
	{section: "6", says: "clock unset: a digest is sent at once", test: "gateway/callout TestBook_digest"},
	{section: "6", says: "a step of the wall clock moves no delay", test: "gateway/floor TestNight_wrongClock"},
	{section: "6", says: "a hub knows what its boards describe, and takes nothing else", test: "rules/check TestLoad_hub"},
	{section: "6", says: "both judge; the hub calls", test: "gateway/floor TestHub_threeBoards"},

	// Bounds
	{section: "7", says: "1 MiB, lines of 1,000 characters, 32 deep, 256 nodes", test: "rules/syntax TestParse_bounds"},
	{section: "7", says: "include 8 deep, below the folder, all files together", test: "rules/check TestLoad_files"},
	{section: "7", says: "stations, windows in all, nodes after folding", test: "rules/check TestMessages_bounds"},
	{section: "7", says: "64 files, 4,000 probes, 8,000 points, 200 people, 100 watches of 12 steps, 10,000 alarms", test: "rules/check TestSentences_bounds"},
	{section: "7", says: "a table of 64 pairs", test: "rules/check TestMessages_more"},
	{section: "7", says: "64 evaluation steps a node", test: "rules/engine TestSteps_examples"},
	// Not so: "the checker itself stops after 5 s". The counts above bound its work; a clock would have a busy board refuse what an idle one takes.
	{section: "7", says: "100 messages", test: "rules/check TestLoad_manyMessages"},
	{section: "7", says: "beyond: an error that names the bound and the count", test: "rules/check TestBounds_say"},

	// What the checker says
	{section: "8", says: "all mistakes in one run, with place, mark, advice, second place", test: "rules/check TestLoad_mistakes"},
	{section: "8", says: "those of writing", test: "rules/syntax TestParse_mistakes"},
	{section: "8", says: "sorted by file, line, column", test: "internal/diag TestSort_order"},
	{section: "8", says: "the form, letter for letter", test: "internal/diag TestPrint_form"},
	{section: "8", says: "at most one a line from one cause", rules: when("temperature > 45 K and ph < 3 pH", "deadband x"), codes: "39 17"},
	{section: "8", says: "at most 100, then how many more", test: "rules/check TestLoad_manyMessages"},
	{section: "8", says: "exit 1 with an error, 0 without; --json", test: "gateway/command TestScripts"},
	{section: "8", says: "the nearest known word: within two letters, one for short ones", test: "internal/diag TestNear"},
	{section: "8", says: "each warning, and not without its cause", test: "rules/check TestWarnings"},
	{section: "8", says: "each warning, word for word", test: "rules/check TestLoad_warnings"},
	{section: "8", says: "no message without a file that shows it", test: "rules/check TestMessages_eachIsShown"},
	{section: "8", says: "every message is whole", test: "rules/check TestMessages_areWhole"},

	// Layout and editing
	{section: "9", says: "keys padded to 16 columns, longer ones one space", layout: "alarm a at b\n    suppressed-while c\n    when d\n", prints: "alarm a at b\n    suppressed-while c\n    when            d\n"},
	{section: "9", says: "one blank line between blocks, none between one-line blocks of a word", layout: "area a\narea b\nuse c\n\n\n\nuse d\n", prints: "area a\narea b\n\nuse c\n\nuse d\n"},
	{section: "9", says: "two spaces before a comment that ends a line", layout: "area a # x\n", prints: "area a  # x\n"},
	{section: "9", says: "comments of their own line stand as deep as what follows", layout: "area a\n# x\n    note \"y\"\n", prints: "area a\n    # x\n    note            \"y\"\n"},
	{section: "9", says: "numbers as typed, units printed", layout: "limit a 1.50 degC\n", prints: "limit a 1.50 °C\n"},
	{section: "9", says: "a comma is followed by a space", layout: "use a,b ,c\n", prints: "use a, b, c\n"},
	{section: "9", says: "operators have a space on both sides, quotes are straight", layout: "event a\n    when b<4 and c  >  d\n    say “x”\n", prints: "event a\n    when            b < 4 and c > d\n    say             \"x\"\n"},
	{section: "9", says: "a value that went on keeps its breaks, aligned", layout: "event a\n    when b < 4\n      and c < 5\n", prints: "event a\n    when            b < 4\n                    and c < 5\n"},
	{section: "9", says: "the order is the writer's", layout: "event a\n    say \"x\"\n    when b\narea c\n", prints: "event a\n    say             \"x\"\n    when            b\n\narea c\n"},
	{section: "9", says: "twice changes nothing, the tree stays, a file that does not parse is left alone", test: "rules/syntax TestFormat_ofSentences"},
	{section: "9", says: "files in the layout come back byte for byte", test: "rules/syntax TestFormat_leavesGoodFiles"},
	{section: "9", says: "an edit changes its block and nothing else; where a new one goes; its comment stays", test: "rules/syntax TestEdit"},
	{section: "9", says: "checked before written; an override is changed, not doubled", test: "gateway/command TestScripts"},
	{section: "9", says: "refused if the file changed since it was read; built-in subjects are not edited", test: "gateway/command TestRulesFile_edited"},
	{section: "9", says: "who and when go to the logbook", test: "gateway/command TestLimit_by"},
	{section: "10", says: "the grammar is that of the specification, and LL(1)", test: "rules/syntax TestGrammar_isLL1"},
	{section: "10", says: "the parser takes what it takes and refuses what it refuses", test: "rules/syntax TestParse_acceptsTheGrammar"},
}

// Aim: what the specification of the language says, sentence by sentence, is shown by rules, by the one layout, or by a test that is there.
func TestSentences(t *testing.T) {
	there := testsOf(t)
	for i, s := range sentences {
		t.Run(fmt.Sprintf("%s-%d", s.section, i), func(t *testing.T) {
			switch {
			case s.test != "":
				if !there[s.test] {
					t.Errorf("%s: there is no %s", s.says, s.test)
				}
			case s.layout != "":
				f, list := syntax.Parse("x.rules", s.layout)
				if got := string(syntax.Format(f)); got != s.prints || list.HasErrors() {
					t.Errorf("%s:\n%s\nis printed\n%s\nwant\n%s%v", s.says, s.layout, got, s.prints, list)
				}
			default:
				_, list := loadText(t, floor+s.rules)
				if got := codes(list, diag.Error); got != s.codes || s.also != "" && !hasCode(list, s.also) {
					t.Errorf("%s:\n%s\nmessages %q, want %q and %q: %v", s.says, s.rules, got, s.codes, s.also, list)
				}
			}
		})
	}
}

// testsOf are the tests of the house, by folder and name.
func testsOf(t *testing.T) map[string]bool {
	t.Helper()
	named := regexp.MustCompile(`(?m)^func (Test\w+)\(`)
	there := map[string]bool{}
	root := os.DirFS("../..")
	err := fs.WalkDir(root, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && (d.Name() == "ui" || d.Name() == ".git") {
			return cmp.Or(err, fs.SkipDir)
		}
		if !strings.HasSuffix(name, "_test.go") {
			return nil
		}
		text, err := fs.ReadFile(root, name)
		for _, found := range named.FindAllSubmatch(text, -1) {
			there[path.Dir(name)+" "+string(found[1])] = true
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return there
}

// Aim: words of the language are no names.
func TestSentences_noNames(t *testing.T) {
	for _, name := range append(append(syntax.Keywords(), syntax.Functions...), "everyone", "value") {
		if _, list := loadText(t, floor+"area "+name+"\n"); codes(list, diag.Error) != "23" {
			t.Errorf("area %s: %v", name, list)
		}
	}
}

// Aim: what is read becomes what it means.
func TestSentences_values(t *testing.T) {
	text := floor + "area a\n    title \"Tank #1\" # not this\n" + when("temperature > 40 °C - 3 K", `cause "One"`, `"two."`)
	plan, list := loadText(t, text)
	if plan == nil {
		t.Fatal(list)
	}
	a := alarmOf(t, plan, "a@tank-1")
	if a.Cause != "One two." {
		t.Errorf("cause %q", a.Cause)
	}
	if n := a.When.Args[1]; n.Op != formula.Const || n.Value != 37 {
		t.Errorf("40 °C - 3 K is %+v, want 37", n)
	}
	if i := slices.IndexFunc(plan.Areas, func(a Area) bool { return a.Name == "a" }); i < 0 || plan.Areas[i].Title != "Tank #1" {
		t.Errorf("areas %+v", plan.Areas)
	}
}

// Aim: within each bound nothing is said of it. What is said beyond is TestBounds_say's.
func TestSentences_bounds(t *testing.T) {
	many := func(n int, form string) string {
		var b strings.Builder
		for i := range n {
			fmt.Fprintf(&b, form, i)
		}
		return b.String()
	}
	person, call := "person p%d\n    phone \"+51 900 000 003\"\n", "    hours always\n    call ana\n"
	probe := "probe p%d\n    part ds18b20 28-%012[1]x\n    gives lid%[1]d at bin-1\n    note \"x\"\n"
	prompt := "prompt x%d for each tank\n    when temperature > 30 °C\n    say \"x\"\n"
	for name, within := range map[string]string{
		"people":  crew + many(maxPeople-2, person),
		"watches": crew + many(maxWatches, "watch w%d\n"+call),
		"steps":   crew + fulltime + many(maxSteps-1, "    after 1%d min ben\n"),
		"probes":  many(maxProbes-11, probe),
		"points":  many(2500, "point x%d for each tank is temperature + 1 K\n"),
		"alarms":  many(maxAlarms/3, prompt),
	} {
		if _, list := loadText(t, floor+within); list.HasErrors() {
			t.Errorf("%s: within the bound %v", name, list)
		}
	}
	for n, want := range map[int]string{maxFiles - 1: "", maxFiles: "25"} {
		files := fstest.MapFS{"m.rules": {Data: []byte(floor + many(n, "include \"%d.rules\"\n"))}}
		for i := range n {
			files[fmt.Sprint(i, ".rules")] = &fstest.MapFile{Data: []byte("# nothing\n")}
		}
		if _, list, _ := Load(files, "m.rules", declared(t)); codes(list, diag.Error) != want {
			t.Errorf("%d files included: %v, want %q", n, list, want)
		}
	}
}
