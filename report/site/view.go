package site

import (
	"bytes"
	"cmp"
	"embed"
	"errors"
	"html/template"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/dustin/go-humanize"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/setup"
	"evenfoot/ingest"
	"evenfoot/report"
	"evenfoot/report/form"
	"evenfoot/report/words"
)

//go:embed templates
var files embed.FS

var pages = template.Must(template.New("").Funcs(template.FuncMap{
	"size":  sizeText,
	"count": words.Counted,
	"when":  when,
	"join":  strings.Join,
}).ParseFS(files, "templates/*.html"))

// A static is a file of the pages, the same for all.
type static struct{ kind, text string }

func (f static) serve(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", f.kind+"; charset=utf-8")
	io.WriteString(w, f.text)
}

var statics = map[string]static{
	"/style.css": {"text/css", report.StyleSheet() + asset("site.css")}, // forms and lists beside the sheet's own
	"/note.css":  {"text/css", asset("note.css")},
	"/site.js":   {"text/javascript", asset("site.js")},
	"/form.js":   {"text/javascript", string(form.Script)},
}

func asset(name string) string {
	b, err := files.ReadFile("templates/" + name)
	if err != nil {
		panic(err) // it is built in
	}
	return string(b)
}

// A view is what a template shows; each page uses some of it.
type view struct {
	Title   string
	Token   string
	Version string
	Units   words.Units
	Dir     string

	Error    string
	Notice   string
	Body     string
	Link     string
	LinkText string
	Refresh  int // s, on the waiting page

	Session    *session
	Sessions   []*session
	Options    options
	Query      string
	Candidates []candidate
	Fields     form.Fields
	Fill       filling
	Held       string // names the files that wait for this form
	HeldNames  []string
	Passed     string // files of an upload that were not taken
	Outings    []glance
	Start      string   // of several outings: whose setup is offered
	From       string   // the setup that is chosen there
	Own        []string // likewise of each outing, "" for the same
	Brought    []brought
	Propose    string
	MaxUpload  string
	Notes      []string
	Refusals   []refusal
	Rider      string
	OfRider    bool // only the sessions of Rider, who may have no name
	Filtered   bool // by rider or words
	Many       bool // sessions to compare
	Riders     []athlete
	Find       string
	Total      int // sessions found, on all pages of the list
	First      int // number of the first on this one
	Newer      int // pages of the list, 0 for none
	Older      int
	Ticked     []int64 // to be compared, on whatever page
	Also       []*session
	Stale      map[int64]string
	Working    int
	Twins      []*session // that seem to be of the same outing
	Picture    template.HTML
	Locked     bool
	ReadOnly   error // why nothing can be added
}

// show makes a page whole before the first byte of it is sent. The request is
// answered then: a handler returns what it returns.
func (s *Site) show(w http.ResponseWriter, r *http.Request, status int, name string, v *view) error {
	v.Token, v.Version, v.Dir, v.Units, v.Locked = s.token, s.cfg.Version, s.store.dir, s.units(), s.cfg.Locked
	v.ReadOnly = s.store.readOnly
	if a, ok := w.(*answer); ok {
		a.why = v.Error
	}
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, name, v); err != nil {
		s.cfg.Warn("the page %s cannot be made: %v", r.URL.Path, err)
		http.Error(w, "The page could not be made. This is a fault of evenfoot.", http.StatusInternalServerError)
		return errAnswered
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	w.Write(b.Bytes())
	return errAnswered
}

// see sends the browser on after a form was taken.
func see(w http.ResponseWriter, r *http.Request, where string) error {
	http.Redirect(w, r, where, http.StatusSeeOther)
	return nil
}

// fail answers with an error page.
func (s *Site) fail(w http.ResponseWriter, r *http.Request, status int, err error) {
	_ = s.show(w, r, status, "message", &view{Title: "That did not work", Error: strings.TrimRight(words.UpperFirst(err.Error()), ".") + "."})
}

// units are those that the library is set to.
func (s *Site) units() words.Units {
	u, err := words.ParseUnits(s.store.setting("units"))
	if err != nil { // a setting of another version
		u, _ = words.ParseUnits("")
	}
	u.Forms = true
	return u
}

func (s *Site) setUnits(w http.ResponseWriter, r *http.Request, _ *session) error {
	text := strings.Join([]string{r.PostForm.Get("speed"), r.PostForm.Get("length"), r.PostForm.Get("weight")}, ",")
	if _, err := words.ParseUnits(text); err != nil {
		return badRequest(errors.New("one of these units is not known"))
	}
	if err := s.store.set("units", text); err != nil {
		return err
	}
	s.changed()
	return see(w, r, "/?done=units")
}

func (s *Site) clearRefused(w http.ResponseWriter, r *http.Request, _ *session) error {
	if err := s.store.clearRefused(); err != nil {
		return err
	}
	return see(w, r, "/")
}

// notices are what a page says after something was done.
var notices = map[string]string{
	"deleted": "The session is deleted, with its files and its sheets.",
	"units":   "The units are changed.",
	"added":   "The outings are added, and are being analysed.",
}

// listed is how many sessions one page of the list shows.
const listed = 50

// library lists the sessions, newest first: those that ?q= finds in title, rider
// or day, or of one ?rider=, a page at a time. ?of=RIDER and ?all are the buttons that
// lead to another list; they come with what is ticked, and with the list left.
func (s *Site) library(w http.ResponseWriter, r *http.Request, _ *session) error {
	all, q := s.store.sessions(), r.URL.Query()
	if q.Has("of") || q.Has("all") {
		next := url.Values{"id": q["id"]}
		if q.Has("of") {
			next.Set("rider", q.Get("of"))
		}
		return see(w, r, "/?"+next.Encode())
	}
	v := &view{Title: "Library", Notice: notices[q.Get("done")], Riders: athletes(all), Refusals: s.store.refusals(),
		Many: len(all) > 1, Rider: q.Get("rider"), OfRider: q.Has("rider"), Find: label(q.Get("q")), Working: s.queue.size(), Stale: map[int64]string{}}
	v.Filtered = v.OfRider || v.Find != ""
	find := strings.Fields(strings.ToLower(v.Find))
	for _, ses := range all {
		if v.OfRider && ses.Rider != v.Rider || !ses.fits(find) {
			continue
		}
		v.Sessions = append(v.Sessions, ses)
	}
	v.Total = len(v.Sessions)
	page, _ := strconv.Atoi(q.Get("page")) // the first, where it is none
	page = min(max(page, 1), max(1, (v.Total+listed-1)/listed))
	v.Sessions = v.Sessions[(page-1)*listed : min(page*listed, v.Total)]
	v.Newer = page - 1
	if page*listed < v.Total {
		v.Older = page + 1
	}
	v.First = (page-1)*listed + 1
	v.Ticked, _ = idList(q["id"]) // none, where they are no numbers
	for _, ses := range all {
		if v.IsTicked(ses) && !slices.Contains(v.Sessions, ses) {
			v.Also = append(v.Also, ses)
		}
	}
	for _, ses := range v.Sessions {
		v.Stale[ses.ID] = s.stale(ses)
	}
	return s.show(w, r, http.StatusOK, "library", v)
}

// fits says whether a session's title, rider and day have each of the words: a
// short one as it stands, so that "2 may" is not every day of 2026.
func (s *session) fits(find []string) bool {
	return !slices.ContainsFunc(find, func(word string) bool {
		return !slices.ContainsFunc(s.words, func(has string) bool { return has == word || len(word) > 2 && strings.Contains(has, word) })
	})
}

// An athlete is one rider with the sessions that bear the name.
type athlete struct {
	Name     string
	Sessions []*session // newest first
	// Of [totalled] alone: each outing once, and what they come to.
	Outings []*session
	Foiling float64
	Best    [4]float64
	In      [4]*session // where the best speeds were ridden
}

// athletes groups sessions by rider, the one who rode last first.
func athletes(all []*session) []athlete {
	var out []athlete
	at := map[string]int{}
	for _, ses := range all {
		i, known := at[ses.Rider]
		if !known {
			i = len(out)
			out, at[ses.Rider] = append(out, athlete{Name: ses.Rider}), i
		}
		out[i].Sessions = append(out[i].Sessions, ses)
	}
	return out
}

// totalled are the athletes with their outings.
func totalled(all []*session) []athlete {
	out := athletes(all)
	for i := range out {
		a := &out[i]
		for _, ses := range a.Sessions {
			a.Outings = withOnce(a.Outings, ses)
		}
		for _, ses := range a.Outings {
			if ses.Summary == nil {
				continue
			}
			a.Foiling += ses.Summary.Foiling
			for k, b := range ses.Summary.Best {
				if b > a.Best[k] {
					a.Best[k], a.In[k] = b, ses
				}
			}
		}
	}
	return out
}

// Team are the latest outings of each of a few riders, the last of each of more.
func (v view) Team() (out []*session) {
	each := 1
	if len(v.Riders) <= 10 {
		each = teamEach
	}
	for _, a := range v.Riders {
		for _, ses := range a.Outings[:min(each, len(a.Outings))] {
			out = withOnce(out, ses) // it may be there without a rider's name as well
		}
	}
	return out
}

// A trend is how far off even the load was, session by session.
type trend struct {
	Says string
	Line string // of an SVG
	Bars [][3]string
}

const (
	trendMost            = 20 // sessions, the latest
	trendWide, trendTall = 240, 56
)

// Trend is the athlete's; nil before the second session that tells it.
func (a athlete) Trend() *trend {
	var all [][]float64 // the oldest first
	for _, ses := range slices.Backward(a.Outings) {
		if ses.Summary != nil && len(ses.Summary.OffEven) == 3 {
			all = append(all, ses.Summary.OffEven)
		}
	}
	if len(all) < 2 {
		return nil
	}
	all = all[max(0, len(all)-trendMost):]
	top := 0.0
	for _, v := range all {
		top = max(top, v[2])
	}
	t := &trend{}
	var says, line []string
	for i, v := range all {
		at := func(share float64) string {
			return strconv.FormatFloat(trendTall-4-(trendTall-8)*share/top, 'f', 1, 64)
		}
		x := strconv.FormatFloat(6+float64(i)*(trendWide-12)/float64(len(all)-1), 'f', 1, 64)
		says = append(says, words.Between(interval.Interval{Value: v[0], Low: v[1], High: v[2]}, 100, 0))
		line, t.Bars = append(line, x+","+at(v[0])), append(t.Bars, [3]string{x, at(v[1]), at(v[2])})
	}
	t.Says, t.Line = strings.Join(says, ", ")+" %", strings.Join(line, " ")
	return t
}

func (s *Site) riders(w http.ResponseWriter, r *http.Request, _ *session) error {
	return s.show(w, r, http.StatusOK, "riders", &view{Title: "Riders", Riders: totalled(s.store.sessions())})
}

// template is a setup to fill in, to be saved.
func (s *Site) template(w http.ResponseWriter, r *http.Request, _ *session) error {
	rig := cmp.Or(r.URL.Query().Get("rig"), "wing")
	text, err := setup.Template(rig)
	if err != nil {
		return badRequest(err)
	}
	attach(w, plainText, ingest.SetupName)
	_, err = io.WriteString(w, text)
	return err
}

const plainText = "text/plain; charset=utf-8"

// What the templates ask for.

// BestNames are the best speeds in the order of a summary.
func (view) BestNames() []string { return []string{"2 s", "10 s", "500 m", "1 nmi"} }

// Last is the number of the last session on this page of the list.
func (v view) Last() int { return v.First + len(v.Sessions) - 1 }

// IsTicked says whether a session is to be compared.
func (v view) IsTicked(ses *session) bool { return slices.Contains(v.Ticked, ses.ID) }

// FolderKey names a setup that came in a folder.
func (view) FolderKey(n int) string { return folderKey(n) }

// Latest are those of Sessions that are offered to each of several outings.
func (v view) Latest() []*session { return v.Sessions[:min(len(v.Sessions), 30)] }

// Inc counts from one.
func (view) Inc(n int) int { return n + 1 }

// Speeds lists the units of speed.
func (view) Speeds() any { return words.SpeedUnits }

// teamEach is how many of each one's sessions are set beside those of a small team.
const teamEach = 4

// Rigs lists the kinds of rigs.
func (view) Rigs() []string { return setup.Rigs() }

// Levels lists the levels of riders.
func (view) Levels() []string { return levels }

// SpeedName is the unit of speed in short.
func (v view) SpeedName() string { return v.Units.SpeedName() }

// Speed prints a speed in m/s in the library's unit, without it.
func (v view) Speed(x float64) string {
	if x <= 0 {
		return "–"
	}
	return words.Fixed(v.Units.SpeedValue(x), 1)
}

// When is the session's day, from the log's own clock (UTC).
func (s *session) When() string {
	if s.Start.IsZero() {
		return "no date"
	}
	return s.Start.Format("2 Jan 2006, 15:04")
}

// Day is the same for machines.
func (s *session) Day() string {
	if s.Start.IsZero() {
		return ""
	}
	return s.Start.Format(time.RFC3339)
}

// Tag is the verdict as a word of its own.
func (s *session) Tag() string {
	switch {
	case s.Summary == nil || s.Summary.Unanalysed != "":
		return ""
	case s.Summary.Verdict == "":
		return "No setup"
	case s.Summary.Verdict == advice.NotEnough:
		return "Not enough evidence"
	}
	return words.UpperFirst(s.Summary.Verdict)
}

// Says is the advice in one line, or why there is none.
func (s *session) Says() string {
	switch {
	case s.Summary == nil:
		return "Not analysed yet; open it."
	case s.Summary.Unanalysed != "":
		return "Could not be analysed: " + s.Summary.Unanalysed
	case s.Summary.Next != "":
		return s.Summary.Next
	case s.Setup == nil:
		return "Speeds and rides only. A setup would add the load on the feet and the advice."
	}
	return "Open it to see what it shows."
}

// Minutes prints seconds as minutes.
func (view) Minutes(s float64) string {
	if s <= 0 {
		return "–"
	}
	return words.Minutes(s)
}

// when is a moment of this machine's own, such as that of a refusal.
func when(t time.Time) string { return t.Local().Format("2 Jan 2006, 15:04") }

// sizeText prints bytes.
func sizeText(n int64) string { return humanize.IBytes(uint64(n)) }
