package fit

import (
	"testing"

	"github.com/tormoder/fit/dyncrc16"
)

// TestChecksum: the fast way gives what the library gives, however the data
// come in pieces.
func TestChecksum(t *testing.T) {
	// "123456789" gives 0xBB3D: the check value of CRC-16/ARC (from memory).
	if got := addCRC(0, []byte("123456789")); got != 0xBB3D {
		t.Errorf("check value: got %#x, want 0xBB3D", got)
	}
	b := make([]byte, 100)
	for i := range b {
		b[i] = byte(31 * i)
	}
	for i := range b {
		if got, want := addCRC(addCRC(0, b[:i]), b[i:]), dyncrc16.Checksum(b); got != want {
			t.Fatalf("cut at %d: got %#x, want %#x", i, got, want)
		}
	}
}
