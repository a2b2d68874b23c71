package fit

import (
	"encoding/binary"

	"github.com/tormoder/fit/dyncrc16"
)

// checksumSize is the length of the checksum behind a file's data, bytes.
const checksumSize = 2

// carry carries the library's checksum over b, most of which is folded into its
// end first: the library alone takes longer than all the rest of the reader. The
// checksum's polynomial p(x) = x¹⁶ + x¹⁵ + x² + 1 divides p(x)⁶⁴, which is p(x⁶⁴)
// over the field of two elements: a word of 64 bits may be added to the words 1,
// 14 and 16 places behind it and taken away, and the remainder stays.
func carry(sum dyncrc16.Hash16, b []byte) {
	var w [16]uint64 // the words ahead, in a ring
	if n := 8 * len(w); len(b) > 2*n {
		for i := range w {
			w[i] = binary.LittleEndian.Uint64(b[8*i:])
		}
		x, i := w[0]^uint64(sum.Sum16()), uint(0)
		for b = b[n:]; len(b) >= 8; b = b[8:] {
			w[(i+14)%16] ^= x
			w[i%16] = x ^ binary.LittleEndian.Uint64(b)
			i++
			x ^= w[i%16]
		}
		w[i%16] = x
		sum.Reset()
		for range w {
			_, _ = sum.Write(binary.LittleEndian.AppendUint64(nil, w[i%16])) // a checksum never fails
			i++
		}
	}
	_, _ = sum.Write(b)
}
