package fit

// fitCRC are the tables of FIT's checksum, CRC-16 with the reflected polynomial
// 0xA001 and initial value 0. Table k advances a byte by k further bytes, so
// eight bytes take eight look-ups that do not wait for each other
// (M. E. Kounavis, F. L. Berry, "A systematic approach to building high
// performance software-based CRC generators", ISCC 2005).
var fitCRC = func() (t [8][256]uint16) {
	for i := range 256 {
		c := uint16(i)
		for range 8 {
			if c&1 != 0 {
				c = c>>1 ^ 0xA001
			} else {
				c >>= 1
			}
		}
		t[0][i] = c
	}
	for k := 1; k < 8; k++ {
		for i := range 256 {
			c := t[k-1][i]
			t[k][i] = c>>8 ^ t[0][c&0xFF]
		}
	}
	return t
}()

// AddCRC carries the checksum over b.
func AddCRC(crc uint16, b []byte) uint16 {
	t := &fitCRC
	for len(b) >= 8 {
		crc = t[7][b[0]^byte(crc)] ^ t[6][b[1]^byte(crc>>8)] ^
			t[5][b[2]] ^ t[4][b[3]] ^ t[3][b[4]] ^ t[2][b[5]] ^ t[1][b[6]] ^ t[0][b[7]]
		b = b[8:]
	}
	for _, x := range b {
		crc = crc>>8 ^ t[0][x^byte(crc)]
	}
	return crc
}
