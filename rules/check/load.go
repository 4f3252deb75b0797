package check

import (
	"io/fs"
	"slices"
	"sync"
	"time"

	"millwarden/internal/diag"
	"millwarden/internal/phrase"
	"millwarden/internal/slab"
	"millwarden/rules/formula"
	"millwarden/rules/syntax"
)

// checker is one run over one set of files.
type checker struct {
	words   *vocabulary
	list    diag.List
	said    map[string]bool
	sources diag.Sources
	blocks  []*block
	byWord  map[string][]*block // of blocks, once all are read
	plan    *Plan

	site        *block
	areas       map[string]*block
	stations    map[string]*station
	order       []*station
	buses       map[string]*bus
	probes      map[string]*probe
	probeList   []*probe
	points      map[string]*point
	pointList   []*point
	limits      map[string]*limit
	limitList   []*limit
	people      map[string]*block
	peopleMeant []syntax.Token // by settings of channels, which are read before people are known
	watches     map[string]*block
	channels    map[string]*channel
	alarms      map[string]*alarm
	alarmList   []*alarm
	inputs      map[string]*probe    // what is read, and by whom
	ends        map[*syntax.Key]ends // of keys, once read
	nodes       slab.Of[formula.Node]
	args        slab.Of[*formula.Node]
	printed     []byte            // room for the text of one formula
	texts       map[string]string // of formulas: many alarms, or one at many stations, look alike
	constants   map[constant]*formula.Node
	standing    map[*point]*formula.Node // points by their short names
	slowest     time.Duration            // update time of the slowest probe
	noHours     bool                     // a watch has hours that could not be read, which was said
}

// OnceGC is the percentage of the garbage collector for a program that loads one file and ends, as a compiler has it: what the load leaves behind goes with the program. Chosen.
const OnceGC = 400

// Load reads the main file and all that it names, checks it against the vocabulary of parts, buses and channels, and gives the plan; nil
// if the list holds an error. The sources are for printing the list.
func Load(fsys fs.FS, main string, declared []phrase.Declaration) (*Plan, diag.List, diag.Sources) {
	return load(fsys, []string{main}, declared)
}

// load reads several main files as one.
func load(fsys fs.FS, mains []string, declared []phrase.Declaration) (*Plan, diag.List, diag.Sources) {
	c := &checker{
		words: newVocabulary(declared), said: map[string]bool{}, sources: diag.Sources{}, plan: &Plan{},
		areas: map[string]*block{}, stations: map[string]*station{}, buses: map[string]*bus{}, probes: map[string]*probe{},
		points: map[string]*point{}, limits: map[string]*limit{}, people: map[string]*block{}, watches: map[string]*block{},
		channels: map[string]*channel{}, alarms: map[string]*alarm{}, inputs: map[string]*probe{},
		ends: map[*syntax.Key]ends{}, texts: map[string]string{}, constants: map[constant]*formula.Node{}, standing: map[*point]*formula.Node{},
	}
	r := &reader{c: c, fsys: fsys, read: map[string]bool{}}
	for _, name := range mains {
		r.readMain(name)
	}
	r.mains = len(r.names)
	r.readBoards()
	r.readSubjects()
	c.plan.Files = r.names
	var sums sync.WaitGroup
	sums.Go(r.sums)
	if len(c.blocks) > 0 || !c.list.HasErrors() {
		c.check(mains)
	}
	sums.Wait()
	list := finish(c.list)
	if list.HasErrors() {
		return nil, list, c.sources
	}
	return c.plan, list, c.sources
}

// check goes through the language from the ground up: each step knows what those before it found.
func (c *checker) check(mains []string) {
	c.indexBlocks()
	blocks := c.alongside((*checker).checkBlocks)
	c.checkSite(mains)
	c.checkAreas()
	c.checkStations()
	c.checkBuses()
	c.checkProbes()
	c.addComputed()
	c.checkLimits()
	c.checkDerived()
	c.checkCompensation()
	c.checkLinks()
	c.checkPeople()
	blocks()
	c.checkAlarms()
	c.checkRoster()
	c.checkUnused()
	c.checkUnwise()
	c.checkBounds()
	windows := c.alongside((*checker).checkWindows)
	c.assemble()
	windows()
}

// indexBlocks puts blocks of one word together.
func (c *checker) indexBlocks() {
	c.byWord = map[string][]*block{}
	for i, b := range c.blocks {
		b.number = i
		word := b.Word.Word()
		c.byWord[word] = append(c.byWord[word], b)
	}
}

// of lists the blocks of these words, in the order read.
func (c *checker) of(words ...string) []*block {
	var found []*block
	for _, w := range words {
		if found == nil {
			found = slices.Clip(c.byWord[w])
		} else if more := c.byWord[w]; len(more) > 0 {
			found = append(found, more...)
			slices.SortFunc(found, func(a, b *block) int { return a.number - b.number })
		}
	}
	return found
}

func (c *checker) siteName() string {
	for _, b := range c.blocks {
		if b.Word.Is("site") && b.ours() {
			return b.Name.Word()
		}
	}
	return ""
}

// line is the first line of a key; nil if it does not stand, or was refused.
func line(b *block, key string) *syntax.Line {
	return b.First(key)
}

// text is the text behind a key, or "".
func text(b *block, key string) string {
	if l := line(b, key); l != nil {
		if t, ok := l.Value.(*syntax.Texts); ok {
			return t.Value
		}
	}
	return ""
}

// titleOf is what people read instead of the name.
func titleOf(b *block) string {
	if t := text(b, "title"); t != "" {
		return t
	}
	return spaced(b.Name.Word())
}
