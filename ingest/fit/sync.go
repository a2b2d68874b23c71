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
)

// stampOf returns the time stamp of a data message that samples are taken
// from; false when it has none or its time does not matter.
func (f *reader) stampOf(b []byte) (uint32, bool) {
	if d := f.layout(b[0]); b[0]&0xC0 == 0 && d.kind.samples {
		v, ok := d.value(b, d.stamp, 0)
		return uint32(v), ok && v >= 0 && v <= math.MaxUint32
	}
	return 0, false
}

// fitStamps are the latest time stamps of samples, of the two kinds: counted
// from power-on, and UTC. A file may hold both side by side.
type stamps struct {
	last [2]uint32
	set  [2]bool
}

// near reports whether a time stamp may follow those before it.
func (s *stamps) near(ts uint32) bool {
	k := stampKind(ts)
	return s.set[k] && (ts-s.last[k] <= maxJump || s.last[k]-ts <= maxJump)
}

func (s *stamps) note(ts uint32) {
	k := stampKind(ts)
	s.last[k], s.set[k] = ts, true
}

// stampKind is 0 for a stamp that counts from power-on, 1 for UTC.
func stampKind(ts uint32) int {
	if ts < systemTime {
		return 0
	}
	return 1
}

// sane reports whether the message ahead, of n bytes, may be what it looks
// like. A clock may be set while it records, so a jump in time is believed
// when the messages after it agree and no message that starts inside this one
// makes sense with the old time; a stamp of zero is a lost block.
func (f *reader) sane(n int) bool {
	ts, ok := f.stampOf(f.win.Peek(n))
	if !ok {
		return true
	}
	if f.good.set == [2]bool{} || f.good.near(ts) {
		f.good.note(ts)
		return true
	}
	b := f.win.Peek(n + 64<<10)
	// A file of nothing but jumps is not worth a search at each.
	if f.jumps++; f.jumps <= maxJumps {
		for i := 1; i < min(len(b), n); i++ {
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

// saneDefinition reports whether a message may be a definition: garbage that is
// taken for one would spoil every message after it.
func saneDefinition(b []byte) bool {
	odd := oddFields(b)
	return odd == 0 || b[1] == 0 && 2*odd <= int(b[5])
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
			if !good.near(ts) && (ts == 0 || good.set[stampKind(ts)]) {
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

// resync looks for the next stretch that makes sense, from byte pos on; false
// when there is none before end or the end of the file.
func (f *reader) resync(pos, end int64) bool {
	found := false
	for f.pass(1); f.win.Pos < end && !found; {
		b := f.win.Peek(syncAhead)
		if b = b[:min(int64(len(b)), end-f.win.Pos)]; len(b) == 0 {
			break
		}
		if _, found = f.starts(b); !found {
			f.pass(1)
		}
	}
	w := raw.Warning{Kind: raw.Damaged, Byte: pos, Count: int(f.win.Pos - pos)}
	if !found && f.win.Pos != end {
		w.Values = []float64{1}
	}
	f.Warn(w)
	return found || f.win.Pos == end
}

// starts reports whether b starts with a stamped message and goes on well, and
// how many time stamps after it speak for that.
func (f *reader) starts(b []byte) (stamps int, ok bool) {
	n, known := f.sizeOf(b)
	if b[0]&0xF0 != 0 || !known || n > len(b) {
		return 0, false
	}
	ts, ok := f.stampOf(b[:n])
	if !ok || ts == 0 || f.good.set != [2]bool{} && !f.good.near(ts) {
		return 0, false
	}
	return f.chain(b[n:])
}

// pass skips n bytes that are part of the checksum but of no message.
func (f *reader) pass(n int) {
	b := f.win.Peek(n)
	f.crc = addCRC(f.crc, b)
	f.win.Skip(len(b))
}
