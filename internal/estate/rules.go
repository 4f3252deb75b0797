package estate

import "embed"

// Files holds the demo's rules file, RulesFile.
//
//go:embed demo.rules
var Files embed.FS

// RulesFile is the name of the demo's rules file in Files.
const RulesFile = "demo.rules"

// Lots stand on the estate when it begins: station, lot, kg and how long ago they were loaded, to fit the truth of NewTruth.
var Lots = []struct {
	Station, Lot string
	Kilograms    float64
	Hours        float64
}{
	{"tank-1", "142", 412, 17},
	{"tank-2", "143", 388, 1},
	{"deck-a", "139", 640, 46},
	{"dryer-1", "138", 520, 24},
	{"bin-1", "131", 910, 400},
	{"bin-2", "133", 870, 300},
	{"bin-3", "135", 905, 200},
}

// Past is what stood on the stations before, so that the way of the lots has something to show: hours ago from and to, oldest first.
var Past = []struct {
	Station, Lot string
	Kilograms    float64
	From, To     float64
	Note         string
}{
	{"dryer-1", "131", 915, 470, 401, ""},
	{"deck-a", "133", 876, 425, 301, ""},
	{"dryer-1", "135", 911, 270, 201, ""},
	{"tank-2", "137", 405, 222, 201, ""},
	{"deck-a", "137", 0, 200, 73, "sold as dry parchment"},
	{"tank-1", "136", 430, 152, 131, ""},
	{"dryer-1", "136", 0, 130, 62, "sold as dry parchment"},
	{"tank-2", "139", 640, 73, 48, ""},
	{"tank-1", "138", 520, 46, 25, ""},
	{"tank-2", "140", 395, 47, 26, "to the neighbour's patio: no room here"},
}
