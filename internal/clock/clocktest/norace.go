//go:build !race

package clocktest

const underRace = false
