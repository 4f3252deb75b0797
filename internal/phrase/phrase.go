// Package phrase is the common ground between those who declare lines of the rules file (parts, buses, channels, kinds of station) and
// the checker that reads them: the declaration as text, and what was found in a line. It holds no knowledge of any part.
//
// Concurrency: values, not changed after checking.
package phrase

import "millwarden/internal/units"

// Line is one checked line of a block: its key, and one Slot for each CAPITAL, each choice, and each bracketed group of words alone of
// the declared pattern, from left to right; the CAPITALS in the options of a choice follow its own slot: (tcp HOST|BUS) is three. A
// repetition {…} appends its slots again for each time it stands. Slots that were left out
// stand all the same: with their default (Given false), or empty.
type Line struct {
	Key   string // "place" for what follows the part's name
	Slots []Slot
}

// Slot is what stood in one slot.
type Slot struct {
	Given  bool         // it was written; a bracketed group of words alone has nothing else
	Text   string       // the word, name, path, topic, id or choice as written (choices: their printed form)
	Amount units.Amount // of NUMBER (quantity Count) and quantity slots, in base units; of AMOUNT what one count is worth, without the shift of °F
	Unit   string       // of AMOUNT and ANY the printed unit, "" if none was written: units.Choose(Unit, Amount.Quantity) reads words kept in it
}

// Lines are the checked lines of one block, in the order written; lines that were left out but have defaults stand at the end.
type Lines []Line

// Find returns the first line with that key.
func (l Lines) Find(key string) (Line, bool) {
	for _, line := range l {
		if line.Key == key {
			return line, true
		}
	}
	return Line{}, false
}
