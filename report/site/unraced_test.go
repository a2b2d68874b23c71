//go:build !race

package site

import "testing"

// alone is for tests that show the race detector nothing.
func alone(*testing.T) {}
