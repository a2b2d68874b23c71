package write

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"evenfoot/ingest"
)

// GPX writes the GPS fixes of a log as GPX 1.1, one segment between gaps, with
// speed (m/s) and course (deg) as extensions of each point.
//
// Times are kept to 1 µs, positions to 1e-9 deg, altitudes and courses to
// 0.001, speeds to 0.1 mm/s. Fixes without a position and the IMU's samples
// have no place in the format and are left out. A log without a date is an
// error.
//
// It is written by hand because gpxgo writes whole seconds only and would hold
// the document in memory.
func GPX(w io.Writer, l *ingest.Log) error {
	if l.Start.IsZero() {
		return errors.New("write GPX: the log has no date, and GPX times need one")
	}
	b := bufio.NewWriterSize(w, 64<<10)
	const head = `<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="evenfoot" xmlns="http://www.topografix.com/GPX/1/1" xmlns:ef="urn:evenfoot:gpx">
<trk>
<trkseg>
`
	_, _ = b.WriteString(head) // a bufio.Writer keeps its first error for Flush
	g := &l.GPS
	gaps := g.Gaps
	var line []byte
	for i, t := range g.Time {
		for len(gaps) > 0 && t >= gaps[0].End {
			if i > 0 {
				_, _ = b.WriteString("</trkseg>\n<trkseg>\n")
			}
			gaps = gaps[1:]
		}
		if math.IsNaN(g.Lat[i]) || math.IsNaN(g.Lon[i]) {
			continue
		}
		line = appendPoint(line[:0], l.Start, g, i)
		_, _ = b.Write(line)
	}
	_, _ = b.WriteString("</trkseg>\n</trk>\n</gpx>\n")
	if err := b.Flush(); err != nil {
		return fmt.Errorf("write GPX: %w", err)
	}
	return nil
}

// appendPoint appends one track point.
func appendPoint(b []byte, start time.Time, g *ingest.GPS, i int) []byte {
	number := func(before string, v float64, decimals int, after string) {
		b = append(b, before...)
		b = strconv.AppendFloat(b, v, 'f', decimals, 64)
		b = append(b, after...)
	}
	number(`<trkpt lat="`, g.Lat[i], 9, `"`)
	number(` lon="`, g.Lon[i], 9, `">`)
	if v := float64(g.Alt[i]); !math.IsNaN(v) {
		number("<ele>", v, 3, "</ele>")
	}
	b = append(b, "<time>"...)
	us := time.Duration(math.Round(g.Time[i]*1e6)) * time.Microsecond
	b = start.Add(us).UTC().AppendFormat(b, "2006-01-02T15:04:05.999999Z")
	b = append(b, "</time>"...)
	speed, course := float64(g.Speed[i]), float64(g.Course[i])
	if !math.IsNaN(speed) || !math.IsNaN(course) {
		b = append(b, "<extensions>"...)
		if !math.IsNaN(speed) {
			number("<ef:speed>", speed, 4, "</ef:speed>")
		}
		if !math.IsNaN(course) {
			number("<ef:course>", course, 3, "</ef:course>")
		}
		b = append(b, "</extensions>"...)
	}
	return append(b, "</trkpt>\n"...)
}
