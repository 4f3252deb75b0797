package syntax

// A form is what stands behind a key: a rule of the grammar.
type form uint8

const (
	formText           form = iota + 1 // one or more quoted texts
	formQuoted                         // exactly one
	formPlace                          // one name, word, path or text
	formItems                          // names or words, parted by commas
	formName                           //
	formNames                          //
	formNumber                         //
	formQuantity                       // a number with its unit
	formAmount                         // with or without
	formPerhaps                        // a quantity, or no
	formFlag                           // yes or no
	formBetween                        // amount .. amount
	formBound                          // amount, or a limit's name
	formSpan                           // 18:00-08:00
	formClock                          // 07:00
	formHours                          //
	formCall                           // people, with steps behind them
	formStep                           // quantity and people
	formDaily                          // time of day and people
	formFormula                        //
	formFormulaBecause                 //
	formDeadband                       //
	formEvidence                       //
	formGives                          //
	formPart                           // pieces, the first of them a name
)

// Key is one line of the table of a block.
type Key struct {
	Name    string
	Meaning string // as the tables say it, without capital and full stop
	Says    string // when wrong: follows the key's name
	Default string // "" none; "needed": the block is refused without it; else as the table says it
	Least   string // "" none; else a quantity
	Most    string
	Many    bool // it may stand several times
	Time    bool // its amount is a time
	form    form
}

// blockFacts is one kind of block.
type blockFacts struct {
	word     string
	header   string // an example
	settings bool   // it takes lines that are declared elsewhere
	bare     bool   // it has no lines
	keys     []Key
	byName   table[*Key]
}

// indexed fills byName.
func indexed(list []blockFacts) []blockFacts {
	for i := range list {
		b := &list[i]
		for j := range b.keys {
			b.byName.add(b.keys[j].Name, &b.keys[j])
		}
	}
	return list
}

// blocksByWord finds them.
var blocksByWord = func() (by table[*blockFacts]) {
	for i := range blocks {
		by.add(blocks[i].word, &blocks[i])
	}
	return by
}()

// linkKeys are those of broker and store: how the other side is reached.
var linkKeys = []Key{
	{Name: "address", Meaning: "the site's own broker or store", Says: "needs an address, for example broker.estate.example:8883", Default: "inside", form: formPlace},
	{Name: "listen", Meaning: "of the broker inside: where radio probes reach it", Says: "needs an address, for example 192.168.10.2:8883", Default: "no", form: formPlace},
	{Name: "credential", Meaning: "kept outside this file (0600 file or service manager)", Says: "needs the name of a credential, for example store-token", form: formName},
	{Name: "ca", Meaning: "whom to trust; what to show", Says: "needs a path, for example /etc/millwarden/ca.pem", Default: "system's", form: formPlace},
	{Name: "certificate", Meaning: "whom to trust; what to show", Says: "needs a path, for example /etc/millwarden/ca.pem", Default: "system's", form: formPlace},
	{Name: "root", Meaning: "first topic level", Says: "needs a topic, for example mill", Default: "millwarden", form: formPlace},
	{Name: "org", Meaning: "as named there", Says: "needs a name, for example fern-hollow", Default: "needed", form: formPlace},
	{Name: "bucket", Meaning: "as named there", Says: "needs a name, for example fern-hollow", Default: "needed", form: formPlace},
	{Name: "durable-after", Meaning: "how long its answer may come before its disk", Says: "needs a duration, for example 20 s", Default: "20 s", Least: "0 s", Most: "10 min", Time: true, form: formQuantity},
}

// blocks in the order of the grammar; their keys in the order in which they are listed to people.
var blocks = indexed([]blockFacts{
	{word: "site", header: "site fern-hollow", keys: []Key{
		{Name: "timezone", Meaning: "hours, nights and days are reckoned in it", Says: "needs a zone of the IANA list, for example America/Lima", Default: "needed", form: formPlace},
		{Name: "altitude", Meaning: "air pressure for the air and drying models", Says: "needs a height, for example 1450 m", Default: "0 m", Least: "-400 m", Most: "5500 m", form: formQuantity},
		{Name: "night", Meaning: "what night means in conditions", Says: "needs hours, for example 20:00-06:00", Default: "20:00-06:00", form: formSpan},
		{Name: "show", Meaning: "what people see unless they chose for themselves", Says: "takes °C or °F, kg or lb, en or es, for example °F, lb, es", Default: "°C, kg, en", form: formItems},
		{Name: "board", Meaning: "this gateway's own name where several share a broker", Says: "needs a name, for example deck-house", Default: "board", form: formName},
		{Name: "hub", Meaning: "that board judges the same alarms and calls people, so holes in this one's watches are no fault", Says: "needs the name of a board, for example office", form: formName},
		{Name: "keep", Meaning: "how long readings stay on the board", Says: "needs a duration, for example 800 d", Default: "800 d", Least: "30 d", Most: "7300 d", Time: true, form: formQuantity},
		{Name: "title", Meaning: "what people read instead of the name", Says: `needs a text, for example "Tank 1"`, form: formText},
		{Name: "note", Meaning: "kept, printed in registers, never sent", Says: `needs a text, for example "for the record"`, form: formText},
	}},
	{word: "area", header: "area wet-mill", keys: []Key{
		{Name: "title", Meaning: "what people read instead of the name", Says: `needs a text, for example "Tank 1"`, form: formText},
		{Name: "note", Meaning: "kept, printed in registers, never sent", Says: `needs a text, for example "for the record"`, form: formText},
	}},
	{word: "station", header: "station tank-1 is tank", settings: true, keys: []Key{
		{Name: "area", Meaning: "where it stands; neighbours are reckoned within it", Says: "needs the name of an area block, for example wet-mill", Default: "mill", form: formName},
		{Name: "formerly", Meaning: "takes over history and alarm states of a renamed station", Says: "needs the old name, for example tank-a", form: formName},
		{Name: "title", Meaning: "what people read instead of the name", Says: `needs a text, for example "Tank 1"`, form: formText},
		{Name: "note", Meaning: "kept, printed in registers, never sent", Says: `needs a text, for example "for the record"`, form: formText},
	}},
	{word: "bus", header: "bus store-line is serial", settings: true, keys: []Key{
		{Name: "title", Meaning: "what people read instead of the name", Says: `needs a text, for example "Tank 1"`, form: formText},
		{Name: "note", Meaning: "kept, printed in registers, never sent", Says: `needs a text, for example "for the record"`, form: formText},
	}},
	{word: "probe", header: "probe tank-1-electrode", settings: true, keys: []Key{
		{Name: "part", Meaning: "what it is and where it hangs, in the words the driver declares", Says: "needs a part and its place, for example sht4x on i2c-1 at 0x44", Default: "needed", form: formPart},
		{Name: "gives", Meaning: "which points it feeds; the channel is found by quantity, as decides where two fit", Says: "needs points and a station, for example air-temperature, air-humidity at deck-1", Default: "needed", Many: true, form: formGives},
		{Name: "every", Meaning: "update time; for by-hand the reminder", Says: "needs a duration, for example 10 s", Default: "10 s", Least: "200 ms", Most: "60 d", Time: true, form: formQuantity},
		{Name: "overdue-after", Meaning: "without a reading for so long the point is overdue: unknown to every rule", Says: "needs a duration longer than every, for example 30 s", Default: "3 x every", Least: "2 s", Most: "90 d", Time: true, form: formQuantity},
		{Name: "range", Meaning: `outside is bad, "out of range"`, Says: "needs two values with one unit, for example 0 .. 60 °C", Default: "the part's", form: formBetween},
		{Name: "rate-limit", Meaning: "a faster step makes one reading uncertain; three in a row in one direction are believed", Says: "needs a rate, for example 1 °C/min", Default: "by kind", form: formQuantity},
		{Name: "frozen-after", Meaning: `unchanged raw words for so long, though a neighbour moved, are bad, "frozen"`, Says: "needs a duration or no, for example 30 min", Default: "by part", Least: "1 min", Most: "30 d", Time: true, form: formPerhaps},
		{Name: "calibrate-every", Meaning: "overdue makes its readings uncertain", Says: "needs a duration or no, for example 7 d", Default: "by part", Least: "1 d", Most: "1000 d", Time: true, form: formPerhaps},
		{Name: "offset", Meaning: "fixed correction, added after calibration", Says: "needs an amount, for example -0.4 °C", Default: "0", form: formAmount},
		{Name: "slope", Meaning: "fixed correction, multiplied before offset", Says: "needs a number, for example 1.02", Default: "1", Least: "0.5", Most: "2", form: formNumber},
		{Name: "mounted", Meaning: "where it sits; printed on the record", Says: `needs a text, for example "30 cm above the drain"`, form: formText},
		{Name: "title", Meaning: "what people read instead of the name", Says: `needs a text, for example "Tank 1"`, form: formText},
		{Name: "note", Meaning: "kept, printed in registers, never sent", Says: `needs a text, for example "for the record"`, form: formText},
	}},
	{word: "point", header: "point wall-margin for each bin is wall-temperature - dew-point", keys: []Key{
		{Name: "every", Meaning: "worked out when an input changes, at most so often", Says: "needs a duration, for example 10 s", Default: "1 s", Least: "1 s", Most: "1 d", Time: true, form: formQuantity},
		{Name: "keep", Meaning: "kept in the history and published", Says: "is yes or no", Default: "yes", form: formFlag},
		{Name: "formerly", Meaning: "takes over the history of a renamed point", Says: "needs the old name, for example wall-margin", form: formName},
		{Name: "title", Meaning: "what people read instead of the name", Says: `needs a text, for example "Tank 1"`, form: formText},
		{Name: "note", Meaning: "kept, printed in registers, never sent", Says: `needs a text, for example "for the record"`, form: formText},
	}},
	{word: "limit", header: "limit dryer-air-high at dryer-1 44 °C", keys: []Key{
		{Name: "least", Meaning: "an override beyond is refused", Says: "needs a value or the name of another limit, for example 35 °C", form: formBound},
		{Name: "greatest", Meaning: "an override beyond is refused", Says: "needs a value or the name of another limit, for example 35 °C", form: formBound},
		{Name: "unwise-below", Meaning: "an override beyond is a warning that prints the source", Says: "needs a value, for example 45 °C", form: formAmount},
		{Name: "unwise-above", Meaning: "an override beyond is a warning that prints the source", Says: "needs a value, for example 45 °C", form: formAmount},
		{Name: "source", Meaning: `where the number is published, with "as quoted" or "from memory" where it was`, Says: `needs a text, for example "CXC 69-2009 par. 37, as quoted"`, Default: "one of", form: formText},
		{Name: "choice", Meaning: "no published number: why this one", Says: `needs a text, for example "margin to the limit"`, Default: "the two", form: formText},
		{Name: "because", Meaning: "why the site differs; stands in the register (asked for beyond unwise-…)", Says: `needs a text, for example "maker's card of the dryer"`, form: formText},
		{Name: "title", Meaning: "what people read instead of the name", Says: `needs a text, for example "Tank 1"`, form: formText},
		{Name: "note", Meaning: "kept, printed in registers, never sent", Says: `needs a text, for example "for the record"`, form: formText},
	}},
	{word: "use", header: "use fermentation, drying", bare: true},
	{word: "without", header: `without wet-too-long because "burner room has listed detection"`, bare: true},
	{word: "change", header: "change soaked-too-long", keys: []Key{
		{Name: "on-delay", Meaning: "true so long before it occurs", Says: "needs a duration, for example 5 min", Least: "0 s", Most: "30 d", Time: true, form: formQuantity},
		{Name: "off-delay", Meaning: "false so long before it clears", Says: "needs a duration, for example 5 min", Least: "0 s", Most: "30 d", Time: true, form: formQuantity},
		{Name: "deadband", Meaning: "one for each quantity compared in when", Says: "needs an amount, for example 0.5 °C", form: formDeadband},
		{Name: "priority", Meaning: "from consequence and time to respond, never by feel", Says: "is high, medium or low", form: formName},
		{Name: "call", Meaning: "who is called; a person named here is called at any hour", Says: "needs watches or persons, for example night", form: formNames},
		{Name: "respond-within", Meaning: "from being called to the last moment that helps", Says: "needs a duration, for example 45 min", Least: "1 min", Most: "30 d", Time: true, form: formQuantity},
		{Name: "consequence", Meaning: "what happens if nobody acts", Says: `needs a text, for example "Mould spreads within days."`, form: formText},
		{Name: "action", Meaning: "what to do; the first sentence is the text message", Says: `needs a text, for example "Drain and wash now."`, form: formText},
		{Name: "verify-with", Meaning: "shown beside the alarm, their values sent if they fit", Says: `needs points, expressions or texts, for example humidity, "smell the bin"`, form: formEvidence},
		{Name: "latching", Meaning: "after return it stays until reset", Says: "is yes or no", form: formFlag},
		{Name: "re-annunciate", Meaning: "acknowledged and still abnormal: called again after so long", Says: "needs a duration or no, for example 30 min", Least: "1 min", Most: "7 d", Time: true, form: formPerhaps},
		{Name: "shelvable", Meaning: "longest shelf; high 1 h, class safety always no", Says: "needs a duration or no, for example 2 h", Least: "10 min", Most: "24 h", Time: true, form: formPerhaps},
		{Name: "because", Meaning: "why the site differs; stands in the register (asked for beyond unwise-…)", Says: `needs a text, for example "maker's card of the dryer"`, form: formText},
	}},
	{word: "alarm", header: "alarm too-cold for each tank", keys: []Key{
		{Name: "when", Meaning: "what is abnormal", Says: "needs a condition, for example ph < 4.2 pH", Default: "needed", form: formFormula},
		{Name: "while", Meaning: "only then judged: closing clears at once", Says: "needs a condition, for example loaded", form: formFormula},
		{Name: "suppressed-while", Meaning: "then suppressed by design: judged, listed, logged, not called", Says: "needs a condition, for example burner is off", form: formFormulaBecause},
		{Name: "deadband", Meaning: "one for each quantity compared in when", Says: "needs an amount, for example 0.5 °C", Default: "by quantity", form: formDeadband},
		{Name: "on-delay", Meaning: "true so long before it occurs", Says: "needs a duration, for example 5 min", Default: "0 s", Least: "0 s", Most: "30 d", Time: true, form: formQuantity},
		{Name: "off-delay", Meaning: "false so long before it clears", Says: "needs a duration, for example 5 min", Default: "60 s, event 0 s", Least: "0 s", Most: "30 d", Time: true, form: formQuantity},
		{Name: "priority", Meaning: "from consequence and time to respond, never by feel", Says: "is high, medium or low", Default: "needed", form: formName},
		{Name: "class", Meaning: "safety alarms cannot be shelved or held back", Says: "is safety, food, quality or equipment", Default: "needed", form: formName},
		{Name: "cause", Meaning: "what usually lies behind it", Says: `needs a text, for example "A wet pocket or a leak."`, form: formText},
		{Name: "consequence", Meaning: "what happens if nobody acts", Says: `needs a text, for example "Mould spreads within days."`, Default: "needed", form: formText},
		{Name: "action", Meaning: "what to do; the first sentence is the text message", Says: `needs a text, for example "Drain and wash now."`, Default: "needed", form: formText},
		{Name: "caution", Meaning: "what can hurt, shown before the action; class safety is refused without it", Says: `needs a text, for example "Do not open the drum."`, Default: "safety", form: formText},
		{Name: "respond-within", Meaning: "from being called to the last moment that helps", Says: "needs a duration, for example 45 min", Default: "needed", Least: "1 min", Most: "30 d", Time: true, form: formQuantity},
		{Name: "verify-with", Meaning: "shown beside the alarm, their values sent if they fit", Says: `needs points, expressions or texts, for example humidity, "smell the bin"`, form: formEvidence},
		{Name: "critical-limit", Meaning: "second line on chart and record (Codex critical limit)", Says: "needs an amount, for example 12.5 %wb", form: formAmount},
		{Name: "call", Meaning: "who is called; a person named here is called at any hour", Says: "needs watches or persons, for example night", Default: "watches on duty", form: formNames},
		{Name: "depends-on", Meaning: "while one of them stands, this one is suppressed by design", Says: "needs alarms, for example bus-silent", form: formNames},
		{Name: "latching", Meaning: "after return it stays until reset", Says: "is yes or no", Default: "no", form: formFlag},
		{Name: "re-annunciate", Meaning: "acknowledged and still abnormal: called again after so long", Says: "needs a duration or no, for example 30 min", Default: "no", Least: "1 min", Most: "7 d", Time: true, form: formPerhaps},
		{Name: "shelvable", Meaning: "longest shelf; high 1 h, class safety always no", Says: "needs a duration or no, for example 2 h", Default: "8 h", Least: "10 min", Most: "24 h", Time: true, form: formPerhaps},
		{Name: "source", Meaning: "what it rests on beyond its limits", Says: `needs a text, for example "29 CFR 1910.272"`, form: formText},
		{Name: "formerly", Meaning: "takes over the state of a renamed alarm", Says: "needs the old name, for example too-sour", form: formName},
		{Name: "title", Meaning: "what people read instead of the name", Says: `needs a text, for example "Tank 1"`, form: formText},
		{Name: "note", Meaning: "kept, printed in registers, never sent", Says: `needs a text, for example "for the record"`, form: formText},
	}},
	{word: "prompt", header: "prompt cover-the-deck for each deck", keys: []Key{
		{Name: "when", Meaning: "what is abnormal", Says: "needs a condition, for example ph < 4.2 pH", Default: "needed", form: formFormula},
		{Name: "say", Meaning: "the words shown or logged", Says: `needs a text, for example "Cover the deck."`, Default: "prompt, event", form: formText},
		{Name: "while", Meaning: "only then judged: closing clears at once", Says: "needs a condition, for example loaded", form: formFormula},
		{Name: "suppressed-while", Meaning: "then suppressed by design: judged, listed, logged, not called", Says: "needs a condition, for example burner is off", form: formFormulaBecause},
		{Name: "deadband", Meaning: "one for each quantity compared in when", Says: "needs an amount, for example 0.5 °C", Default: "by quantity", form: formDeadband},
		{Name: "on-delay", Meaning: "true so long before it occurs", Says: "needs a duration, for example 5 min", Default: "0 s", Least: "0 s", Most: "30 d", Time: true, form: formQuantity},
		{Name: "off-delay", Meaning: "false so long before it clears", Says: "needs a duration, for example 5 min", Default: "60 s, event 0 s", Least: "0 s", Most: "30 d", Time: true, form: formQuantity},
		{Name: "due", Meaning: "the time left, orders the list of what is next", Says: "needs a time, for example wash-in", form: formFormula},
		{Name: "verify-with", Meaning: "shown beside the alarm, their values sent if they fit", Says: `needs points, expressions or texts, for example humidity, "smell the bin"`, form: formEvidence},
		{Name: "title", Meaning: "what people read instead of the name", Says: `needs a text, for example "Tank 1"`, form: formText},
		{Name: "note", Meaning: "kept, printed in registers, never sent", Says: `needs a text, for example "for the record"`, form: formText},
	}},
	{word: "event", header: "event rain-began at yard", keys: []Key{
		{Name: "when", Meaning: "what is abnormal", Says: "needs a condition, for example ph < 4.2 pH", Default: "needed", form: formFormula},
		{Name: "say", Meaning: "the words shown or logged", Says: `needs a text, for example "Cover the deck."`, Default: "prompt, event", form: formText},
		{Name: "while", Meaning: "only then judged: closing clears at once", Says: "needs a condition, for example loaded", form: formFormula},
		{Name: "suppressed-while", Meaning: "then suppressed by design: judged, listed, logged, not called", Says: "needs a condition, for example burner is off", form: formFormulaBecause},
		{Name: "deadband", Meaning: "one for each quantity compared in when", Says: "needs an amount, for example 0.5 °C", Default: "by quantity", form: formDeadband},
		{Name: "on-delay", Meaning: "true so long before it occurs", Says: "needs a duration, for example 5 min", Default: "0 s", Least: "0 s", Most: "30 d", Time: true, form: formQuantity},
		{Name: "off-delay", Meaning: "false so long before it clears", Says: "needs a duration, for example 5 min", Default: "60 s, event 0 s", Least: "0 s", Most: "30 d", Time: true, form: formQuantity},
		{Name: "title", Meaning: "what people read instead of the name", Says: `needs a text, for example "Tank 1"`, form: formText},
		{Name: "note", Meaning: "kept, printed in registers, never sent", Says: `needs a text, for example "for the record"`, form: formText},
	}},
	{word: "person", header: "person ana", keys: []Key{
		{Name: "phone", Meaning: "for text messages and replies", Says: `needs a number with country in quotes, for example "+51 900 000 001"`, form: formQuoted},
		{Name: "mail", Meaning: "for channel mail", Says: "needs a mail address, for example ana@estate.example", form: formPlace},
		{Name: "by", Meaning: "how she is reached where a step names no channel", Says: "needs channels, for example text, push", Default: "all that fit", form: formNames},
		{Name: "rights", Meaning: "what this person may do on the page", Says: "is owner, technician, crew, reader or auditor", Default: "crew", form: formName},
		{Name: "language", Meaning: "of messages and page", Says: "is en or es, or a language with a words file", Default: "the site's", form: formName},
		{Name: "show", Meaning: "her own units", Says: "takes °C or °F, kg or lb, for example °F, lb", Default: "the site's", form: formItems},
		{Name: "title", Meaning: "what people read instead of the name", Says: `needs a text, for example "Tank 1"`, form: formText},
		{Name: "note", Meaning: "kept, printed in registers, never sent", Says: `needs a text, for example "for the record"`, form: formText},
	}},
	{word: "watch", header: "watch night", keys: []Key{
		{Name: "hours", Meaning: "when it is on duty; days are those on which it begins", Says: "needs hours, for example 18:00-08:00 mon-fri", Default: "needed", Many: true, form: formHours},
		{Name: "call", Meaning: "called at once; everyone; a siren among the channels sounds with the first of them", Says: "needs people, for example ana by siren, text", Default: "needed", Many: true, form: formCall},
		{Name: "after", Meaning: "called so long after the first call if nobody has acknowledged", Says: "needs a duration and people, for example 5 min ben by text", Least: "1 min", Most: "24 h", Many: true, Time: true, form: formStep},
		{Name: "repeat", Meaning: "then the last step again and again", Says: "needs a duration, for example 10 min", Default: "10 min", Least: "2 min", Most: "24 h", Time: true, form: formQuantity},
		{Name: "takes", Meaning: "others are left to other watches", Says: "takes high, medium, low, for example high, medium", Default: "high, medium, low", form: formNames},
		{Name: "areas", Meaning: "only alarms from there", Says: "needs areas, for example wet-mill, deck", Default: "all", form: formNames},
		{Name: "only-when-named", Meaning: "called only by alarms whose call names it", Says: "is yes or no", Default: "no", form: formFlag},
		{Name: "present", Meaning: "these people are at the mill and awake: watched", Says: "is yes or no", Default: "no", form: formFlag},
		{Name: "digest", Meaning: "priority low waits until then, in one message", Says: "needs a time of day, for example 07:00", form: formClock},
		{Name: "title", Meaning: "what people read instead of the name", Says: `needs a text, for example "Tank 1"`, form: formText},
		{Name: "note", Meaning: "kept, printed in registers, never sent", Says: `needs a text, for example "for the record"`, form: formText},
	}},
	{word: "channel", header: "channel text", settings: true, keys: []Key{
		{Name: "title", Meaning: "what people read instead of the name", Says: `needs a text, for example "Tank 1"`, form: formText},
		{Name: "note", Meaning: "kept, printed in registers, never sent", Says: `needs a text, for example "for the record"`, form: formText},
	}},
	{word: "broker", header: "broker", keys: linkKeys},
	{word: "store", header: "store", keys: linkKeys},
	{word: "page", header: "page", keys: []Key{
		{Name: "listen", Meaning: "where it is served; beyond this machine only with a certificate", Says: "needs an address, for example 192.168.10.2:443", Default: "127.0.0.1:8420", form: formPlace},
		{Name: "certificate", Meaning: "certificate and key in one file", Says: "needs a path, for example /etc/millwarden/page.pem", form: formPlace},
		{Name: "name", Meaning: "the name in links and push", Says: "needs a host name, for example mill.estate.example", form: formPlace},
	}},
	{word: "outside-watcher", header: "outside-watcher", keys: []Key{
		{Name: "address", Meaning: `whom to tell "alive" while all is well`, Says: "needs an address, for example https://watcher.example/mill", Default: "one of", form: formPlace},
		{Name: "credential", Meaning: `whom to tell "alive" while all is well`, Says: "needs an address, for example https://watcher.example/mill", Default: "one of", form: formName},
		{Name: "every", Meaning: "how often", Says: "needs a duration, for example 5 min", Default: "5 min", Least: "1 min", Most: "1 h", Time: true, form: formQuantity},
		{Name: "all-well", Meaning: "the daily message", Says: "needs a time and people, for example 07:30 ana by text", form: formDaily},
	}},
	{word: "words", header: "words es for over-fermented", keys: []Key{
		{Name: "title", Meaning: "what people read instead of the name", Says: `needs a text, for example "Tank 1"`, form: formText},
		{Name: "cause", Meaning: "what usually lies behind it", Says: `needs a text, for example "A wet pocket or a leak."`, form: formText},
		{Name: "consequence", Meaning: "what happens if nobody acts", Says: `needs a text, for example "Mould spreads within days."`, Default: "needed", form: formText},
		{Name: "action", Meaning: "what to do; the first sentence is the text message", Says: `needs a text, for example "Drain and wash now."`, Default: "needed", form: formText},
		{Name: "caution", Meaning: "what can hurt, shown before the action; class safety is refused without it", Says: `needs a text, for example "Do not open the drum."`, Default: "safety", form: formText},
		{Name: "say", Meaning: "the words shown or logged", Says: `needs a text, for example "Cover the deck."`, Default: "prompt, event", form: formText},
	}},
	{word: "subject", header: "subject fermentation", keys: []Key{
		{Name: "title", Meaning: "what people read instead of the name", Says: `needs a text, for example "Tank 1"`, form: formText},
		{Name: "note", Meaning: "kept, printed in registers, never sent", Says: `needs a text, for example "for the record"`, form: formText},
	}},
	{word: "include", header: `include "deck.rules"`, bare: true},
})
