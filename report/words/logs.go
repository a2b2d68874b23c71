package words

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"evenfoot/ingest"
	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// Warning is a warning about a log in one line: its place, and what it is.
func Warning(w ingest.Warning) string {
	s := whatIsWrong(w)
	place := w.File
	switch {
	case w.Line > 0:
		place += fmt.Sprintf(", line %d", w.Line)
	case w.Byte > 0:
		place += fmt.Sprintf(", byte %d", w.Byte)
	}
	if place = strings.TrimPrefix(place, ", "); place != "" {
		s = place + ": " + s
	}
	return s
}

// Counted is a number of things: "1 fix", "12 fixes".
func Counted(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	many := one + "s"
	if strings.HasSuffix(one, "x") || strings.HasSuffix(one, "s") {
		many = one + "es"
	}
	return Thousands(n) + " " + many
}

// Thousands is a count in groups of three.
func Thousands(n int) string {
	s := strconv.Itoa(n)
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// Decimals is a number with at most d decimals, without zeros at the end.
func Decimals(v float64, d int) string {
	s := strconv.FormatFloat(v, 'f', d, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// quoted shows a piece of a file, cut to a sensible length.
func quoted(s string) string { return strconv.Quote(CleanTo(s, 40)) }

// was is the verb for n things.
func was(n int) string { return Choose(n == 1, "was", "were") }

// moment is when something happened: the time of day, or seconds of a log
// without a date.
func moment(w ingest.Warning) string {
	if w.Time.IsZero() {
		return Decimals(w.At, 3) + " s"
	}
	return w.Time.UTC().Format("15:04:05.00") + " UTC"
}

// texts pads what a warning quotes, and vals its numbers, so that words about a
// warning made by hand never fail.
func texts(w ingest.Warning, i int) string {
	if i < len(w.Text) {
		return w.Text[i]
	}
	return ""
}

func vals(w ingest.Warning, i int) float64 {
	if i < len(w.Values) {
		return w.Values[i]
	}
	return math.NaN()
}

// whatIsWrong is the sentence of a warning without its place.
func whatIsWrong(w ingest.Warning) string {
	if w.More > 0 {
		return fmt.Sprintf("%d more of the same: %s.", w.More, w.Kind)
	}
	for _, say := range []func(ingest.Warning) string{aboutFile, aboutTime, aboutOuting, aboutFIT, aboutGPX, aboutCSV} {
		if s := say(w); s != "" {
			return s
		}
	}
	return UpperFirst(string(w.Kind)) + "."
}

func aboutFile(w ingest.Warning) string {
	switch w.Kind {
	case raw.GzipDamaged:
		return fmt.Sprintf("The gzip data is cut off or damaged after %s of content (%s); what was whole is read.", Choose(w.Count > 0, Bytes(int64(w.Count)), "nothing"), texts(w, 0))
	case raw.NeverSet:
		return fmt.Sprintf("The device's clock was not set (it says %s); the times are taken as relative.", w.Time.UTC().Format("2006-01-02"))
	case raw.Outings:
		when := ""
		if !w.Time.IsZero() {
			when = " (" + w.Time.UTC().Format("2006-01-02 15:04") + " UTC)"
		}
		return fmt.Sprintf("The file holds %d stretches more than %s h apart; only the one with the most samples%s is read. To see another, cut the file in pieces.",
			w.Count, Decimals(vals(w, 0)/3600, 1), when)
	case raw.LeftAside:
		var each []string
		for i := 0; i+1 < len(w.Text); i += 2 {
			each = append(each, fmt.Sprintf("%s (%s)", w.Text[i], CleanTo(w.Text[i+1], 90)))
		}
		return "Left aside, no log that can be read: " + strings.Join(each, "; ") + "."
	case raw.OnlyGyro:
		return "There is a gyroscope but no accelerometer; it is of use only together with the accelerometer's file."
	case raw.ShortGyro:
		return "The gyroscope covers too little of the accelerometer's time and is not used."
	case raw.WrongGyro:
		f := vals(w, 0)
		size := fmt.Sprintf("%s times too large", Decimals(f, 0))
		if f < 1 {
			size = fmt.Sprintf("%s times too small", Decimals(1/f, 0))
		}
		return fmt.Sprintf("The gyroscope looks %s beside how gravity turns in the accelerometer: is its unit %s, not %s? Correct it in the header or the column map; until then the pitch means nothing.",
			size, unit.Text(texts(w, 0)), unit.Text(texts(w, 1)))
	case raw.NoGravity:
		return fmt.Sprintf("The accelerometer shows no gravity: where it is steady it reads %s m/s², not 9.8. It is not used; phones also offer the acceleration with gravity, and that is needed.", Decimals(vals(w, 0), 2))
	case raw.WrongSpeed, raw.WrongTimes:
		return speedUnit(w)
	case raw.OtherTrack:
		return fmt.Sprintf("The file holds two tracks of the same time; the longer is used, and %s of the other left out.", Counted(w.Count, "fix"))
	case raw.SpeedsFilled:
		return fmt.Sprintf("GPS: %s had no speed; it was computed from the positions there.", Counted(w.Count, "fix"))
	case raw.Spikes:
		return doubtful(w, "with a speed or position that no motion explains, or no speed to be had")
	case raw.Stale:
		return doubtful(w, Choose(w.Count == 1, "that only repeats an older one while the board moved", "that only repeat an older one while the board moved"))
	case raw.Leaps:
		return doubtful(w, "at which the position leaps although the speed does not")
	}
	return ""
}

func doubtful(w ingest.Warning, what string) string {
	first := Choose(w.Count == 1, "at ", "first at ")
	return fmt.Sprintf("GPS: %s %s (%s%s); marked, and left out of the analysis.", Counted(w.Count, "fix"), what, first, moment(w))
}

// speedNames are units of speed in a sentence.
var speedNames = map[string]string{"kn": "knots"}

func speedUnit(w ingest.Warning) string {
	name := func(u string) string {
		if s, ok := speedNames[u]; ok {
			return s
		}
		return unit.Text(u)
	}
	ratio, likely, read, column := vals(w, 0), texts(w, 0), name(texts(w, 1)), texts(w, 2)
	what := fmt.Sprintf("GPS: the speeds are %s times those that the positions give", Decimals(ratio, 2))
	if ratio < 0.095 {
		what = fmt.Sprintf("GPS: the positions give speeds %s times as large as the file's own", Decimals(1/ratio, 1))
	}
	if w.Kind == raw.WrongTimes {
		return fmt.Sprintf("%s, which are beyond any board's (%s m/s): the time stamps may be in another unit than the file says. Check its columns.", what, Decimals(vals(w, 1), 0))
	}
	where := "in a file that should give " + read
	switch {
	case column != "" && w.Count == 1:
		where = fmt.Sprintf("in column %s, for which the column map says %s", quoted(column), read)
	case column != "":
		where = "in a column named " + CleanTo(column, 40)
	}
	if likely != "" {
		what += fmt.Sprintf(": this looks like %s %s", name(likely), where)
	} else {
		what += fmt.Sprintf(", and no unit explains it (%s)", where)
	}
	return what + ". The speeds from the positions are used instead; correct the unit to use the receiver's own."
}

func aboutTime(w ingest.Warning) string {
	who := UpperFirst(w.Sensor)
	switch w.Kind {
	case raw.OutOfOrder:
		return fmt.Sprintf("%s: %s stood out of order of time and %s sorted in.", who, Counted(w.Count, "sample"), was(w.Count))
	case raw.SameStamp:
		return fmt.Sprintf("%s: %s had the time stamp of the one before but other values; the first was kept.", who, Counted(w.Count, "sample"))
	case raw.Placed:
		return fmt.Sprintf("%s: %s had the time stamp of the one before and %s set between it and the next.", who, Counted(w.Count, "sample"), was(w.Count))
	case raw.Joined:
		return fmt.Sprintf("%s: %s with one time stamp and complementary values %s joined.", who, Counted(w.Count, "record"), was(w.Count))
	case raw.CutStamps:
		q := vals(w, 0)
		return fmt.Sprintf("%s: time stamps are cut to %s s while there are about %s samples in each; they were spread evenly in the order of the file, as cut, not rounded: were they rounded, all times are %s s late.",
			who, Decimals(q, 3), Decimals(vals(w, 1), 1), Decimals(q/2, 3))
	case raw.ClockSet:
		return fmt.Sprintf("%s: the clock had no date at first and was set at %s; the samples before were placed to end 1 s earlier, the true pause is not known.", who, moment(w))
	case raw.ClockRestart:
		return fmt.Sprintf("%s: the clock falls back by %s s at %s, as after a restart; the two parts were joined with a gap, whose true length is not known.", who, Decimals(vals(w, 0), 3), moment(w))
	case raw.ClockBack:
		return fmt.Sprintf("%s: the clock leaps back by %s s at %s while sampling goes on; the leap was taken out.", who, Decimals(vals(w, 0), 3), moment(w))
	case raw.ClockWrapped:
		return fmt.Sprintf("%s: the counter of the time wraps at %s, after %s s; the times go on.", who, moment(w), Decimals(vals(w, 0), 3))
	case raw.RateChange:
		return fmt.Sprintf("%s: the rate changes from %s to %s Hz at %s.", who, Decimals(vals(w, 0), 1), Decimals(vals(w, 1), 1), moment(w))
	case raw.RateUnsteady:
		return who + ": the rate changes more often than is told here."
	}
	return ""
}

func aboutOuting(w ingest.Warning) string {
	a, b := vals(w, 0), vals(w, 1)
	switch w.Kind {
	case raw.LengthsDiffer:
		return fmt.Sprintf("The motion was logged for %s and the GPS for %s: one of them covers only a part of the outing.", lengthOf(a), lengthOf(b))
	case raw.NoSharedTime:
		return fmt.Sprintf("By their clocks the motion and the GPS share no time: the %s starts %s after the other ends. Either they are of different rides or one clock is wrong.", w.Sensor, lengthOf(a))
	case raw.MotionPartly:
		return fmt.Sprintf("There is motion for %s of the %s of the GPS log; the pitch can be known only there.", partOf(a, b), lengthOf(b))
	case raw.GPSPartly:
		return fmt.Sprintf("There is GPS for %s of the %s of the motion log; rides and speeds can be known only there.", partOf(a, b), lengthOf(b))
	case raw.GyroAlone:
		return fmt.Sprintf("The gyroscope of %s has no accelerometer beside it and is not used.", texts(w, 0))
	case raw.IMUUnused:
		return fmt.Sprintf("The accelerometer of %s is used; that of %s is not.", texts(w, 0), texts(w, 1))
	case raw.GPSUnused:
		return fmt.Sprintf("The GPS of %s is used; that of %s is not.", texts(w, 0), texts(w, 1))
	case raw.NotOneOuting:
		return strings.TrimSuffix(UpperFirst(texts(w, 0)), ".") + "."
	}
	return ""
}

// lengthOf is a length of time in minutes, or in hours or seconds where it is
// long or short.
func lengthOf(s float64) string {
	switch {
	case s >= 3*3600:
		return partOf(s, s) + " hours"
	case s < 90:
		return Counted(int(math.Round(s)), "second")
	}
	return partOf(s, s) + " minutes"
}

// partOf is s in the unit and precision in which lengthOf says whole.
func partOf(s, whole float64) string {
	switch {
	case whole >= 3*3600:
		return Decimals(s/3600, 1)
	case whole >= 600:
		return Decimals(s/60, 0)
	}
	return Decimals(s/60, 1)
}

func aboutFIT(w ingest.Warning) string {
	switch w.Kind {
	case raw.CutHeader:
		return "The file ends inside a FIT header."
	case raw.WrongHeaderSum:
		return "The header's checksum is wrong; reading on."
	case raw.Unfinished:
		return "The recording was never closed (its header gives no size); read to the end of the file."
	case raw.ForeignBytes:
		return fmt.Sprintf("What follows the end of the FIT data is not FIT and was skipped: %s.", Counted(w.Count, "byte"))
	case raw.EndsEarly:
		return "The file ends here with a checksum that is right, although its header announces more."
	case raw.WrongSize:
		return "The header's data size ends inside a message; reading on to the end of the file."
	case raw.LongerThanSays:
		return "The header says that the data end here, and they go on; reading on to the end of the file."
	case raw.NoChecksum:
		return Choose(w.Count > 0, "The checksum is missing; the next file of the chain follows.", "The file ends before its checksum; the data before it are whole.")
	case raw.WrongChecksum:
		return fmt.Sprintf("The checksum is wrong (%#04x, the data give %#04x): some values before this byte may be damaged. All of it was read.", int(vals(w, 0)), int(vals(w, 1)))
	case raw.CutFile:
		s := "The file ends here too early"
		if why := texts(w, 0); why != "" {
			s = fmt.Sprintf("Reading failed here (%s)", why)
		}
		if w.Count > 0 {
			s += fmt.Sprintf(", %s short of what its header announces", Counted(w.Count, "byte"))
		}
		return s + "; everything before was read."
	case raw.BadFieldType:
		return fmt.Sprintf("Field %.0f of %s is declared with base type %#02x and a size of %.0f, which do not fit; the field is not read.", vals(w, 0), texts(w, 0), int(vals(w, 1)), vals(w, 2))
	case raw.NoDate:
		return "The device's clock counts from when it was switched on, and nothing in the file ties it to a date."
	case raw.RoughDate:
		return "Some time stamps count from when the device was switched on; they are tied to UTC by the stamps beside them, to about a second."
	case raw.BadSpeed:
		return fmt.Sprintf("A speed of %g m/s is impossible; it is not used.", vals(w, 0))
	case raw.BadPosition:
		return fmt.Sprintf("Latitude %g, longitude %g is no place on Earth; the position is not used.", vals(w, 0), vals(w, 1))
	case raw.HalfPosition:
		return "A position has only one of latitude and longitude; it is not used."
	case raw.BadDescription:
		return "A developer field's description lacks its index, number or type; the field is not read."
	case raw.NoDescription:
		return fmt.Sprintf("Developer field %.0f (index %.0f) has no description; it is not read.", vals(w, 0), vals(w, 1))
	case raw.DevUnit:
		return fmt.Sprintf("Developer field %s looks like %s, but its unit %s is not known; it is not read. Units that are: %s.",
			quoted(texts(w, 0)), a(w.Sensor), quoted(texts(w, 1)), unitsOf(w.Sensor))
	case raw.SpreadSamples:
		return fmt.Sprintf("The %s's samples have no times of their own; they are spread evenly from one message to the next.", w.Sensor)
	case raw.BadCalibration:
		return fmt.Sprintf("The calibration of the %s lacks its factor or divisor; it is not used.", w.Sensor)
	case raw.LateCalibration:
		return fmt.Sprintf("The calibration of the %s comes after its first samples; they are calibrated with it too.", w.Sensor)
	case raw.Damaged:
		return fmt.Sprintf("The data make no sense %s; %s skipped.", Choose(len(w.Values) > 0, "from here to the end of the file", "here"), Counted(w.Count, "byte"))
	}
	return ""
}

// a is a noun with its article.
func a(noun string) string {
	if noun != "" && strings.Contains("aeiou", noun[:1]) {
		return "an " + noun
	}
	return "a " + noun
}

// unitsOf lists the units that a sensor may come in.
func unitsOf(sensor string) string {
	var s []string
	for k, name := range unit.SensorNames {
		for _, u := range unit.SensorUnits[k] {
			if name == sensor {
				s = append(s, unit.Text(u.Name))
			}
		}
	}
	return strings.Join(s, ", ")
}

func aboutGPX(w ingest.Warning) string {
	switch w.Kind {
	case raw.UnknownEncoding:
		return fmt.Sprintf("The encoding %s is not known; the file is read as UTF-8.", quoted(texts(w, 0)))
	case raw.Entities:
		return "The file declares XML entities; they are not expanded, and values that use them are not read."
	case raw.CutXML:
		return "The file ends before its end tag; every point that is whole was read."
	case raw.BadXML:
		return fmt.Sprintf("Reading stops here: %s. Every point before was read.", texts(w, 0))
	case raw.BrokenTag:
		return fmt.Sprintf("The tag %s is broken, as by a lost quote; it is read as far as it goes.", quoted(texts(w, 0)))
	case raw.NestedPoint:
		return "A track point starts inside another, which is not closed; the outer one is not read."
	case raw.BadValue:
		return fmt.Sprintf("The %s %s is not a usable number; it is left out.", w.Sensor, quoted(texts(w, 0)))
	case raw.NoPlace:
		if len(w.Text) < 2 {
			return "A track point lacks its latitude or longitude; it is skipped."
		}
		return fmt.Sprintf("A track point is at latitude %s, longitude %s, no place on Earth; it is skipped.", quoted(texts(w, 0)), quoted(texts(w, 1)))
	case raw.BadTime:
		return fmt.Sprintf("The time %s cannot be read; what it belongs to is left out.", quoted(texts(w, 0)))
	case raw.NoZone:
		return "Times without a zone are taken as UTC."
	case raw.NoMotionUnit:
		base := Choose(w.Sensor == unit.SensorNames[unit.Acc], "ax_mps2 or ax_g", "gx_radps or gx_dps")
		return fmt.Sprintf("%s looks like a value of the %s, but its unit %s is not known; it is not read. Give the unit in the name, as in %s.", quoted(texts(w, 0)), w.Sensor, quoted(texts(w, 1)), base)
	case raw.BadSentence:
		return fmt.Sprintf("The sentence %s cannot be read and is left out (%s).", quoted(texts(w, 0)), CleanTo(texts(w, 1), 80))
	case raw.NoDay:
		return "No sentence tells the date; the times are of a day that is not known."
	}
	return ""
}

func aboutCSV(w ingest.Warning) string {
	switch w.Kind {
	case raw.UnknownColumns:
		names := make([]string, 0, len(w.Text))
		for i, n := range w.Text {
			if i == 8 {
				names = append(names, Counted(len(w.Text)-i, "other"))
				break
			}
			names = append(names, quoted(n))
		}
		return fmt.Sprintf("%s %s not known and not read.", Listed(names), Choose(len(names) == 1, "is", "are"))
	case raw.LacksAxis:
		return fmt.Sprintf("The %s lacks %s; all three axes are needed, so it is not read.", w.Sensor, Listed(w.Text))
	case raw.OneCoordinate:
		return "There is only one of latitude and longitude; positions are not read."
	case raw.Recognised:
		return "The columns were recognised by their names and values: " + strings.Join(w.Text, ", ") + ". Where that is wrong, a column map says otherwise."
	case raw.LocalTime:
		return "The times tell no zone. They are not taken as UTC: beside a log in UTC the offset is told from the motion. A column map says it with zone = \"+02:00\"."
	case raw.MapLacks:
		return fmt.Sprintf("The file has no %s, which the column map names.", w.Sensor)
	case raw.MapUnfit:
		return "The column map does not fit this file, which is read by its own column names."
	case raw.BadStart:
		return fmt.Sprintf("The start %s is not an ISO 8601 time such as 2026-09-20T10:00:00Z; it is ignored.", quoted(texts(w, 0)))
	case raw.LongLine:
		return fmt.Sprintf("The line is longer than %.0f bytes and is left out.", vals(w, 0))
	case raw.CutLine:
		if v := texts(w, 0); v != "" {
			return fmt.Sprintf("The file ends inside this line; the value %s may be cut, so the %s of this line is left out.", quoted(v), w.Sensor)
		}
		return "The file ends inside this line, which is left out."
	case raw.NoTime:
		return "The row has no time and is left out."
	case raw.BigTime:
		return fmt.Sprintf("The time %s cannot be read; the row is left out. It is too large for seconds: name the column time_ms, time_us or time_ns if it counts those.", quoted(texts(w, 0)))
	case raw.NotNumber:
		if w.Sensor == "" {
			return fmt.Sprintf("%s in column %s is not a number and is left out.", quoted(texts(w, 0)), quoted(texts(w, 1)))
		}
		return fmt.Sprintf("%s in column %s is not a number; the %s of this row is left out.", quoted(texts(w, 0)), quoted(texts(w, 1)), w.Sensor)
	case raw.Ragged:
		return fmt.Sprintf("The row has %s where the header has %.0f; it is left out.", Counted(int(vals(w, 0)), "field"), vals(w, 1))
	}
	return ""
}

// LeftOut is why samples were left out, without their number.
func LeftOut(d ingest.Dropped) string {
	s := string(d.Reason)
	switch d.Reason {
	case raw.Held:
		return d.Sensor + ": " + s
	case raw.Twice, raw.SameStamp:
		return d.Sensor + ": " + Choose(d.Reason == raw.Twice, s, "another sample with the same time stamp")
	case raw.NotUsed:
		names := d.Text
		if len(names) > 8 {
			names = append(names[:8:8], fmt.Sprintf("and %d other kinds", len(names)-8))
		}
		return s + " (" + strings.Join(names, ", ") + ")"
	case raw.NotFinite, raw.NotNumber:
		if d.Sensor != "" {
			return d.Sensor + " with a " + Choose(d.Reason == raw.NotFinite, s, "value that is not a number")
		}
	case raw.NoTime, raw.BadTime:
		return strings.TrimSpace(d.Sensor + " " + Choose(d.Reason == raw.NoTime, "without a time", "with a time that cannot be read"))
	case raw.NoPlace:
		return "track point without a usable position"
	}
	if d.Sensor == unit.SensorNames[unit.Acc] || d.Sensor == unit.SensorNames[unit.Gyr] {
		return d.Sensor + " sample " + linked(s)
	}
	return strings.TrimSpace(d.Sensor + " " + s)
}

// linked joins a reason to the noun before it.
func linked(s string) string {
	if s == string(raw.AxisMissing) {
		return "that " + s
	}
	if s == string(raw.Invalid) {
		return "that is " + s
	}
	return s
}

// Bytes is a size.
func Bytes(n int64) string {
	switch {
	case n >= 10<<30:
		return fmt.Sprintf("%d GiB", n>>30)
	case n >= 1<<30:
		return fmt.Sprintf("%.1f GiB", float64(n)/(1<<30))
	case n >= 1<<20:
		return fmt.Sprintf("%.1f MiB", float64(n)/(1<<20))
	case n >= 1<<10:
		return fmt.Sprintf("%.1f KiB", float64(n)/(1<<10))
	}
	return Counted(int(n), "byte")
}
