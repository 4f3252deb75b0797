package check

import (
	"time"

	"millwarden/internal/phrase"
	"millwarden/internal/units"
	"millwarden/rules/engine"
)

// Plan is a rules file that was found good: every name resolved, every default filled in, all values in base units. The order of each
// list is that of the file.
type Plan struct {
	Site     Site
	Areas    []Area
	Stations []Station
	Buses    []Bus // those of the file's blocks, and the host's own that some probe hangs on
	Probes   []Probe
	Points   []Point
	Limits   []Limit
	People   []Person
	Watches  []Watch
	Channels []Channel
	Broker   Broker
	Store    *Store // nil: no store
	Page     Page
	Watcher  *Watcher // nil: nobody outside watches this board
	Words    []Words
	Subjects []string // built-in subjects in use
	LeftOut  []LeftOut
	Engine   engine.Plan
	Boards   []Board  // other boards of the estate that this one hears: it is their hub
	Rules    string   // SHA-256 in hex over this board's own texts, in order: what two boards compare
	Files    []string // names of all files read, the built-in ones as "standard/NAME.rules"
	Hash     string   // SHA-256 in hex over the text of all of them
}

// Board is another board of the estate, whose points this one judges too.
type Board struct {
	Name        string // also its station here
	SilentAfter time.Duration
	Rules       string // as Plan.Rules of that board should be
}

// Site is the estate as this board sees it.
type Site struct {
	Name     string
	Title    string
	Zone     *time.Location
	ZoneName string
	Altitude float64 // m
	Night    engine.Span
	Choice   units.Choice
	Language string // "en", "es"
	Board    string // this gateway's own name, also a station of kind board for its points
	Hub      string // the board that calls people; "": this one
	Keep     time.Duration
	Note     string
}

// Area is a place that holds stations.
type Area struct{ Name, Title, Note string }

// Station is one tank, deck, dryer, bin, room, store, roaster, huller, yard or board.
type Station struct {
	Name     string
	Title    string
	Kind     string
	Area     string // "mill" if none was given
	Settings phrase.Lines
	Formerly string
	Note     string
	Remote   bool // described in the rules file of another board
}

// Bus is wiring that probes share.
type Bus struct {
	Name     string
	Title    string
	Kind     string // "serial", "i2c-mux"; of the host's own "I2C", "SPI", "GPIO", "IIO", "HWMON", "onewire", "broker", "tcp"
	Host     bool   // the host's own, without a block
	Address  string // of kind "tcp": host and port
	Remote   bool   // of another board, whose name is before the slash
	Settings phrase.Lines
	Note     string
}

// Probe is one physical sensor as installed.
type Probe struct {
	Name           string
	Title          string
	Part           string
	Bus            string        // the name of one of Buses; ByHand where people are the probe
	Place          []phrase.Slot // what followed the part's name, one slot for each of the declared pattern
	Settings       phrase.Lines
	Gives          []Give
	Every          time.Duration
	OverdueAfter   time.Duration
	Range          *Range        // given by `range`; nil: the part's own, see Give
	RateLimit      *units.Amount // nil: by kind of quantity
	FrozenAfter    Perhaps
	CalibrateEvery Perhaps
	Offset         *units.Amount // nil: none; a difference for temperatures
	Slope          float64
	Mounted        string
	Note           string
	Compensated    string // full name of the temperature point that compensates an electrode
	Remote         bool   // hangs on another board
	File           string
	Line           int
}

// Give is one point that a probe feeds.
type Give struct {
	Point    string // full: "tank-1/ph"
	Station  string
	Channel  string // of the part: "ph", "temperature"
	Quantity units.Quantity
	Range    Range // what the channel can read, narrowed by `range`
}

// Range is from Low to High in base units.
type Range struct{ Low, High float64 }

// Perhaps is a duration, `no`, or nothing said.
type Perhaps struct {
	Given bool
	For   time.Duration // 0 with Given: no
}

// How a point comes by its value.
type How uint8

const (
	Measured How = iota // by a probe
	Computed            // by a model of its station, or by the gateway about itself
	Derived             // by a `point` block
	Remote              // by another board
)

func (h How) String() string { return [...]string{"measured", "computed", "derived", "remote"}[h] }

// Point is one quantity at one station; also of a bus, a channel, a probe, or of another point ("tank-1/ph/disagrees").
type Point struct {
	Name     string // full: "tank-1/ph"
	Short    string // "ph"
	Station  string // or bus, channel, probe, point
	Area     string
	Title    string // "ph" with spaces for hyphens
	Quantity units.Quantity
	How      How
	Probe    string   // measured: who gives it
	Range    *Range   // what can be read, or what the kind of station declares; nil: not known
	From     []string // computed: full names of the points it is worked out from, as far as they are there
	Keep     bool     // kept in the history and published
	Formerly string
	Limits   []PointLimit
}

// PointLimit is one value that an alarm compares the point with, so that the page can draw it.
type PointLimit struct {
	Alarm    string // ID
	Kind     engine.Kind
	Priority engine.Priority
	Limit    string // name of the limit; "" for a number in the condition or a critical limit
	Value    float64
	Above    bool // abnormal above it; else below
	Critical bool // the alarm's critical-limit
}

// Limit is a named value, as in force at the places it stands for.
type Limit struct {
	Name     string
	Value    units.Amount
	At       []string // stations where this value holds; empty: all that use it
	Declared units.Amount
	Source   string
	Choice   string
	Because  string // why the site differs
	Subject  string // built-in subject that declares it; "" for the site's own
	File     string
	Line     int
}

// Person is somebody who may be called.
type Person struct {
	Name, Title string
	Phone, Mail string
	By          []string // channels; empty: all that fit
	Rights      string
	Language    string
	Choice      units.Choice
	Note        string
}

// Watch is who is called at which hours.
type Watch struct {
	Name, Title   string
	Hours         []engine.Span
	Steps         []Step // the first has After 0
	Repeat        time.Duration
	Takes         []engine.Priority
	Areas         []string // empty: all
	OnlyWhenNamed bool
	Present       bool
	Digest        int // minutes after midnight; -1: none
	Note          string
}

// Step is one step of a watch, counted from the first call.
type Step struct {
	After  time.Duration
	People []string // `everyone` is written out
	By     []string // channels; empty: all that fit each person
}

// Channel is one way to reach people.
type Channel struct {
	Name, Title string
	Kind        string
	Settings    phrase.Lines
	Note        string
}

// Broker is the MQTT broker: the site's own by Address, or the one inside.
type Broker struct {
	Address     string // "" : the broker inside
	Listen      string // where the broker inside can be reached; "": not beyond this process
	Credential  string
	CA          string
	Certificate string
	Root        string // first topic level
}

// Store is the time-series store.
type Store struct {
	Address      string
	Credential   string
	CA           string
	Certificate  string
	Org, Bucket  string
	DurableAfter time.Duration
}

// Page is where people look.
type Page struct {
	Listen      string
	Certificate string
	Name        string
}

// Watcher is who outside is told "alive" while all is well.
type Watcher struct {
	Address    string
	Credential string
	Every      time.Duration
	AllWell    int // minutes after midnight; -1: no daily message
	People     []string
	By         []string
}

// Words is the translation of one alarm's texts.
type Words struct {
	Language, Alarm                                 string
	Title, Cause, Consequence, Action, Caution, Say string
}

// LeftOut is a built-in alarm that the site does without.
type LeftOut struct {
	Alarm   string
	At      []string // empty: everywhere
	Class   engine.Class
	Because string
}
