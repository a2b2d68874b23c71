package fit

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"time"

	profile "github.com/tormoder/fit"
	"github.com/tormoder/fit/dyncrc16"

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// maxSide bounds how many messages of the activity's side are looked into; the
// rest are counted.
const maxSide = 1000

// activity takes in a message that tells of the activity rather than of samples.
// The library decodes it, in a file of its own: what it cannot read then spoils
// nothing else.
func (f *reader) activity(m *msg) {
	if f.side++; f.side > maxSide || m.b[0]&0x80 != 0 {
		f.unread[m.global]++
		return
	}
	defer func() {
		if recover() != nil { // the library panics where its bounds are hurt
			f.unread[m.global]++
		}
	}()
	// file_id: type activity.
	data := []byte{0x40, 0, 0, 0, 0, 1, 0, 1, 0, 0, byte(profile.FileTypeActivity)}
	if m.global == profile.MesgNumFileId {
		data = nil
	}
	data = slices.Concat(data, m.bytes, m.b)
	h := binary.LittleEndian.AppendUint32([]byte{12, 0x20, 0, 0}, uint32(len(data)))
	file := slices.Concat(h, []byte(".FIT"), data)
	file = binary.LittleEndian.AppendUint16(file, dyncrc16.Checksum(file))
	if m.global == profile.MesgNumFileId {
		if _, id, err := profile.DecodeHeaderAndFileID(bytes.NewReader(file)); err == nil {
			f.made(&id)
		}
		return
	}
	out, err := profile.Decode(bytes.NewReader(file))
	if err != nil {
		f.unread[m.global]++
		return
	}
	if a, err := out.Activity(); err == nil {
		f.mark(a, m.global)
	}
}

// made takes in what a file is, and what made it.
func (f *reader) made(id *profile.FileIdMsg) {
	if f.kind != profile.FileTypeActivity {
		f.kind = id.Type
	}
	f.product = cmp.Or(f.product, strings.TrimSpace(id.ProductName))
	if m := id.Manufacturer; f.maker == "" && m != profile.ManufacturerInvalid {
		if f.maker = nameOf(m); f.maker == "" {
			f.maker = fmt.Sprintf("maker %d", m)
		}
		name := fmt.Sprint(id.GetProduct())
		if _, in, found := strings.Cut(name, "("); found {
			name = strings.TrimSuffix(in, ")")
		}
		switch name = plainName(name); {
		case name == "0" || name == "65535":
		case name != "" && name[0] <= '9':
			f.model = "product " + name
		default:
			f.model = name
		}
	}
}

// nameOf is a name of the profile in lower-case words, "" where it has none.
func nameOf(v fmt.Stringer) string {
	if s := v.String(); !strings.Contains(s, "(") {
		return plainName(s)
	}
	return ""
}

func plainName(s string) string { return strings.Join(unit.Words(s), " ") }

// stops are the ways in which a timer stops.
var stops = []profile.EventType{profile.EventTypeStop, profile.EventTypeStopAll,
	profile.EventTypeStopDisable, profile.EventTypeStopDisableAll}

// mark keeps a session, a lap, or an event of the timer or of a press, and the
// name of the device that made the file; others are its sensors.
func (f *reader) mark(a *profile.ActivityFile, num profile.MesgNum) {
	add := func(at time.Time, kind raw.MarkKind, text string, ms uint32) {
		m := raw.Mark{Time: at, Kind: kind, Text: text}
		if ms != 0xFFFFFFFF {
			m.LengthS = float64(ms) / 1000
		}
		f.marks = append(f.marks, m)
	}
	for _, d := range a.DeviceInfos {
		if d.DeviceIndex == 0 {
			f.product = cmp.Or(f.product, strings.TrimSpace(d.ProductName))
		}
	}
	for _, s := range a.Sessions {
		sport := ""
		if s.Sport != profile.SportInvalid {
			sport = plainName(s.Sport.String())
		}
		add(s.StartTime, raw.Session, sport, s.TotalElapsedTime)
	}
	for _, l := range a.Laps {
		add(l.StartTime, raw.Lap, "", l.TotalElapsedTime)
		if l.LapTrigger == profile.LapTriggerManual { // pressed at its end
			add(l.Timestamp, raw.Press, "", 0)
		}
	}
	for _, e := range a.Events {
		switch {
		case e.Event == profile.EventTimer && e.EventType == profile.EventTypeStart:
			add(e.Timestamp, raw.Started, "", 0)
		case e.Event == profile.EventTimer && slices.Contains(stops, e.EventType):
			add(e.Timestamp, raw.Stopped, "", 0)
		case e.Event == profile.EventUserMarker:
			add(e.Timestamp, raw.Noted, "", 0)
		default:
			f.unread[num]++
		}
	}
}

// file is the file's head with its marks, which are dated by now or count from
// power-on.
func (f *reader) file() raw.File {
	for i := range f.marks {
		if m := &f.marks[i]; m.Time.Unix() < epoch+systemTime {
			m.Time, m.At = time.Time{}, float64(m.Time.Unix()-epoch-f.base)
		}
	}
	device := strings.TrimSpace(f.maker + " " + cmp.Or(f.product, f.model))
	return raw.File{Name: f.name, Kind: "FIT", Device: device, Marks: f.marks}
}
