package drivertest

import (
	"strconv"

	"millwarden/internal/phrase"
	"millwarden/internal/units"
)

// Number is a slot that holds a number.
func Number(n float64) phrase.Slot {
	return phrase.Slot{Given: true, Text: strconv.FormatFloat(n, 'f', -1, 64), Amount: units.Amount{Value: n, Quantity: units.Count}}
}

// Word is a slot that holds a word.
func Word(text string) phrase.Slot { return phrase.Slot{Given: true, Text: text} }

// Place is what follows a part's name where that is a bus and a number: "on spi-0 select 1", "on i2c-1 at 0x76".
func Place(bus string, number float64) phrase.Line {
	return phrase.Line{Key: "place", Slots: []phrase.Slot{Word(bus), Number(number)}}
}
