package fit

import (
	"testing"

	"github.com/tormoder/fit/dyncrc16"
)

// TestChecksum: the fast way gives what the library gives, however the data
// come in pieces.
func TestChecksum(t *testing.T) {
	b := make([]byte, 1000)
	for i := range b {
		b[i] = byte(31*i + i*i/7)
	}
	for n := 1; n <= len(b); n += 37 {
		for i := range n {
			sum := dyncrc16.New()
			carry(sum, b[:i])
			carry(sum, b[i:n])
			if got, want := sum.Sum16(), dyncrc16.Checksum(b[:n]); got != want {
				t.Fatalf("%d bytes, cut at %d: got %#x, want %#x", n, i, got, want)
			}
		}
	}
	// "123456789" gives 0xBB3D: the check value of CRC-16/ARC (from memory).
	sum := dyncrc16.New()
	carry(sum, []byte("123456789"))
	if got := sum.Sum16(); got != 0xBB3D {
		t.Errorf("check value: got %#x, want 0xBB3D", got)
	}
}
