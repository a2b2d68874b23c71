package site

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"maps"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenfoot/ingest"
	"evenfoot/report/form"
	"evenfoot/report/words"
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
		files[i] = source{f.stored, f.at}
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

// askOutings shows the outings that an upload seems to hold, or holds by the form
// that was sent with wrong; its files are held.
func (s *Site) askOutings(w http.ResponseWriter, r *http.Request, up *upload, wrong error) error {
	v := &view{Title: "Which outings are these?", Outings: slices.Clone(up.outings), Sessions: s.starts(), Start: words.Choose(up.setup != nil, "form", "")}
	slices.SortStableFunc(v.Outings, func(a, b glance) int { return cmp.Compare(a.Outing, b.Outing) })
	for _, g := range v.Outings {
		v.Total = max(v.Total, g.Outing)
	}
	status := http.StatusOK
	v.From, v.Brought, v.Own = v.Start, up.brought, make([]string, v.Total)
	for _, g := range up.outings {
		if k := slices.IndexFunc(up.brought, func(b brought) bool { return b.Folder == g.Folder }); g.Outing > 0 && k >= 0 {
			v.Own[g.Outing-1] = folderKey(k)
		}
	}
	if wrong != nil {
		status, v.Error, v.From = statusOf(wrong), words.UpperFirst(wrong.Error()), up.fields["from"]
		for n := range v.Own {
			v.Own[n] = up.fields[fmt.Sprintf("from.%d", n+1)]
		}
	}
	v.Held, v.Passed = s.hold(up), up.over()
	return s.show(w, r, status, "outings", v)
}

// Numbers are those that an outing may have.
func (v view) Numbers() (out []int) {
	for n := range v.Total + 1 {
		out = append(out, n+1)
	}
	return out
}

// folderKey names a brought setup in the form.
func folderKey(n int) string { return fmt.Sprintf("folder.%d", n) }

// addOutings keeps the outings as they were sorted, each with its own setup or that
// of all.
func (s *Site) addOutings(w http.ResponseWriter, r *http.Request, _ *session) error {
	up := &upload{fields: posted(r)}
	if err := s.resume(up); err != nil {
		return err
	}
	defer func() { s.store.discard(up.files) }()
	of := map[int][]*glance{}
	for i := range up.outings {
		g := &up.outings[i]
		n, _ := strconv.Atoi(up.fields[fmt.Sprintf("of.%d", g.File)])
		if g.Outing = 0; g.Wrong == "" && n > 0 && n <= filesMost+1 { // else it is left out
			g.Outing, of[n] = n, append(of[n], g)
		}
	}
	between, err := speedRange(up.fields["low"], up.fields["high"], up.fields["in"])
	speeds := speedsText(between)
	var set []byte
	if err == nil {
		set, err = s.lent(up, up.fields["from"])
	}
	if err == nil && len(of) == 0 {
		err = refused("every log is left out; give at least one of them an outing")
	}
	var added, known int
	var last int64
	for _, n := range slices.Sorted(maps.Keys(of)) {
		if err != nil {
			break
		}
		var id int64
		var again bool
		own := set
		if from := up.fields[fmt.Sprintf("from.%d", n)]; from != "" {
			own, err = s.lent(up, from)
		}
		if err == nil {
			id, again, err = s.addOuting(up, of, n, own, speeds)
		}
		switch {
		case err != nil:
		case again:
			known++
		default:
			last, added = id, added+1
		}
	}
	if added > 0 {
		s.changed()
	}
	if err != nil {
		for i := range up.outings {
			g := &up.outings[i]
			g.Known = g.Known || s.knows(up.files[g.File].Content)
		}
		if added > 0 {
			err = fmt.Errorf("%s%s added; the others are not yet: %w", words.Counted(added, "outing"), words.Choose(added == 1, " is", " are"), err)
		}
		return s.askOutings(w, r, up, err)
	}
	switch {
	case added == 1 && known == 0:
		return see(w, r, fmt.Sprintf("/session/%d", last))
	case known == 0 && added > 0:
		return see(w, r, "/?done=added")
	}
	body := words.Counted(added, "outing") + words.Choose(added == 1, " is", " are") + " added."
	if known > 0 {
		body += " " + words.Counted(known, "other") + words.Choose(known == 1, " was", " were") + " in the library already: an outing counts once."
	}
	return s.show(w, r, http.StatusOK, "message", &view{Title: "Outings added", Body: body})
}

// lent is a setup as the form names it, nil where there is nothing in it: one that
// was brought whole, any other without what is of one outing alone.
func (s *Site) lent(up *upload, from string) (set []byte, err error) {
	for k, b := range up.brought {
		if from == folderKey(k) {
			return b.text, nil
		}
	}
	var f form.Fields
	switch from {
	case "":
	case "form":
		f, err = form.Read(up.setup)
		f = f.Next()
	default:
		f, _, err = s.startFrom(from)
	}
	text := ""
	if err == nil {
		text, err = f.TOML()
	}
	if text != "" {
		set = []byte(text)
	}
	return set, err
}

// knows says whether a log, by its content, is in the library.
func (s *Site) knows(content string) bool {
	return slices.ContainsFunc(s.store.sessions(), func(e *session) bool { return slices.Contains(e.holds, content) })
}

// addOuting keeps outing n of several, with the column maps of the upload, and that
// those which were on another board at the time are others.
func (s *Site) addOuting(up *upload, of map[int][]*glance, n int, set []byte, speeds string) (id int64, again bool, err error) {
	logs := of[n]
	ses := &session{Added: time.Now().UTC(), Setup: set, Name: ingest.SetupName, Speeds: speeds}
	parsed, _, err := ses.parseSetup()
	if err != nil {
		return 0, false, refused("the setup cannot be used: %w", err)
	}
	for i, f := range up.files {
		if f.Kind == kindMap || slices.ContainsFunc(logs, func(g *glance) bool { return g.File == i }) {
			ses.Files = append(ses.Files, f.stored)
		}
	}
	for _, m := range slices.Sorted(maps.Keys(of)) {
		for _, g := range of[m] {
			if m != n && slices.ContainsFunc(logs, g.elsewhere) {
				ses.Others = append(ses.Others, up.files[g.File].Content)
			}
		}
	}
	for _, g := range logs {
		if !g.From.IsZero() && (ses.Start.IsZero() || g.From.Before(ses.Start)) {
			ses.Start = g.From
		}
	}
	ses.describe(parsed, nil)
	if id, again, err = s.store.add(ses, up.files); err == nil && !again {
		s.beginUsual(id)
	}
	return id, again, err
}

// Uploads that wait for their user's word: the files lie in incoming.
const (
	heldMost = 16
	heldFor  = time.Hour
)

// hold keeps an upload's files for the form that is sent back, and tells the name
// that they have in it; "" where there are none.
func (s *Site) hold(up *upload) string {
	if len(up.files) == 0 {
		return ""
	}
	s.heldMu.Lock()
	defer s.heldMu.Unlock()
	keep := *up
	keep.since = time.Now()
	up.files = nil // no longer this request's to discard
	name := rand.Text()
	s.held[name] = &keep
	for len(s.held) > heldMost {
		oldest := ""
		for n, h := range s.held {
			if oldest == "" || h.since.Before(s.held[oldest].since) {
				oldest = n
			}
		}
		s.drop(oldest)
	}
	for n, h := range s.held {
		if time.Since(h.since) > heldFor {
			s.drop(n)
		}
	}
	return name
}

func (s *Site) drop(name string) {
	s.store.discard(s.held[name].files)
	delete(s.held, name)
}

// resume gives an upload the files that its form was held for.
func (s *Site) resume(up *upload) error {
	name := up.fields["held"]
	if name == "" {
		return nil
	}
	s.heldMu.Lock()
	defer s.heldMu.Unlock()
	was := s.held[name]
	if was == nil {
		return refused("the files that were sent before are no longer kept; choose them again")
	}
	delete(s.held, name)
	for _, f := range was.files {
		if slices.ContainsFunc(up.files, func(g *incoming) bool { return g.Hash == f.Hash }) {
			s.store.discard([]*incoming{f})
			continue
		}
		up.files = append(up.files, f)
	}
	up.names = append(was.names, up.names...)
	up.passed, up.passedAll = append(was.passed, up.passed...), was.passedAll+up.passedAll
	if up.outings == nil {
		up.outings = was.outings
	}
	if up.brought == nil {
		up.brought = was.brought
	}
	if _, sorted := up.fields["from"]; sorted && up.setup == nil {
		up.setup, up.setupName = was.setup, was.setupName
	}
	for _, k := range []string{"low", "high", "in"} {
		if _, given := up.fields[k]; !given {
			up.fields[k] = was.fields[k]
		}
	}
	return nil
}
