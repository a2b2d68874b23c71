// Package scan reads numbers and times out of bytes, without copies.
//
// It imports nothing of this module.
package scan

import (
	"encoding/binary"
	"math"
	"math/bits"
	"strconv"
	"strings"
)

// What a field turned out to be.
type Kind uint8

const (
	IsNumber    Kind = iota
	IsEmpty          // nothing between the delimiters
	IsNotFinite      // NaN, Inf, or beyond the range of a float
	IsGarbled        // not a number
)

var pow10 = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// Number reads the number that starts at line[i] and ends at delim or at
// the end of the line; next is the index of that delimiter or len(line).
// Besides the point it takes dec as the decimal mark. The value is what
// strconv.ParseFloat gives: a mantissa below 2⁵³ and a power of ten up to 22
// are both exact floats, so one multiplication or division rounds once
// (W. D. Clinger, "How to read floating point numbers accurately", PLDI 1990);
// the rest goes to strconv.
func Number(line []byte, i int, delim, dec byte) (v float64, next int, kind Kind) {
	start := i
	n := len(line)
	neg := false
	if i < n && (line[i] == '-' || line[i] == '+') {
		neg = line[i] == '-'
		i++
	}
	var mant uint64
	first := i
	for i < n && line[i]-'0' <= 9 {
		mant = mant*10 + uint64(line[i]-'0')
		i++
	}
	digits, frac := i-first, 0
	plain := true // as strconv reads it
	if i < n && (line[i] == '.' || line[i] == dec) && line[i] != delim {
		plain = line[i] == '.'
		i++
		first = i
		for i+8 <= n {
			eight, k := leadingDigits(binary.LittleEndian.Uint64(line[i:]))
			mant = mant*wholePow10[k] + eight
			if i += k; k < 8 {
				break
			}
		}
		for i < n && line[i]-'0' <= 9 {
			mant = mant*10 + uint64(line[i]-'0')
			i++
		}
		frac = i - first
		digits += frac
	}
	ends := (i == n || line[i] == delim) && digits > 0
	if ends && digits <= 19 && mant < 1<<53 && frac <= 22 {
		if v = float64(mant) / pow10[frac]; neg {
			v = -v
		}
		return v, i, IsNumber
	}
	if ends && plain {
		if v, err := strconv.ParseFloat(string(line[start:i]), 64); err == nil {
			return v, i, IsNumber
		}
	}
	end := FieldEnd(line, start, delim)
	v, kind = SlowNumber(line[start:end], dec)
	return v, end, kind
}

var wholePow10 = [...]uint64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8}

// leadingDigits is the number that the first k of eight bytes spell, the first byte
// lowest: as many as are digits. All eight are looked at at once, then made pairs,
// fours and one, without a branch (after D. Lemire, "Quickly parsing eight digits",
// from memory).
func leadingDigits(eight uint64) (v uint64, k int) {
	const each = 0x0101010101010101
	eight ^= '0' * each
	others := (eight + (0x80-10)*each | eight) & (0x80 * each)
	k = bits.TrailingZeros64(others) / 8
	eight <<= uint(64 - 8*k) // zeros before them
	eight = eight*10 + eight>>8
	const pairs = 0xFF | 0xFF<<32
	return (eight&pairs*(100|1e6<<32) + eight>>16&pairs*(1|1e4<<32)) >> 32, k
}

// FieldEnd is the index of the delimiter that ends the field at i; a quoted
// field may hold the delimiter.
func FieldEnd(line []byte, i int, delim byte) int {
	for i < len(line) && line[i] == ' ' {
		i++
	}
	if i < len(line) && line[i] == '"' {
		for i++; i < len(line); i++ {
			if line[i] == '"' {
				if i+1 < len(line) && line[i+1] == '"' {
					i++
					continue
				}
				break
			}
		}
	}
	for i < len(line) && line[i] != delim {
		i++
	}
	return i
}

// Bare strips blanks and quotes from a field.
func Bare(b []byte) []byte {
	b = Trim(b)
	if len(b) >= 2 && b[0] == '"' && b[len(b)-1] == '"' {
		b = Trim(b[1 : len(b)-1])
	}
	return b
}

func Trim(b []byte) []byte {
	for len(b) > 0 && (b[0] == ' ' || b[0] == '\t') {
		b = b[1:]
	}
	for len(b) > 0 && (b[len(b)-1] == ' ' || b[len(b)-1] == '\t' || b[len(b)-1] == '\r') {
		b = b[:len(b)-1]
	}
	return b
}

// SlowNumber reads what Number's fast path does not.
func SlowNumber(b []byte, dec byte) (float64, Kind) {
	s := pointed(b, dec)
	switch {
	case s == "":
		return math.NaN(), IsEmpty
	case notFinite[strings.ToLower(strings.TrimLeft(s[:min(len(s), 12)], "+-"))]:
		return math.NaN(), IsNotFinite
	case len(s) > 400, strings.Trim(s, "0123456789+-.eE") != "":
		return math.NaN(), IsGarbled
	}
	v, err := strconv.ParseFloat(s, 64)
	switch {
	case err == nil:
		return v, IsNumber
	case math.IsInf(v, 0):
		return math.NaN(), IsNotFinite
	}
	return math.NaN(), IsGarbled
}

// pointed is the bare text of a number with the point as its decimal mark.
func pointed(b []byte, dec byte) string {
	s := string(Bare(b))
	if dec == '.' {
		return s
	}
	return strings.ReplaceAll(s, string(dec), ".")
}

// notFinite are the words that programs write for a missing number.
var notFinite = map[string]bool{"nan": true, "inf": true, "infinity": true, "null": true, "none": true, "na": true, "n/a": true,
	"1.#qnan": true, "1.#ind": true, "1.#inf": true}

// ToFloat32 is the float32 nearest to the decimal in text, whose float64 is v.
// Rounding twice differs from rounding once only when v is exactly half-way.
func ToFloat32(v float64, text []byte, dec byte) float64 {
	if math.Float64bits(v)&(1<<29-1) != 1<<28 {
		return v
	}
	if f, err := strconv.ParseFloat(pointed(text, dec), 32); err == nil {
		return f
	}
	return v
}

// DecimalNS reads a decimal number of units of 10^-unitDigits s as whole
// nanoseconds, rounded; the whole units do not pass through a float, which a
// Unix time in nanoseconds does not fit. ok is false for anything but plain
// digits within the range of an int64.
func DecimalNS(b []byte, dec byte, unitDigits int) (ns int64, ok bool) {
	unit := int64(math.Pow10(9 - unitDigits))
	whole, part, _ := strings.Cut(pointed(b, dec), ".")
	n, err := strconv.ParseInt(whole, 10, 64)
	if err != nil || n > math.MaxInt64/unit || n < -math.MaxInt64/unit || strings.Trim(part, "0123456789") != "" {
		return 0, false
	}
	rest, _ := strconv.ParseFloat("0."+part, 64) // nothing but digits
	rest *= float64(unit)
	if whole[0] == '-' {
		rest = -rest
	}
	ns = n*unit + int64(math.Round(rest))
	return ns, (ns >= n*unit) == (rest >= 0)
}

// Loose reads a number with letters behind it, as some receivers write them
// into a cell: "31.76N", "0.865 km/h". Suffix is those letters.
func Loose(b []byte, dec byte) (v float64, suffix string, ok bool) {
	b = Bare(b)
	n := len(b)
	for n > 0 && b[n-1]-'0' > 9 && b[n-1] != '.' {
		n--
	}
	if suffix = strings.TrimSpace(string(b[n:])); len(suffix) > 1 && strings.Trim(suffix, "mkhs/ntKMH°²2pPNT.") != "" {
		return 0, "", false
	}
	v, kind := SlowNumber(b[:n], dec)
	return v, suffix, kind == IsNumber
}
