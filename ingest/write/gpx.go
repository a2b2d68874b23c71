//go:build !js

// The page writes no GPX, and the library weighs 0.4 MB of its download.

package write

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"github.com/tkrajina/gpxgo/gpx"

	"evenfoot/ingest"
)

// gpxSpace is the namespace of our own extensions, gpxPrefix its short name.
const (
	gpxSpace  = "urn:evenfoot:gpx"
	gpxPrefix = "ef"
)

// ExportName is the creator of a track with more columns, by which it is known
// for an export: no log of its own, and nothing is lost by writing over it.
const ExportName = "evenfoot export"

// GPX writes the GPS fixes of a log as GPX 1.1, one segment between gaps, with
// speed (m/s), course (deg) and more columns as extensions of each point.
//
// Times are kept to 1 µs, positions to 1e-9 deg, altitudes and courses to
// 0.001, speeds to 0.1 mm/s. Fixes without a position and the IMU's samples
// have no place in the format and are left out. A log without a date is an
// error.
func GPX(w io.Writer, l *ingest.Log, more ...Column) error {
	if l.Start.IsZero() {
		return errors.New("write GPX: the log has no date, and GPX times need one")
	}
	g := &l.GPS
	columns := append([]Column{
		{"speed", 4, func(i int) float64 { return float64(g.Speed[i]) }},
		{"course", 3, func(i int) float64 { return float64(g.Course[i]) }},
	}, more...)
	doc := gpx.GPX{Creator: "evenfoot"}
	if len(more) > 0 {
		doc.Creator = ExportName
	}
	doc.RegisterNamespace(gpxPrefix, gpxSpace)
	var times []time.Time
	gaps := g.Gaps
	var segment gpx.GPXTrackSegment
	var track gpx.GPXTrack
	for i, t := range g.Time {
		for len(gaps) > 0 && t >= gaps[0].End {
			track.AppendSegment(&segment)
			segment = gpx.GPXTrackSegment{}
			gaps = gaps[1:]
		}
		if math.IsNaN(g.Lat[i]) || math.IsNaN(g.Lon[i]) {
			continue
		}
		p := gpx.GPXPoint{Timestamp: l.Start.Add(time.Duration(math.Round(t*1e6)) * time.Microsecond).UTC()}
		p.Latitude, p.Longitude = rounded(g.Lat[i], 9), rounded(g.Lon[i], 9)
		if v := float64(g.Alt[i]); !math.IsNaN(v) {
			p.Elevation = *gpx.NewNullableFloat64(rounded(v, 3))
		}
		for _, c := range columns {
			if v := c.Value(i); !math.IsNaN(v) {
				p.Extensions.GetOrCreateNode(gpxSpace, c.Name).Data = strconv.FormatFloat(v, 'f', c.Decimals, 64)
			}
		}
		segment.AppendPoint(&p)
		times = append(times, p.Timestamp)
	}
	track.AppendSegment(&segment)
	doc.AppendTrack(&track)
	text, err := doc.ToXml(gpx.ToXmlParams{Version: "1.1", Indent: true})
	if err == nil {
		err = withFractions(w, text, times)
	}
	if err != nil {
		return fmt.Errorf("write GPX: %w", err)
	}
	return nil
}

// rounded is v to that many decimals.
func rounded(v float64, decimals int) float64 {
	f := math.Pow10(decimals)
	return math.Round(v*f) / f
}

// withFractions writes a document with the exact times of its points, since gpxgo
// writes whole seconds only; nothing else in the document is called time. What
// gpxgo tells of the author, where there is none, goes.
func withFractions(w io.Writer, text []byte, times []time.Time) error {
	b := bufio.NewWriterSize(w, 64<<10) // it keeps its first error for Flush
	head, text, _ := bytes.Cut(text, []byte("<metadata>"))
	_, _ = b.Write(bytes.TrimSpace(head))
	_, text, found := bytes.Cut(text, []byte("</metadata>"))
	for _, t := range times {
		var before []byte
		before, text, _ = bytes.Cut(text, []byte("<time>"))
		_, text, found = bytes.Cut(text, []byte("</time>"))
		_, _ = b.Write(before)
		_, _ = b.Write(t.AppendFormat(b.AvailableBuffer(), "<time>2006-01-02T15:04:05.999999Z</time>"))
	}
	if !found {
		return errors.New("the document lacks what the library writes")
	}
	_, _ = b.Write(text)
	return b.Flush()
}
