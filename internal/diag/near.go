package diag

// Near is the known word that a person most likely meant: within two letters of the word, within one for words under five letters.
// A swap of two letters counts as one. Nothing near: "". The first of equally near words wins.
func Near(word string, known []string) string {
	most := 2
	if len([]rune(word)) < 5 {
		most = 1
	}
	best, found := most+1, ""
	for _, k := range known {
		if d := distance([]rune(word), []rune(k), most); d < best && k != word {
			best, found = d, k
		}
	}
	return found
}

// distance counts the letters to insert, leave out, change or swap with the neighbour until a is b; beyond most it may stop counting.
// It is the restricted Damerau-Levenshtein distance: no stretch is edited twice.
func distance(a, b []rune, most int) int {
	if len(a)-len(b) > most || len(b)-len(a) > most {
		return most + 1
	}
	before, above, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range above {
		above[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			change := 1
			if a[i-1] == b[j-1] {
				change = 0
			}
			row[j] = min(above[j]+1, row[j-1]+1, above[j-1]+change)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, above, row = above, row, before
	}
	return above[len(b)]
}
