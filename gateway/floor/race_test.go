//go:build race

package floor_test

const underRace = true
