// Package analysis runs the whole chain from a log and a setup to a [Result];
// [Run] reads as its table of contents.
//
// It imports ingest, filter and the packages below it.
package analysis
