// Package nmea reads NMEA 0183 logs as board loggers and receivers write them:
// RMC, GGA and VTG sentences, with ZDA for the date. Checksums, talkers and the
// fields are read by github.com/adrianmo/go-nmea; which sentences belong to one
// fix, and what the date is, is settled here.
//
// Of this module it imports only raw.
package nmea

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"time"

	gonmea "github.com/adrianmo/go-nmea"

	"evenfoot/ingest/raw"
)

// sentence finds a sentence that is read, anywhere in a line: loggers put a time
// stamp or a tag block before it.
var sentence = regexp.MustCompile(`\$[A-Z]{2}(?:RMC|GGA|VTG|ZDA),`)

const (
	// maxLine is far beyond the 82 characters of the standard, bytes.
	maxLine = 4096
	// dayLength in s; backwards is how far the time of day must fall for a day
	// to have passed, s: receivers repeat and swap sentences of one second.
	dayLength, backwards = 86400.0, 43200.0
	// knot and kmh in m/s.
	knot, kmh = 1852.0 / 3600, 1 / 3.6
	// twoDigitYears is the first year that two digits stand for: GPS began in 1980.
	twoDigitYears, lastYear = 1980, 2200
)

// Is says whether the head of a file holds such sentences.
func Is(head []byte) bool {
	for i, line := range bytes.SplitN(head, []byte("\n"), 40) {
		if i < 39 && sentence.Match(line) {
			return true
		}
	}
	return false
}

// Read reads a log of NMEA sentences. Sentences of one time of day are one fix.
// A sentence that fails its checksum, or says that it has no fix, is left out
// and counted. It returns an error only when no fix is of use.
func Read(r *bufio.Reader, name string, _ int64) (*raw.Columns, error) {
	n := &reader{Notes: raw.Notes{File: name}, fix: nothing}
	n.out.File = raw.File{Name: name, Kind: "NMEA"}
	n.out.Gps.SpeedUnit = "kn"
	for {
		line, err := r.ReadSlice('\n')
		n.line++
		if err == bufio.ErrBufferFull || len(line) > maxLine {
			n.Drop(1, raw.LongLine, "")
			for err == bufio.ErrBufferFull {
				_, err = r.ReadSlice('\n')
			}
		} else if at := sentence.FindIndex(line); at != nil {
			n.sentence(string(bytes.TrimSpace(line[at[0]:])))
		}
		if errors.Is(err, io.EOF) {
			return n.finish()
		}
		if err != nil {
			return nil, fmt.Errorf("%s, line %d: %w", name, n.line, err)
		}
	}
}

// A reader gathers the sentences of one fix.
type reader struct {
	raw.Notes
	out    raw.Columns
	parser gonmea.SentenceParser
	line   int
	broken int

	fix   fix
	noFix int
	day   time.Time // UTC midnight of the date told last; zero before one
	days  float64   // midnights passed since
	last  float64   // s of the day, of the fix before
	loose int       // fixes before the first date
}

// A fix is what the sentences of one time of day say; NaN where none does.
type fix struct {
	at            float64 // s of the day
	lat, lon, alt float64 // deg, m
	speed, course float64 // m/s, deg true
	void          bool    // the receiver says that it has no fix
	dated         bool    // one of its sentences tells the date
}

var nothing = fix{at: raw.NaN, lat: raw.NaN, lon: raw.NaN, alt: raw.NaN, speed: raw.NaN, course: raw.NaN}

func (n *reader) sentence(text string) {
	s, err := n.parser.Parse(text)
	if err != nil {
		n.broken++
		n.Refuse(raw.Warning{Kind: raw.BadSentence, Line: n.line, Text: []string{text, err.Error()}}, "")
		return
	}
	f := &n.fix
	switch s := s.(type) {
	case gonmea.RMC:
		n.begin(s.Time)
		if s.Date.Valid {
			year := 2000 + s.Date.YY
			if year >= twoDigitYears+100 {
				year -= 100
			}
			n.date(year, s.Date.MM, s.Date.DD)
		}
		f.void = f.void || s.Validity != gonmea.ValidRMC
		f.place(s.Fields[2:6], s.Latitude, s.Longitude)
		set(&f.speed, s.Fields[6], s.Speed*knot)
		set(&f.course, s.Fields[7], s.Course)
	case gonmea.GGA:
		n.begin(s.Time)
		f.void = f.void || s.FixQuality == gonmea.Invalid
		f.place(s.Fields[1:5], s.Latitude, s.Longitude)
		set(&f.alt, s.Fields[8], s.Altitude)
	case gonmea.VTG: // has no time: it belongs to the fix being gathered
		set(&f.course, s.Fields[0], s.TrueTrack)
		set(&f.speed, s.Fields[4], s.GroundSpeedKnots*knot)
		set(&f.speed, s.Fields[6], s.GroundSpeedKPH*kmh)
	case gonmea.ZDA:
		n.begin(s.Time)
		n.date(int(s.Year), int(s.Month), int(s.Day))
	}
}

// set takes a value in where its field is not empty and none was told before.
func set(to *float64, field string, v float64) {
	if field != "" && *to != *to {
		*to = v
	}
}

func (f *fix) place(fields []string, lat, lon float64) {
	if fields[0] != "" && fields[2] != "" {
		set(&f.lat, fields[0], lat)
		set(&f.lon, fields[2], lon)
	}
}

// begin starts a fix where the time of day is another than that of the fix
// being gathered.
func (n *reader) begin(t gonmea.Time) {
	if !t.Valid || t.Hour > 23 || t.Minute > 59 || t.Second > 60 {
		return
	}
	at := float64(t.Hour*3600+t.Minute*60+t.Second) + float64(t.Millisecond)/1000
	if n.fix.at == n.fix.at && at != n.fix.at {
		n.flush()
	}
	n.fix.at = at
}

// date takes in the date of the fix being gathered; one that no calendar has is
// passed over.
func (n *reader) date(year, month, day int) {
	d := time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
	if year < twoDigitYears || year > lastYear || int(d.Month()) != month || d.Day() != day {
		return
	}
	n.day, n.days, n.fix.dated = d, 0, true
}

// flush hands on the fix that was gathered.
func (n *reader) flush() {
	f := n.fix
	n.fix = nothing
	switch {
	case f.at != f.at:
		return
	case f.void:
		n.noFix++
		return
	case f.lat != f.lat && f.speed != f.speed:
		return
	}
	if !f.dated && f.at < n.last-backwards {
		n.days++ // past midnight, and no new date yet
	}
	n.last = f.at
	t := f.at + n.days*dayLength
	if !n.day.IsZero() {
		if n.out.Start.IsZero() {
			n.out.Start, n.loose = n.day, len(n.out.Gps.Time)
		}
		t += n.day.Sub(n.out.Start).Seconds()
	}
	n.out.Gps.Append(t, f.lat, f.lon, f.alt, f.speed, f.course)
}

func (n *reader) finish() (*raw.Columns, error) {
	n.flush()
	n.Drop(n.noFix, raw.NoFix, "")
	t := n.out.Gps.Time
	switch {
	case len(t) == 0:
		return nil, fmt.Errorf("%s: no RMC, GGA or VTG sentence with a time and a fix in this NMEA file (%d without a fix, %d damaged)",
			n.File, n.noFix, n.broken)
	case n.out.Start.IsZero():
		n.Warn(raw.Warning{Kind: raw.NoDay})
	case n.loose > 0 && t[n.loose-1] > t[n.loose]+backwards:
		for i := range n.loose { // of the evening before
			t[i] -= dayLength
		}
	}
	n.Settle(&n.out)
	return &n.out, nil
}
