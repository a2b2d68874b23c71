// Package near measures how far a misspelt word is from a known one.
//
// It imports nothing of this module.
package near

// longest is how many bytes of a word are compared; longer ones are no slip of
// a finger.
const longest = 64

// Edits is Levenshtein's distance in bytes.
func Edits(a, b string) int {
	if len(a) > longest || len(b) > longest {
		return max(len(a), len(b))
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diag := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			next := min(diag+cost, row[j]+1, row[j+1]+1)
			diag, row[j+1] = row[j+1], next
		}
	}
	return row[len(b)]
}
