// Package water holds the properties of water and the friction of plates in it.
//
// It imports the standard library only.
package water
