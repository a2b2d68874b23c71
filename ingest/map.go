package ingest

// A Map tells which column of a foreign CSV holds what.
type Map struct{}
