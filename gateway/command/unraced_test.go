//go:build !race

package command

const raced = false
