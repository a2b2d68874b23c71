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

	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// maxSide bounds how many messages of the activity's side are kept; the rest
// are counted.
const maxSide = 1000

// A sideMessage is a message that tells of the activity rather than of samples:
// its definition, and the message itself, as they stand in the file.
type sideMessage struct {
	num       profile.MesgNum
	def, data []byte
}

// keepSide keeps a message of the activity's side for the library's decoder.
func (f *reader) keepSide(d *def, b []byte, _ int64) {
	if len(f.side) == maxSide || b[0]&0x80 != 0 {
		f.unread[d.global]++
		return
	}
	f.side = append(f.side, sideMessage{d.global, d.bytes, slices.Clone(b)})
}

// decode has the library decode one message, in a file of its own: what it
// cannot read then spoils nothing else. nil when it cannot.
func (m sideMessage) decode() (a *profile.ActivityFile, id profile.FileIdMsg) {
	defer func() {
		if recover() != nil { // the library panics where its bounds are hurt
			a = nil
		}
	}()
	// file_id: type activity.
	data := []byte{0x40, 0, 0, 0, 0, 1, 0, 1, 0, 0, byte(profile.FileTypeActivity)}
	if m.num == profile.MesgNumFileId {
		data = nil
	}
	data = slices.Concat(data, m.def, m.data)
	h := binary.LittleEndian.AppendUint32([]byte{12, 0x20, 0, 0}, uint32(len(data)))
	file := slices.Concat(h, []byte(".FIT"), data)
	file = binary.LittleEndian.AppendUint16(file, addCRC(0, file))
	if m.num == profile.MesgNumFileId {
		_, id, err := profile.DecodeHeaderAndFileID(bytes.NewReader(file))
		if err != nil {
			id.Type = profile.FileTypeInvalid
		}
		return nil, id
	}
	out, err := profile.Decode(bytes.NewReader(file))
	if err != nil {
		return nil, id
	}
	a, _ = out.Activity()
	return a, id
}

// activity takes the device and the marks out of the activity's side; it
// returns the type of the file.
func (f *reader) activity(file *raw.File) profile.FileType {
	kind := profile.FileTypeInvalid
	var device, named string
	for _, m := range f.side {
		a, id := m.decode()
		switch {
		case m.num == profile.MesgNumFileId:
			if kind != profile.FileTypeActivity {
				kind = id.Type
			}
			if device == "" {
				device = deviceName(id.Manufacturer, id.GetProduct())
			}
			named = cmp.Or(named, strings.TrimSpace(id.ProductName))
		case a == nil:
			f.unread[m.num]++
		default:
			for _, d := range a.DeviceInfos {
				if d.DeviceIndex == 0 { // the device that made the file; others are its sensors
					named = cmp.Or(named, strings.TrimSpace(d.ProductName))
				}
			}
			f.mark(file, a, m.num)
		}
	}
	if maker, _, found := strings.Cut(device, ", "); named != "" && found || device == "" {
		device = strings.TrimSpace(maker + " " + named)
	}
	file.Device = strings.ReplaceAll(device, ", ", " ")
	return kind
}

// deviceName names a maker and its product by the profile: "maker, product".
func deviceName(m profile.Manufacturer, product any) string {
	if m == profile.ManufacturerInvalid {
		return ""
	}
	name := plainName(m.String())
	if strings.Contains(m.String(), "(") {
		name = fmt.Sprintf("maker %d", m)
	}
	p := fmt.Sprint(product)
	if strings.Contains(p, "(") {
		p = p[strings.Index(p, "(")+1 : len(p)-1]
	}
	switch p {
	case "0", "65535":
		p = ""
	default:
		if p = plainName(p); p != "" && p[0] <= '9' {
			p = "product " + p
		}
	}
	return name + ", " + p
}

// plainName is a name of the profile in lower-case words.
func plainName(s string) string { return strings.Join(unit.Words(s), " ") }

// stops are the ways in which a timer stops.
var stops = []profile.EventType{profile.EventTypeStop, profile.EventTypeStopAll, profile.EventTypeStopDisable, profile.EventTypeStopDisableAll}

// mark keeps a session, a lap or an event of the timer or of a press.
func (f *reader) mark(file *raw.File, a *profile.ActivityFile, num profile.MesgNum) {
	add := func(at time.Time, kind raw.MarkKind, text string, ms uint32) {
		m := raw.Mark{Time: at, Kind: kind, Text: text}
		if at.Unix() < epoch+systemTime { // counts from power-on
			m.Time, m.At = time.Time{}, float64(at.Unix()-epoch-int64(f.base))
		}
		if ms != 0xFFFFFFFF {
			m.LengthS = float64(ms) / 1000
		}
		file.Marks = append(file.Marks, m)
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
