// Package fit reads FIT files: positions and speeds, inertial samples,
// developer fields, and what is left of damaged files.
//
// Of this module it imports only raw and unit.
package fit

import (
	"bufio"
	"cmp"
	"encoding/binary"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	profile "github.com/tormoder/fit"
	"github.com/tormoder/fit/dyncrc16"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// epoch is the FIT protocol's time zero, 1989-12-31T00:00:00Z, in Unix seconds.
const epoch = 631065600

// systemTime: a smaller time stamp counts seconds since the device was
// switched on.
const systemTime = 0x10000000

// A reader takes a FIT stream apart message by message.
//
// The message layer is our own. A raw decoder that hands over whole messages
// would do for a good file, but it stops at the header's data size, so it
// reads nothing of a recording that was never closed (size zero), it cannot
// say at which byte a file was cut, and it goes no further after damage.
type reader struct {
	name string
	size int64 // of the input, as far as known
	win  *raw.Window
	crc  dyncrc16.Hash16 // of what passed it of this file of the chain
	raw.Notes
	msg msg // the message at hand

	// State of one file of the chain.
	defs  [16]def
	descs []desc
	last  uint32 // latest time stamp
	timed bool   // last is set
	good  stamps
	jumps int    // in time, over the whole chain
	clock *clock // of clocks the last

	// What is kept.
	base    int64 // FIT time of time zero
	based   bool
	clocks  []clock // one a file of the chain
	sensors [2]sensor
	rec     raw.Fixes // from record messages
	meta    raw.Fixes // from gps_metadata messages
	marks   []raw.Mark
	unread  map[profile.MesgNum]int

	// What the activity's messages tell.
	side                  int // how many there were
	kind                  profile.FileType
	maker, model, product string // model by the profile, product as the device calls itself
}

// Read reads a FIT file or a chain of them. It returns an error only when
// nothing of use is in it; a file that is cut short or damaged gives what is
// whole, with warnings.
func Read(r *bufio.Reader, name string, size int64) (*raw.Columns, error) {
	f := &reader{
		name: name, size: size, Notes: raw.Notes{File: name}, win: raw.NewWindow(r, 256<<10),
		unread: map[profile.MesgNum]int{}, kind: profile.FileTypeInvalid, crc: dyncrc16.New(),
	}
	f.win.Passed = func(b []byte) { carry(f.crc, b) }
	for k := range f.sensors {
		f.sensors[k].name = unit.SensorNames[k]
	}
	if h := f.win.Peek(14); !Is(h) {
		if err := f.win.Broken(); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		return nil, fmt.Errorf("%s: not a FIT file: its first 12 bytes are no FIT header", name)
	}
	for f.part() {
	}
	return f.finish()
}

// Is reports whether b starts with a FIT file header.
func Is(b []byte) bool {
	return len(b) >= 12 && (b[0] == 12 || b[0] == 14) && string(b[8:12]) == ".FIT"
}

// part reads one file of the chain; it returns false when there is none.
func (f *reader) part() bool {
	if h := f.win.Peek(14); len(h) == 0 || !Is(h) && !f.nextHeader() {
		return false
	}
	h := f.win.Peek(14)
	start := f.win.Pos()
	if len(h) < int(h[0]) {
		f.Warn(raw.Warning{Kind: raw.CutHeader, Byte: start})
		f.win.Skip(len(h))
		return false
	}
	end := start + int64(h[0]) + int64(binary.LittleEndian.Uint32(h[4:]))
	if h[0] == 14 {
		// A header checksum of zero means that none was made.
		if c := binary.LittleEndian.Uint16(h[12:]); c != 0 && c != dyncrc16.Checksum(h[:12]) {
			f.Warn(raw.Warning{Kind: raw.WrongHeaderSum, Byte: start + 12})
		}
	}
	f.win.Settle()
	f.crc.Reset() // the header counts
	f.win.Skip(int(h[0]))

	f.defs, f.descs = [16]def{}, f.descs[:0]
	f.timed, f.good = false, stamps{}
	f.clocks = append(f.clocks, clock{})
	f.clock = &f.clocks[len(f.clocks)-1]
	for k, s := range f.streams() {
		f.clock.from[k] = len(s.Time())
	}
	if end == f.win.Pos() {
		end = math.MaxInt64
		if len(f.win.Peek(3)) == 3 {
			f.Warn(raw.Warning{Kind: raw.Unfinished, Byte: start + 4})
		}
	}
	f.messages(end)
	for k := range f.sensors {
		f.endPart(&f.sensors[k], f.clock.from[k])
	}
	return true
}

// sum is the checksum of this file of the chain up to here.
func (f *reader) sum() uint16 {
	f.win.Settle()
	return f.crc.Sum16()
}

// nextHeader skips bytes that belong to no file until the next FIT header.
func (f *reader) nextHeader() bool {
	start := f.win.Pos()
	found := false
	for b := f.win.Peek(4096); len(b) > 0 && !found; b = f.win.Peek(4096) {
		n := len(b)
		if n > 11 {
			n -= 11 // a header may begin in the last bytes
		}
		for i := range b {
			if Is(b[i:]) {
				n, found = i, true
				break
			}
		}
		f.win.Skip(n)
	}
	f.Warn(raw.Warning{Kind: raw.ForeignBytes, Byte: start, Count: int(f.win.Pos() - start)})
	return found
}

// messages reads the messages of one file and its checksum. End is where the
// header says that they end, MaxInt64 when it does not say.
func (f *reader) messages(end int64) {
	for !f.atEnd(&end) {
		pos := f.win.Pos()
		b := f.win.Peek(maxDefinition)
		n, ok := f.sizeOf(b)
		if ok && n > len(b) {
			b = f.win.Peek(n)
		}
		if ok && n > len(b) {
			f.win.Skip(len(b))
			f.cut(pos, end)
			return
		}
		if !ok || !f.sane(b[:n]) {
			if !f.resync(pos, end) {
				return
			}
			continue
		}
		if pos+int64(n) > end {
			f.Warn(raw.Warning{Kind: raw.WrongSize, Byte: pos})
			end = math.MaxInt64
		}
		if b = f.win.Peek(n); isDefinition(b) { // sane may have looked further
			f.define(b)
		} else {
			f.data(b)
		}
		f.win.Skip(n)
	}
}

// atEnd says whether the file ends here; where its header is wrong about that,
// end becomes MaxInt64.
func (f *reader) atEnd(end *int64) bool {
	b, pos := f.win.Peek(16), f.win.Pos()
	said, known := pos == *end, *end != math.MaxInt64
	last := len(b) == 2 || len(b) > 2 && Is(b[2:]) // what stands here must be the checksum
	sum := uint16(0)
	if said || last {
		sum = f.sum()
	}
	switch {
	case len(b) >= 2 && (said || last) && binary.LittleEndian.Uint16(b) == sum:
		if !said && known {
			f.Warn(raw.Warning{Kind: raw.EndsEarly, Byte: pos})
		}
		f.win.Skip(checksumSize)
		return true
	case !said && known:
		return false
	case said && len(b) < 2:
		f.Warn(raw.Warning{Kind: raw.NoChecksum, Byte: pos})
		f.win.Skip(len(b))
		return true
	case Is(b):
		if said {
			f.Warn(raw.Warning{Kind: raw.NoChecksum, Byte: pos, Count: 1})
		}
		return true
	case said && last:
		found := float64(binary.LittleEndian.Uint16(b))
		f.Warn(raw.Warning{Kind: raw.WrongChecksum, Byte: pos, Values: []float64{found, float64(sum)}})
		f.win.Skip(checksumSize)
		return true
	case said:
		f.Warn(raw.Warning{Kind: raw.LongerThanSays, Byte: pos})
		*end = math.MaxInt64
	}
	return len(b) == 0
}

// maxDefinition is the length of the longest definition message, bytes.
const maxDefinition = 6 + 3*255 + 1 + 3*255

func isDefinition(b []byte) bool { return b[0]&0xC0 == 0x40 }

// layout is the definition that a data message with header byte h goes by.
func (f *reader) layout(h byte) *def {
	if h&0x80 != 0 { // compressed time stamp
		h = h >> 5 & 3
	}
	return &f.defs[h&0x0F]
}

// sizeOf returns the size of the message that b starts with, which may be more
// than there is; false when it cannot be told.
func (f *reader) sizeOf(b []byte) (int, bool) {
	if len(b) == 0 {
		return 1, true
	}
	if !isDefinition(b) {
		d := f.layout(b[0])
		return d.size, d.kind != nil
	}
	if len(b) < 6 {
		return 6, true
	}
	n := 6 + 3*int(b[5])
	if b[0]&0x20 != 0 {
		if len(b) <= n {
			return n + 1, true
		}
		n += 1 + 3*int(b[n])
	}
	return n, b[2] <= 1 // byte order is 0 or 1
}

// cut warns of a file that ends too early.
func (f *reader) cut(pos, end int64) {
	w := raw.Warning{Kind: raw.CutFile, Byte: pos}
	if err := f.win.Broken(); err != nil {
		w.Text = []string{err.Error()}
	}
	if end != math.MaxInt64 {
		w.Count = int(end + checksumSize - f.win.Pos())
	}
	f.Warn(w)
}

// data takes in a data message.
func (f *reader) data(b []byte) {
	d := f.layout(b[0])
	if b[0]&0x80 != 0 && f.timed { // five bits of time, later than the last full stamp
		f.last += (uint32(b[0]) - f.last) & 0x1F
	}
	if v := d.value(b, d.best(stamp), 0); v >= 0 && v < math.MaxUint32 {
		f.last, f.timed = uint32(v), true
	}
	if d.kind.read == nil {
		f.unread[d.global]++
		return
	}
	f.msg = msg{d, b, f.win.Pos()}
	d.kind.read(f, &f.msg)
}

// finish settles what needed the whole file and hands it on.
func (f *reader) finish() (*raw.Columns, error) {
	f.date()
	for k := range f.sensors {
		f.sensors[k].closeHoles()
	}
	out := &raw.Columns{File: f.file(), Gps: f.fixes(), Acc: f.sensors[unit.Acc].Series, Gyr: f.sensors[unit.Gyr].Series}
	if f.base >= systemTime {
		out.Start = time.Unix(epoch+f.base, 0).UTC()
	}
	f.dropUnread()
	if slices.Equal(out.Acc.Time, out.Gyr.Time) {
		out.Gyr.Time = out.Acc.Time
	}
	f.Settle(out)
	if len(out.Acc.Time)+len(out.Gyr.Time)+len(out.Gps.Time) > 0 {
		return out, nil
	}
	why := "no positions, speeds or motion in this FIT file"
	if f.kind != profile.FileTypeInvalid && f.kind != profile.FileTypeActivity {
		why += fmt.Sprintf("; it is a %q file, an activity is needed", strings.ToLower(f.kind.String()))
	}
	return nil, out.Useless(why)
}

// dropUnread names the kinds of message that were not looked into, the most
// frequent first.
func (f *reader) dropUnread() {
	kinds := slices.SortedFunc(maps.Keys(f.unread), func(a, b profile.MesgNum) int {
		return cmp.Or(f.unread[b]-f.unread[a], int(a)-int(b))
	})
	total := 0
	var names []string
	for _, k := range kinds {
		total += f.unread[k]
		names = append(names, fmt.Sprintf("%s × %d", messageName(k), f.unread[k]))
	}
	f.DropMessages(total, names)
}

// messageName names a message by the profile, or by number.
func messageName(num profile.MesgNum) string {
	return cmp.Or(nameOf(num), fmt.Sprintf("message %d", num))
}
