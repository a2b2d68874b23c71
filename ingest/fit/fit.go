// Package fit reads FIT files: positions and speeds, inertial samples,
// developer fields, and what is left of damaged files.
//
// Of this module it imports only raw and unit.
package fit

import (
	"bufio"
	"bytes"
	"cmp"
	"encoding/binary"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	profile "github.com/tormoder/fit"

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
	crc  uint16
	raw.Notes

	// State of one file of the chain.
	defs  [16]def
	descs []desc
	last  uint32 // latest time stamp
	timed bool   // last is set
	good  stamps
	jumps int // in time, over the whole chain
	clock clock

	// What is kept.
	base    int64 // FIT time of time zero
	based   bool
	roughly [4]bool // columns with times tied to UTC to about a second only
	undated bool    // some file of the chain has a clock without a date
	acc     sensor
	gyr     sensor
	rec     raw.Fixes // from record messages
	meta    raw.Fixes // from gps_metadata messages
	unread  map[profile.MesgNum]int
	off     []float64     // ms, of the message at hand
	side    []sideMessage // of the activity, as they stand in the file
}

// Read reads a FIT file or a chain of them. It returns an error only when
// nothing of use is in it; a file that is cut short or damaged gives what is
// whole, with warnings.
func Read(r *bufio.Reader, name string, size int64) (*raw.Columns, error) {
	f := &reader{
		name: name, size: size, Notes: raw.Notes{File: name},
		win: raw.NewWindow(r, 256<<10), unread: map[profile.MesgNum]int{},
	}
	f.acc = sensor{kind: unit.Acc, s: new(raw.Series)}
	f.gyr = sensor{kind: unit.Gyr, s: new(raw.Series)}
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
	h := f.win.Peek(14)
	if len(h) == 0 {
		return false
	}
	if !Is(h) && !f.nextHeader() {
		return false
	}
	h = f.win.Peek(14)
	start := f.win.Pos
	hs := int(h[0])
	if len(h) < hs {
		f.Warn(raw.Warning{Kind: raw.CutHeader, Byte: start})
		f.win.Skip(len(h))
		return false
	}
	data := int64(binary.LittleEndian.Uint32(h[4:]))
	if hs >= 14 {
		// A header checksum of zero means that none was made.
		if c := binary.LittleEndian.Uint16(h[12:]); c != 0 && c != addCRC(0, h[:12]) {
			f.Warn(raw.Warning{Kind: raw.WrongHeaderSum, Byte: start + 12})
		}
	}
	f.crc = addCRC(0, h[:hs])
	f.win.Skip(hs)

	f.defs = [16]def{}
	f.descs = f.descs[:0]
	f.timed, f.good = false, stamps{}
	f.clock = clock{}
	for k, s := range f.streams() {
		f.clock.mark[k] = len(s.Time())
	}
	end := f.win.Pos + data
	if data == 0 {
		end = math.MaxInt64
		if len(f.win.Peek(3)) == 3 {
			f.Warn(raw.Warning{Kind: raw.Unfinished, Byte: start + 4})
		}
	}
	f.messages(end)
	for k, s := range f.sensors() {
		f.endPart(s, f.clock.mark[k])
	}
	f.settleClock()
	return true
}

// nextHeader skips bytes that belong to no file until the next FIT header.
func (f *reader) nextHeader() bool {
	start := f.win.Pos
	found := false
	for b := f.win.Peek(4096); len(b) > 0 && !found; b = f.win.Peek(4096) {
		i := bytes.Index(b, []byte(".FIT")) - 8
		switch found = i >= 0 && Is(b[i:]); {
		case found:
			f.win.Skip(i)
		case i >= -8:
			f.win.Skip(max(1, i+1))
		default:
			f.win.Skip(max(len(b)-11, min(len(b), 11)))
		}
	}
	f.Warn(raw.Warning{Kind: raw.ForeignBytes, Byte: start, Count: int(f.win.Pos - start)})
	return found
}

// messages reads the messages of one file and its checksum. End is where the
// header says that they end, MaxInt64 when it does not say.
func (f *reader) messages(end int64) {
	for {
		pos := f.win.Pos
		if f.atEnd(&end) {
			return
		}
		b := f.win.Peek(maxDefinition)
		n, ok := 0, false
		if len(b) > 0 {
			n, ok = f.sizeOf(b)
		}
		switch {
		case len(b) == 2 && (!ok || n > 2) && binary.LittleEndian.Uint16(b) == f.crc:
			f.win.Skip(2)
			if end != math.MaxInt64 {
				f.Warn(raw.Warning{Kind: raw.EndsEarly, Byte: pos})
			}
			return
		case ok && n > len(b):
			b = f.win.Peek(n)
		}
		if len(b) == 0 || ok && len(b) < n {
			f.win.Skip(len(b))
			f.cut(pos, end)
			return
		}
		if !ok || isDefinition(b) && !saneDefinition(b) || !f.sane(n) {
			if !f.resync(pos, end) {
				return
			}
			continue
		}
		if pos+int64(n) > end {
			f.Warn(raw.Warning{Kind: raw.WrongSize, Byte: pos})
			end = math.MaxInt64
		}
		f.message(f.win.Peek(n), pos) // sane may have looked further
	}
}

// message takes in the whole message b, which starts at byte pos.
func (f *reader) message(b []byte, pos int64) {
	if isDefinition(b) {
		f.define(b)
	} else {
		f.data(b, pos)
	}
	f.crc = addCRC(f.crc, b)
	f.win.Skip(len(b))
}

// atEnd says whether the file ends here; where its header is wrong about that,
// end becomes MaxInt64.
func (f *reader) atEnd(end *int64) bool {
	said := f.win.Pos == *end
	if !said && *end != math.MaxInt64 {
		return false
	}
	b := f.win.Peek(16)
	sum := len(b) >= 2 && binary.LittleEndian.Uint16(b) == f.crc
	last := len(b) == 2 || len(b) > 2 && Is(b[2:]) // what stands here must be the checksum
	switch {
	case sum && (said || last):
		f.win.Skip(checksumSize)
		return true
	case said && len(b) < 2:
		f.win.Skip(len(b))
		f.Warn(raw.Warning{Kind: raw.NoChecksum, Byte: *end})
		return true
	case Is(b):
		if said {
			f.Warn(raw.Warning{Kind: raw.NoChecksum, Byte: *end, Count: 1})
		}
		return true
	case said && last:
		f.Warn(raw.Warning{Kind: raw.WrongChecksum, Byte: *end, Values: []float64{float64(binary.LittleEndian.Uint16(b)), float64(f.crc)}})
		f.win.Skip(checksumSize)
		return true
	case said:
		f.Warn(raw.Warning{Kind: raw.LongerThanSays, Byte: *end})
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
		w.Count = int(end + checksumSize - f.win.Pos)
	}
	f.Warn(w)
}

// define takes in a definition message.
func (f *reader) define(b []byte) {
	d := &f.defs[b[0]&0x0F]
	*d = def{kind: &unread, order: binary.LittleEndian, size: 1}
	if b[2] == 1 {
		d.order = binary.BigEndian
	}
	d.global = profile.MesgNum(d.order.Uint16(b[3:]))
	if k := messages[d.global]; k != nil {
		d.kind = k
	}
	if d.kind.side {
		d.bytes = slices.Clone(b)
	}
	p := b[6:]
	for range b[5] {
		fd := newField(p[0], p[1], p[2], d.size)
		if fd.num == timestamp {
			d.stamp = fd
		} else if i := slices.Index(d.kind.fields, fd.num); i >= 0 {
			d.slot[i] = fd
			if fd.n == 0 && fd.size > 0 {
				f.Warn(raw.Warning{Kind: raw.BadFieldType, Byte: f.win.Pos, Text: []string{messageName(d.global)},
					Values: []float64{float64(fd.num), float64(p[2]), float64(fd.size)}})
			}
		}
		d.size += fd.size
		p = p[3:]
	}
	if b[0]&0x20 == 0 {
		return
	}
	for p = p[1:]; len(p) > 0; p = p[3:] {
		d.dev = append(d.dev, field{num: p[0], size: int(p[1]), dev: p[2], off: d.size})
		d.size += int(p[1])
	}
}

// data takes in a data message.
func (f *reader) data(b []byte, pos int64) {
	d := f.layout(b[0])
	if b[0]&0x80 != 0 && f.timed { // five bits of time, later than the last full stamp
		f.last += (uint32(b[0]) - f.last) & 0x1F
	}
	if v, ok := d.value(b, d.stamp, 0); ok && v >= 0 && v < math.MaxUint32 {
		f.last = uint32(v)
		f.timed = true
	}
	if d.kind.read == nil {
		f.unread[d.global]++
		return
	}
	d.kind.read(f, d, b, pos)
}

// finish settles what needed the whole file and hands it on.
func (f *reader) finish() (*raw.Columns, error) {
	f.dropUndated()
	for _, s := range f.sensors() {
		s.closeHoles()
	}
	out := &raw.Columns{File: raw.File{Name: f.name, Kind: "FIT"}, Gps: f.fixes(), Start: f.start()}
	kind := f.activity(&out.File)
	if slices.Contains(f.roughly[:3], true) {
		f.Warn(raw.Warning{Kind: raw.RoughDate})
	}
	f.dropUnread()
	out.Acc, out.Gyr = *f.acc.s, *f.gyr.s
	if slices.Equal(out.Acc.Time, out.Gyr.Time) {
		out.Gyr.Time = out.Acc.Time
	}
	f.Settle(out)
	if len(out.Acc.Time)+len(out.Gyr.Time)+len(out.Gps.Time) > 0 {
		return out, nil
	}
	why := ""
	if kind != profile.FileTypeInvalid && kind != profile.FileTypeActivity {
		why = fmt.Sprintf("; it is a %q file, an activity is needed", strings.ToLower(kind.String()))
	}
	return nil, out.Useless("no positions, speeds or motion in this FIT file" + why)
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
	if s := num.String(); !strings.Contains(s, "(") {
		return plainName(s)
	}
	return fmt.Sprintf("message %d", num)
}

func (f *reader) sensors() [2]*sensor { return [2]*sensor{&f.acc, &f.gyr} }

// start returns the time of time zero, the zero Time when it is not known.
func (f *reader) start() time.Time {
	if f.base < systemTime {
		return time.Time{}
	}
	return time.Unix(epoch+f.base, 0).UTC()
}
