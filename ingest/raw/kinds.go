package raw

import (
	"fmt"
	"strings"
)

// A Kind names what a warning is about, or why samples were left out, in a few
// words that stay; the whole sentence is made where it is shown. Behind a kind
// stand the fields of a [Warning] that it uses besides its place.
type Kind string

// About a file as a whole.
const (
	GzipDamaged  Kind = "damaged gzip data" // Count bytes of content, Text: error
	NeverSet     Kind = "clock never set"   // Time that it says
	Outings      Kind = "several outings"   // Count; Values: the number of the one that is read, then of each: start in s from the log's, length in s, way in m or 0; At and Time of the first
	OnlyGyro     Kind = "gyroscope without accelerometer"
	ShortGyro    Kind = "gyroscope too short"
	WrongGyro    Kind = "gyroscope in another unit"         // Values: times too large; Text: likely unit, unit that it was read by
	GyroSettled  Kind = "gyroscope's unit by its values"    // as for WrongGyro, put right
	NoGravity    Kind = "acceleration without gravity"      // Values: median norm at steady moments, m/s²
	WrongSpeed   Kind = "speed in another unit"             // Values: ratio, positions' m/s; Text: likely unit, unit read by, column; Count 1: by a column map
	WrongTimes   Kind = "time in another unit"              // Values: as for WrongSpeed
	OtherTrack   Kind = "of another track at the same time" // Count of its fixes, At and Time where the kept one begins
	SpeedsFilled Kind = "speeds filled in"                  // Count of fixes
	Spikes       Kind = "impossible fixes"                  // Count, At and Time of the first
	Stale        Kind = "repeated fixes"                    // the same
	Leaps        Kind = "leaping positions"                 // the same
)

// AgainstPhysics are what gravity, its turning and the positions say against
// the units and columns that a file was read by.
var AgainstPhysics = []Kind{NoGravity, WrongGyro, WrongSpeed, WrongTimes}

// About time, by Sensor.
const (
	OutOfOrder   Kind = "out of order"                          // Count
	SameStamp    Kind = "other values with the same time stamp" // Count: the first was kept
	Placed       Kind = "shared time stamps"                    // Count: set between the stamp and the next
	Joined       Kind = "complementary records"                 // Count
	CutStamps    Kind = "cut time stamps"                       // Values: s of the stamps, samples in each
	ClockSet     Kind = "clock set on the way"                  // At, Time
	ClockRestart Kind = "clock restarted"                       // Values: s back; At, Time
	ClockBack    Kind = "clock leapt back"                      // the same
	ClockWrapped Kind = "counter wrapped"                       // Values: s it counts to; At, Time
	RateChange   Kind = "rate change"                           // Values: Hz before and after; At, Time
	RateUnsteady Kind = "rate changes often"
)

// About the logs of an outing, side by side.
const (
	LengthsDiffer Kind = "logs of different length" // Values: s of motion, s of GPS
	NoSharedTime  Kind = "no shared time"           // Sensor that starts late, Values: s after the end of the other
	MotionPartly  Kind = "motion for a part"        // Values: s of motion, of s of GPS
	GPSPartly     Kind = "GPS for a part"           // Values: s of GPS, of s of motion
	GyroAlone     Kind = "gyroscope not used"       // Text: its file
	IMUUnused     Kind = "accelerometer not used"   // Text: the used file, the other
	GPSUnused     Kind = "GPS not used"             // the same
	NotOneOuting  Kind = "not one outing"           // Text: the error
)

// LeftAside names files of a folder that hold no log that can be read: Text has
// each file's name, then why.
const LeftAside Kind = "files left aside"

// About FIT.
const (
	CutHeader       Kind = "cut header"
	WrongHeaderSum  Kind = "wrong header checksum"
	Unfinished      Kind = "unfinished recording"
	ForeignBytes    Kind = "foreign bytes" // Count
	EndsEarly       Kind = "shorter than its header says"
	WrongSize       Kind = "wrong data size"
	LongerThanSays  Kind = "longer than its header says"
	NoChecksum      Kind = "missing checksum"      // Count 1: another file of the chain follows
	WrongChecksum   Kind = "wrong checksum"        // Values: found, computed
	CutFile         Kind = "cut file"              // Count of bytes that its header announces beyond, Text: error of reading
	BadFieldType    Kind = "field of unknown type" // Text: message; Values: field, base type, bytes
	NoDate          Kind = "clock without a date"
	RoughDate       Kind = "roughly dated clock"
	BadSpeed        Kind = "impossible speed"    // Values: m/s
	BadPosition     Kind = "impossible position" // Values: deg; or Text, as the file writes it
	HalfPosition    Kind = "half a position"
	BadDescription  Kind = "useless field description"
	NoDescription   Kind = "undescribed developer field"           // Values: number, index
	DevUnit         Kind = "developer field without a usable unit" // Text: its name and unit, units that would do
	SpreadSamples   Kind = "no sample times"                       // Sensor
	BadCalibration  Kind = "useless calibration"                   // Sensor
	LateCalibration Kind = "late calibration"                      // Sensor
	Damaged         Kind = "damaged stretch"                       // Count of bytes, Values: 1 when it reaches to the end
)

// About GPX.
const (
	UnknownEncoding Kind = "unknown encoding" // Text
	Entities        Kind = "entity declarations"
	CutXML          Kind = "cut off"
	BadXML          Kind = "unreadable from here" // Text: why
	BrokenTag       Kind = "broken tag"
	NestedPoint     Kind = "point inside a point"
	BadValue        Kind = "unreadable value"                          // Sensor, Text
	NoPlace         Kind = "point without a position"                  // Text: latitude and longitude as written, none when absent
	BadTime         Kind = "unreadable time"                           // Text
	BigTime         Kind = "time too large for seconds, as of time_ms" // Text
	NoZone          Kind = "times without a zone"
	NoMotionUnit    Kind = "motion value without a unit" // Sensor, Text: name, unit, names that would do
)

// About NMEA.
const (
	BadSentence Kind = "unreadable sentence" // Text: it, why
	NoDay       Kind = "times of an unknown day"
)

// About CSV.
const (
	UnknownColumns Kind = "unknown columns" // Text: their names
	LacksAxis      Kind = "missing axis"    // Sensor, Text: the axes that are missing
	OneCoordinate  Kind = "only one of latitude and longitude"
	Recognised     Kind = "columns recognised by name"     // Text: "our column = theirs"
	OneFoot        Kind = "one foot alone"                 // Text: the column that is missing
	FeetTwice      Kind = "feet by place and by side both" // the sides are not read
	FeetUndated    Kind = "insoles joined without a date"  // Text: names of the left one and the right one
	LocalTime      Kind = "times without a zone, not known to be UTC"
	MapLacks       Kind = "column map names what is missing" // Sensor
	MapUnfit       Kind = "column map does not fit"
	BadStart       Kind = "unreadable start" // Text
	LongLine       Kind = "line too long"    // Values: bytes allowed
	CutLine        Kind = "cut line"         // Text: a value that may be cut, else the line is left out; Sensor
	NoTime         Kind = "no time"
	NotNumber      Kind = "not a number"               // Text: value, column; Sensor that is left out, "" for the value alone
	Ragged         Kind = "too few or too many fields" // Values: fields, fields of the header
)

// Why samples are left out, besides the kinds above.
const (
	NotFinite     Kind = "NaN or infinite value"
	NoFix         Kind = "position 0, 0 (no fix yet)"
	OffEarth      Kind = "position outside the earth"
	BadSpeedValue Kind = "negative or infinite speed"
	Held          Kind = "the last fix, written again until the next"
	Twice         Kind = "the same sample twice"
	OtherOuting   Kind = "belongs to another outing"
	NoGyroBeside  Kind = "without the gyroscope beside it"
	AxisMissing   Kind = "lacks an axis"
	FootMissing   Kind = "lacks the other foot"
	Invalid       Kind = "marked invalid"
	NoLineEnd     Kind = "in the last line, which has no end: it may not be whole"
	NoStamp       Kind = "without a time stamp"
	NoOffset      Kind = "without a time offset"
	Uncalibrated  Kind = "in raw counts, with no calibration in the file"
	NoDateBeside  Kind = "on a clock without a date, beside others with one"
	EmptyRecord   Kind = "record without position and speed"
	RecordsBeside Kind = "receiver fix, beside records of the same track"
	DenserBeside  Kind = "record, beside denser fixes of the receiver"
	NotUsed       Kind = "message of a kind that is not used"
	NoMoment      Kind = "waypoint without a time"
	RoutePoint    Kind = "route point (a plan, not a track)"
)

// String is a warning in short, for logs and errors: its place, what it is,
// and what it tells of it.
func (w Warning) String() string {
	var b strings.Builder
	b.WriteString(w.File)
	switch {
	case w.Line > 0:
		fmt.Fprintf(&b, ", line %d", w.Line)
	case w.Byte > 0:
		fmt.Fprintf(&b, ", byte %d", w.Byte)
	}
	fmt.Fprintf(&b, ": %s", strings.TrimSpace(w.Sensor+" "+string(w.Kind)))
	if w.Count > 0 {
		fmt.Fprintf(&b, ", %d", w.Count)
	}
	for _, t := range w.Text {
		fmt.Fprintf(&b, ", %q", t)
	}
	for _, v := range w.Values {
		fmt.Fprintf(&b, ", %.4g", v)
	}
	if w.More > 0 {
		fmt.Fprintf(&b, ", %d more", w.More)
	}
	return strings.TrimPrefix(strings.TrimPrefix(b.String(), ", "), ": ")
}

// String is what was left out, in short, for errors.
func (d Dropped) String() string {
	s := fmt.Sprintf("%d × %s", d.Count, strings.TrimSpace(d.Sensor+" "+string(d.Reason)))
	if len(d.Text) > 0 {
		s += " (" + strings.Join(d.Text, ", ") + ")"
	}
	return s
}

// Useless is the error for a file of which nothing can be used: why, then what
// was left out and what was wrong.
func (c *Columns) Useless(why string) error {
	for _, d := range c.File.Dropped {
		why += "; " + d.String()
	}
	for _, w := range c.Warnings {
		w.File = ""
		why += "; " + w.String()
	}
	return fmt.Errorf("%s: %s", c.File.Name, why)
}
