package site

import (
	"cmp"
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"time"

	"evenfoot/ingest"
)

// Many logs at once may be of several outings: they are sorted, and shown before
// anything is kept.

// A glance is what tells which outing a log is of.
type glance struct {
	File   int // in its upload
	Name   string
	Device string
	span
	Wrong  string   // why it cannot be read
	Known  bool     // it is in the library already
	Like   *session // which it seems to be one outing with, nil for none
	Outing int      // from 1 in order of time; 0 for none
	Folder string   // that it came in with a setup; "" for none

	track  map[int64]place // where it was, by Unix time in steps
	motion bool            // it holds an accelerometer's samples
}

// A place is on the earth, deg.
type place struct {
	Lat float64 `json:"lat_deg"`
	Lon float64 `json:"lon_deg"`
}

// from is how far a place is from another, m; for places near each other.
func (a place) from(b place) float64 {
	const metres = 1852 * 60 // a degree of latitude
	return metres * math.Hypot(a.Lat-b.Lat, math.Remainder(a.Lon-b.Lon, 360)*math.Cos(a.Lat*math.Pi/180))
}

// None of these is tuned on data: they are how riders and devices usually are.
const (
	// pauseWithin is the longest pause within an outing.
	pauseWithin = 30 * time.Minute
	// boardsApart is how far two receivers are apart, as a median, m, when they are
	// not on the same board.
	boardsApart = 60
	// spotStep is how coarsely the place of a log is kept, deg: it tells bays apart,
	// not where anybody went in. spotsApart is how far two recordings of one outing
	// can lie apart by it, m.
	spotStep, spotsApart = 0.01, 5000
	// trackStep is the time between the places that are compared, s; sameMoment is
	// how near to it a fix must be, s.
	trackStep, sameMoment = 10, 0.6
	// overlapLeast is how long two logs of one device must run at once to be of two
	// such devices, not parts of a log that overlap.
	overlapLeast = time.Minute
	// placesLeast is how many common places tell anything.
	placesLeast = 6
	// logsHeld is how many logs of an upload are kept in memory after the first look.
	logsHeld = 4
)

var errSeveral = errors.New("these logs are of several outings")

// look reads the logs, so that an upload which cannot be read is refused while
// its sender is there to mend it, and sorts them into outings. The log is that
// of all together, nil without one; errSeveral says that there are more outings
// than one.
func (s *Site) look(ctx context.Context, up *upload) (*ingest.Log, error) {
	select { // its own turn: an upload never waits for analyses
	case s.reading <- struct{}{}:
		defer func() { <-s.reading }()
	case <-ctx.Done():
		return nil, errors.New("the upload was given up before it was read")
	}
	files := make([]source, len(up.files))
	for i, f := range up.files {
		files[i] = f.source
	}
	var logs []*ingest.Log
	var unread error
	up.outings = nil
	for i, src := range files {
		if src.Kind != kindLog {
			continue
		}
		g := glance{File: i, Name: src.Name, Known: s.knows(src.Content)}
		if slices.ContainsFunc(up.brought, func(b brought) bool { return b.Folder == up.files[i].folder }) {
			g.Folder = up.files[i].folder
		}
		err := guarded(func() error {
			l, err := openLog(src, files, 0)
			if err != nil {
				return err
			}
			g.take(l)
			up.files[i].span, up.files[i].Spot = g.span, g.spot()
			if twins := s.twins(&session{Start: g.From, Files: []stored{up.files[i].stored}}); len(twins) > 0 {
				g.Like = twins[0]
			}
			if len(logs) < logsHeld {
				logs = append(logs, l)
			}
			return nil
		})
		if err != nil {
			g.Wrong, unread = err.Error(), cmp.Or(unread, err)
		}
		up.outings = append(up.outings, g)
	}
	n := sortOutings(up.outings)
	var no *readError
	switch {
	case n > 1 || len(up.brought) > 1:
		return nil, errSeveral
	case unread != nil:
		if errors.As(unread, &no) && !slices.ContainsFunc(files, func(f source) bool { return f.Kind == kindMap }) {
			if text, ok := ingest.ProposeMap(no.src.at); ok {
				up.propose = strings.ReplaceAll(text, no.src.at, no.src.Name)
			}
		}
		return nil, unread
	case len(logs) == 0:
		return nil, nil
	}
	var log *ingest.Log
	err := guarded(func() (err error) {
		if len(up.outings) > len(logs) {
			log, err = readLogs(files, 0, nil)
		} else {
			log, err = ingest.Merge(logs)
		}
		return err
	})
	return log, err
}

// take looks at a log.
func (g *glance) take(l *ingest.Log) {
	var devices []string
	for _, f := range l.Files {
		if f.Device != "" && !slices.Contains(devices, f.Device) {
			devices = append(devices, f.Device)
		}
	}
	g.Device = label(strings.Join(devices, ", "))
	g.motion = len(l.IMU.Time) > 0
	if l.Start.IsZero() || l.LocalDate() {
		return
	}
	g.From, g.To = l.Start, l.End()
	g.track = map[int64]place{}
	for i, t := range l.GPS.Time {
		at := float64(l.Start.UnixMilli())/1000 + t
		step := math.Round(at / trackStep)
		if lat := l.GPS.Lat[i]; math.Abs(at-step*trackStep) < sameMoment && lat == lat {
			g.track[int64(step)] = place{lat, l.GPS.Lon[i]}
		}
	}
}

// spot is where a log was, coarsely; nil without a track.
func (g *glance) spot() *place {
	if len(g.track) == 0 {
		return nil
	}
	var lat, lon []float64
	for _, p := range g.track {
		lat, lon = append(lat, p.Lat), append(lon, p.Lon)
	}
	middle := func(v []float64) float64 {
		slices.Sort(v)
		return math.Round(v[len(v)/2]/spotStep) * spotStep
	}
	return &place{middle(lat), middle(lon)}
}

// elsewhere says that two logs of the same time were not on one board: by their
// tracks, or where one has none by their devices, since nobody fixes two of a kind
// to a board.
func (g *glance) elsewhere(h *glance) bool {
	if len(g.track) == 0 || len(h.track) == 0 {
		return g.motion && h.motion && g.Device != "" && g.Device == h.Device && g.common(h) > overlapLeast
	}
	var apart []float64
	for at, a := range g.track {
		if b, both := h.track[at]; both {
			apart = append(apart, a.from(b))
		}
	}
	slices.Sort(apart)
	return len(apart) >= placesLeast && apart[len(apart)/2] > boardsApart
}

// common is the time that two logs have in common; below zero, the pause between.
func (g *glance) common(h *glance) time.Duration {
	from, to := g.From, g.To
	if h.From.After(from) {
		from = h.From
	}
	if h.To.Before(to) {
		to = h.To
	}
	return to.Sub(from)
}

// sortOutings numbers the outings: logs of one folder with a setup are of one, and of
// several folders of several. Of the others those whose times touch are of one,
// unless they were on two boards at the same time; those without a date go with the only
// outing, or are one of their own. It returns how many there are.
func sortOutings(all []glance) (n int) {
	var dated, undated []*glance
	for i := range all {
		switch g := &all[i]; {
		case g.Wrong != "":
		case g.From.IsZero() && g.Folder == "":
			undated = append(undated, g)
		default:
			dated = append(dated, g)
		}
	}
	slices.SortStableFunc(dated, func(a, b *glance) int {
		// At the same time those with a track first: they tell riders apart best.
		return cmp.Or(a.From.Compare(b.From), cmp.Compare(len(b.track), len(a.track)))
	})
	var outings [][]*glance
	for _, g := range dated {
		best, most := -1, -pauseWithin
		for i, o := range outings {
			if slices.ContainsFunc(o, func(h *glance) bool {
				return g.elsewhere(h) || g.Folder != "" && h.Folder != "" && g.Folder != h.Folder
			}) {
				continue
			}
			for _, h := range o {
				if g.Folder != "" && g.Folder == h.Folder {
					best, most = i, math.MaxInt64
				} else if common := g.common(h); common >= most {
					best, most = i, common
				}
			}
		}
		if best < 0 {
			best, outings = len(outings), append(outings, nil)
		}
		outings[best] = append(outings[best], g)
	}
	if len(undated) > 0 {
		if len(outings) != 1 {
			outings = append(outings, nil)
		}
		last := len(outings) - 1
		outings[last] = append(outings[last], undated...)
	}
	for i, o := range outings {
		for _, g := range o {
			g.Outing = i + 1
		}
	}
	return len(outings)
}

// When is the time of a log.
func (g glance) When() string {
	if g.From.IsZero() {
		return "no date"
	}
	return g.From.Format("2 Jan 2006, 15:04") + " to " + g.To.Format("15:04")
}
