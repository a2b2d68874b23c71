//go:build !js

package gpx

import (
	"golang.org/x/net/html/charset"
	"golang.org/x/text/encoding"
)

// encodingNamed is the character set of an XML declaration, nil for one that is
// not known.
func encodingNamed(label string) encoding.Encoding {
	enc, _ := charset.Lookup(label)
	if enc == encoding.Replacement {
		return nil
	}
	return enc
}
