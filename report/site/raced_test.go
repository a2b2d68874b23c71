//go:build race

package site

// raced says that the race detector is on: an analysis takes it fifteen times as long.
const raced = true
