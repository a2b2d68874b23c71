package fit

import (
	"math"

	"evenfoot/ingest/raw"
)

// Damage in the middle of a file: a lost block, a byte that flipped in a
// message's header. The next message cannot be told from its neighbours then,
// and the reader looks for where sense begins again.

// maxJump bounds, in s, how far a time stamp may be from the last before it is
// looked at twice.
const maxJump = 86400

// maxJumps bounds how often another reading of a jump in time is looked for.
const maxJumps = 100

// A stretch makes sense when syncStamps messages with a time stamp, among at
// most syncLength in a row, do.
const (
	syncStamps = 2
	syncLength = 12
	syncAhead  = 16 << 10 // bytes that they are looked for in
	jumpAhead  = 64 << 10 // and after a jump in time
)

// stampOf returns the time stamp of a data message that samples are taken
// from; false when it has none or its time does not matter.
func (f *reader) stampOf(b []byte) (uint32, bool) {
	if d := f.layout(b[0]); b[0]&0xC0 == 0 && d.kind.stamps {
		v := d.value(b, d.best(stamp), 0)
		return uint32(v), v >= 0 && v <= math.MaxUint32
	}
	return 0, false
}

// stamps are the latest time stamps of samples, of those that count from power-on
// and of UTC, and one more; 0 for none. A file may hold both side by side.
type stamps [2]int64

func (s *stamps) note(ts uint32) { s[stampKind(ts)] = int64(ts) + 1 }

// near reports whether a time stamp may follow those before it.
func (s *stamps) near(ts uint32) bool {
	last, ts1 := s[stampKind(ts)], int64(ts)+1
	return last != 0 && max(ts1-last, last-ts1) <= maxJump
}

// stampKind is 0 for a stamp that counts from power-on, 1 for UTC.
func stampKind(ts uint32) int {
	if ts < systemTime {
		return 0
	}
	return 1
}

// sane reports whether the message b may be what it looks like. Garbage that is
// taken for a definition would spoil every message after it. A clock may be set
// while it records, so a jump in time is believed when the messages after it
// agree and no message that starts inside this one makes sense with the old
// time; a stamp of zero is a lost block.
func (f *reader) sane(b []byte) bool {
	if isDefinition(b) {
		odd := oddFields(b)
		return odd == 0 || b[1] == 0 && 2*odd <= int(b[5])
	}
	ts, ok := f.stampOf(b)
	if !ok {
		return true
	}
	if f.good == (stamps{}) || f.good.near(ts) {
		f.good.note(ts)
		return true
	}
	n := len(b)
	b = f.win.Peek(n + jumpAhead)
	// A file of nothing but jumps is not worth a search at each.
	if f.jumps++; f.jumps <= maxJumps {
		for i := 1; i < n; i++ {
			if stamps, ok := f.starts(b[i:]); ok && stamps == syncStamps {
				return false
			}
		}
	}
	was := f.good
	f.good.note(ts)
	if _, ok := f.chain(b[n:]); !ok || ts == 0 {
		f.good = was
		return false
	}
	return true
}

// oddFields counts the fields of a definition whose type is not known.
func oddFields(b []byte) (n int) {
	for i := range int(b[5]) {
		if int(b[6+3*i+2]&typeMask) >= len(baseTypes) {
			n++
		}
	}
	return n
}

// chain reports whether b starts with messages that make sense after those
// read so far, and how many time stamps speak for it.
func (f *reader) chain(b []byte) (stamps int, ok bool) {
	good := f.good
	for range syncLength {
		if len(b) < 3 { // a checksum at most
			return stamps, true
		}
		n, ok := f.sizeOf(b)
		if isDefinition(b) { // what follows it may go by it
			return stamps, ok && n <= len(b) && b[1] == 0 && b[5] > 0 && oddFields(b) == 0
		}
		if !ok || b[0]&0x80 == 0 && b[0]&0x30 != 0 { // bits that a data message leaves zero
			return stamps, false
		}
		if n > len(b) {
			break
		}
		if ts, ok := f.stampOf(b[:n]); ok {
			if !good.near(ts) && (ts == 0 || good[stampKind(ts)] != 0) {
				return stamps, false
			}
			good.note(ts)
			if stamps++; stamps == syncStamps {
				break
			}
		}
		b = b[n:]
	}
	return stamps, stamps > 0
}

// resync looks for the next stretch that makes sense, after byte pos; false
// when there is none before end or the end of the file.
func (f *reader) resync(pos, end int64) bool {
	found := false
	for f.win.Skip(1); f.win.Pos() < end && !found; {
		b := f.win.Peek(syncAhead)
		if b = b[:min(int64(len(b)), end-f.win.Pos())]; len(b) == 0 {
			break
		}
		if _, found = f.starts(b); !found {
			f.win.Skip(1)
		}
	}
	w := raw.Warning{Kind: raw.Damaged, Byte: pos, Count: int(f.win.Pos() - pos)}
	if !found && f.win.Pos() != end {
		w.Values = []float64{1}
	}
	f.Warn(w)
	return found || f.win.Pos() == end
}

// starts reports whether b starts with a stamped message and goes on well, and
// how many time stamps after it speak for that.
func (f *reader) starts(b []byte) (stamps int, ok bool) {
	n, known := f.sizeOf(b)
	if b[0]&0xF0 != 0 || !known || n > len(b) {
		return 0, false
	}
	ts, ok := f.stampOf(b[:n])
	if !ok || ts == 0 || f.good != [2]int64{} && !f.good.near(ts) {
		return 0, false
	}
	return f.chain(b[n:])
}
