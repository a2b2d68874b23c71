package site

import (
	"cmp"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"time"

	"evenfoot/ingest"
	"evenfoot/report/form"
	"evenfoot/report/words"
)

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
			id, again, err = s.addOuting(up, of, n, own, between)
		}
		switch {
		case err != nil:
		case again:
			known++
		default:
			last, added = id, added+1
		}
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
func (s *Site) addOuting(up *upload, of map[int][]*glance, n int, set []byte, between speeds) (id int64, again bool, err error) {
	logs := of[n]
	ses := &session{Added: time.Now().UTC(), Setup: set, Name: ingest.SetupName, Speeds: between}
	parsed, err := ses.usable()
	if err != nil {
		return 0, false, err
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
	return s.enter(ses, up.files)
}
