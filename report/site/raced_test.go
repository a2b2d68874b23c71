//go:build race

package site

import "testing"

// alone skips a test in which no goroutines meet that others do not bring together:
// the race detector makes an analysis fifteen times as long.
func alone(t *testing.T) {
	t.Helper()
	t.Skip("nothing meets here that the race detector does not see elsewhere")
}
