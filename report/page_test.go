package report

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/analysis/ride"
	"evenfoot/ingest"
	"evenfoot/report/browser"
	"evenfoot/report/words"
)

func pageOf(t *testing.T, r *analysis.Result, o Options) string {
	t.Helper()
	var b bytes.Buffer
	if err := HTML(&b, r, o); err != nil {
		t.Fatal(err)
	}
	wellSaid(t, b.String())
	return b.String()
}

// odd are results with parts missing or numbers broken; each must give a page
// that has a headline, words.Cautions and no trace of a broken number.
func odd() map[string]*analysis.Result {
	nan := math.NaN()
	m := map[string]*analysis.Result{"empty": {}, "whole": fixture()}

	r := fixture()
	r.Setup, r.Advice, r.Posterior, r.FootLoad, r.Forces, r.Assumptions = nil, nil, nil, nil, nil, nil
	m["no setup"] = r

	r = fixture()
	r.Motion, r.Mount, r.PitchLaw, r.Law, r.PitchCurve, r.ControlEffort = nil, nil, nil, nil, nil, nil
	m["watch alone"] = r

	r = fixture()
	r.Log, r.Motion, r.Ride, r.Law, r.PitchLaw, r.Mount, r.PitchCurve, r.ControlEffort, r.Rides, r.SpeedHistogram = nil, nil, nil, nil, nil, nil, nil, nil, nil, nil
	r.Session = analysis.Session{Duration: interval.Number(nan), GPSHz: interval.Number(nan), IMUHz: interval.Number(nan), ClockOffset: interval.Unknown()}
	r.Totals, r.BestSpeeds, r.WaterFlow = analysis.Totals{}, analysis.BestSpeeds{}, nil
	m["no log"] = r

	r = fixture()
	r.Advice.Verdict, r.Advice.Shim, r.Advice.MoveNow, r.Advice.ShimPlace = advice.NotEnough, 0, 0, nil
	r.Advice.Next.Kind = advice.FindOut
	m["not enough"] = r

	r = fixture()
	r.Advice.Verdict, r.Advice.Shim, r.Advice.Cards, r.Advice.MoveNow, r.Advice.ShimPlace = advice.Keep, 0, 0, 0, nil
	r.Advice.Next.Kind = advice.KeepTrim
	m["keep"] = r

	r = fixture()
	r.Advice.Verdict, r.Advice.Shim, r.Advice.MoveNow = advice.CannotBalance, interval.Number(nan), interval.Number(nan)
	r.Advice.Next = advice.Reason{Kind: advice.TrackShort, Move: -0.09}
	m["cannot balance"] = r

	r = fixture()
	u := interval.Unknown()
	for i := range r.FootLoad {
		p := &r.FootLoad[i]
		p.FrontShare, p.Gradient, p.Moment, p.FrontShareAfter, p.GradientAfter = u, u, u, u, u
	}
	for i := range r.Advice.Options {
		o := &r.Advice.Options[i]
		o.ShareLow, o.ShareMid, o.ShareTop, o.Gradient, o.Evenness, o.FoilMove = u, u, u, u, u, u
		o.ChanceBetter, o.Shim = interval.Number(nan), interval.Number(nan)
		o.Curve = nil
	}
	r.Advice.StabilizerChange, r.Advice.FoilMove, r.Advice.EvennessNow, r.Advice.EvennessAfter, r.Advice.ChanceBetter = u, u, u, u, interval.Number(nan)
	r.Advice.Shim, r.Advice.MoveNow = interval.Number(nan), interval.Number(math.Inf(1))
	for i := range r.Law.Windows {
		r.Law.Windows[i].PitchCos = nan
	}
	for i := range r.PitchCurve {
		r.PitchCurve[i].Pitch = u
	}
	for i := range r.ControlEffort {
		r.ControlEffort[i] = analysis.EffortPoint{Speed: interval.Number(nan), PitchRate: interval.Number(nan), Interval: u}
	}
	for i := range r.Motion.Pitch {
		r.Motion.Pitch[i] = float32(math.NaN())
	}
	for i := range r.Assumptions {
		r.Assumptions[i].ShimDegPerSigma, r.Assumptions[i].ShimDegPerSigmaAfter = interval.Number(nan), interval.Number(nan)
	}
	r.RangeLow, r.RangeHigh = nan, math.Inf(1)
	m["all NaN"] = r

	r = fixture()
	r.FootLoad, r.PitchCurve, r.ControlEffort, r.SpeedHistogram = r.FootLoad[:1], r.PitchCurve[:1], r.ControlEffort[:1], r.SpeedHistogram[:1]
	r.Law.Windows = r.Law.Windows[:1]
	for i := range r.Advice.Options {
		r.Advice.Options[i].Curve = r.Advice.Options[i].Curve[:1]
	}
	g := &r.Log.GPS
	g.Time, g.Lat, g.Lon, g.Speed, g.Course, g.Flags = g.Time[:1], g.Lat[:1], g.Lon[:1], g.Speed[:1], g.Course[:1], g.Flags[:1]
	m["one point"] = r

	r = fixture()
	r.FootLoad[3].FrontShare = interval.Interval{Value: 1e300, Low: -1e300, High: 1e305}
	r.PitchCurve[2].Pitch = interval.Exact(-1e200)
	r.Law.Windows[5].PitchCos, r.Law.Windows[6].LiftArea = 1e18, math.Inf(1)
	r.Motion.Heel[100] = float32(math.Inf(-1))
	r.Log.GPS.Speed[50], r.Log.GPS.Lat[60] = 3e38, 1e30
	r.SpeedHistogram[0].Seconds = 1e300
	r.Advice.FoilMove = interval.Exact(1e20)
	m["huge"] = r

	r = fixture()
	r.Ride = &ride.Session{}
	r.Rides, r.Totals = nil, analysis.Totals{}
	r.Advice, r.PitchLaw, r.Law, r.FootLoad, r.SpeedHistogram = nil, nil, nil, nil, nil
	m["no flight"] = r

	r = fixture()
	r.Setup.Foil.Stabilizer.Shim = 0.76e-3
	r.Advice.Shim, r.Advice.Cards, r.Advice.TakeOut = -0.76, -1, true
	r.Advice.Step.Raise *= -1
	fixtureLoad(r)
	m["take out"] = r
	return m
}

// broken is the trace of a broken number or a failed template in s, or "".
func broken(s string) string {
	for _, trace := range []string{"NaN", "+Inf", "-Inf", "%!", "<nil>", "ZgotmplZ", "undefined"} {
		if strings.Contains(s, trace) {
			return trace
		}
	}
	if null := "null degrees"; strings.Contains(strings.ToLower(s), null) {
		return null
	}
	return ""
}

// TestOddResults makes every page of odd and checks what all pages share.
func TestOddResults(t *testing.T) {
	for name, r := range odd() {
		p := pageOf(t, r, Options{})
		if m := broken(strings.ReplaceAll(p, "isNaN", "")); m != "" {
			t.Errorf("%s: the page shows %q", name, m)
		}
		for _, must := range []string{"<h1", "Every time", "maker's torque"} {
			if !strings.Contains(html.UnescapeString(p), must) {
				t.Errorf("%s: the page lacks %q", name, must)
			}
		}
		if strings.Contains(p, " style=") {
			t.Errorf("%s: an inline style, which the page's own policy forbids", name)
		}
		uniqueIDs(t, name, p)
		goodSVG(t, name, p)
		var b bytes.Buffer
		if err := Text(&b, r, TextOptions{}); err != nil {
			t.Fatal(err)
		}
		if m := broken(b.String()); m != "" {
			t.Errorf("%s: the terminal shows %q", name, m)
		}
	}
}

func uniqueIDs(t *testing.T, name, p string) {
	t.Helper()
	seen := map[string]bool{}
	for _, m := range regexp.MustCompile(` id="([^"]*)"`).FindAllStringSubmatch(p, -1) {
		if seen[m[1]] {
			t.Errorf("%s: the id %q is there twice", name, m[1])
		}
		seen[m[1]] = true
	}
	for _, m := range regexp.MustCompile(`(?:aria-labelledby|href)="#?([^"]*)"`).FindAllStringSubmatch(p, -1) {
		for id := range strings.FieldsSeq(m[1]) {
			if !seen[id] {
				t.Errorf("%s: nothing has the id %q", name, id)
			}
		}
	}
}

var inkClass = regexp.MustCompile(`class="([sdf]-[a-z0-9-]+|t-[a-z0-9-]+|part[a-z ]*|ghost|spacer)"`)

// drawings are the svg elements of a page, those within another as its part; one
// that does not end goes to the page's end.
func drawings(p string) (out []string) {
	for {
		_, rest, found := strings.Cut(p, "<svg")
		if !found {
			return out
		}
		end := 0
		for open := 1; open > 0 && end < len(rest); {
			closing := strings.Index(rest[end:], "</svg>")
			if closing < 0 {
				end = len(rest)
				break
			}
			open += strings.Count(rest[end:end+closing], "<svg") - 1
			end += closing + len("</svg>")
		}
		out = append(out, "<svg"+rest[:end])
		p = rest[end:]
	}
}

// goodSVG checks that drawings are well-formed XML, have title and
// description, and use inks that the style sheet knows.
func goodSVG(t *testing.T, name, p string) {
	t.Helper()
	known := map[string]bool{}
	for _, s := range drawings(p) {
		d := xml.NewDecoder(strings.NewReader(s))
		for {
			_, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: a drawing is broken: %v\n%.300s", name, err, s)
			}
		}
		if !strings.Contains(s, "aria-hidden") && !(strings.Contains(s, `role="img"`) && strings.Contains(s, "<title") && strings.Contains(s, "<desc")) {
			t.Errorf("%s: a drawing without role, title or description: %.120s", name, s)
		}
		for _, m := range inkClass.FindAllStringSubmatch(s, -1) {
			c := "." + strings.Fields(m[1])[0]
			if !known[c] && !regexp.MustCompile(regexp.QuoteMeta(c)+`[,{. :]`).MatchString(styleSheet) {
				t.Errorf("%s: the style sheet does not know %s", name, c)
			}
			known[c] = true
		}
	}
}

// TestHostileNames puts markup, direction marks and ten kilobytes where names go.
func TestHostileNames(t *testing.T) {
	evil := "<script>alert(1)</script>\u202egnp.exe\u2066\"'><img src=x onerror=alert(2)>" + "]]>{{.}}" + strings.Repeat("A", 10_000)
	r := fixture()
	r.Session.Title, r.Setup.Title, r.Setup.Rider.Name, r.Setup.Rider.Level, r.Setup.Rig.Kind = evil, evil, evil, evil, evil
	r.Setup.Feel[0].Said, r.Log.Files[0].Name, r.Log.Files[0].Device = evil, evil, evil
	r.Log.Files[0].Channels[0].Name, r.Log.Files[0].Dropped[0].Sensor, r.Log.GPS.SpeedFrom = evil, evil, evil
	r.Session.Warnings, r.Advice.Next = slices.Repeat([]analysis.Finding{evil}, 100), advice.Reason{Kind: advice.Kind(evil)}
	r.Advice.Why, r.Advice.WorthKnowing[0].Kind = []advice.Reason{{Kind: advice.Kind(evil)}}, advice.Kind(evil)
	r.Assumptions[0].Name, r.ControlEffort[0].Tack, r.Law.Windows[0].Reason = evil, evil, pitchlaw.Reason(evil)
	r.Rides[0].Tack = &evil
	r.OtherRider = &advice.OtherRider{Advice: *r.Advice, Name: evil, Notes: []advice.Reason{{Kind: advice.Kind(evil)}}}
	p := pageOf(t, r, Options{Version: evil})
	check := func(p string) {
		if len(p) > 1_000_000 {
			t.Errorf("the page has %d bytes", len(p))
		}
		if strings.ContainsAny(p, "\u202e\u2066") {
			t.Error("a mark that turns the reading direction got through")
		}
		if strings.Contains(p, strings.Repeat("A", 800)) {
			t.Error("a long name was not cut")
		}
		root, err := html.Parse(strings.NewReader(p))
		if err != nil {
			t.Fatal(err)
		}
		for n := range root.Descendants() {
			if n.Type != html.ElementNode {
				continue
			}
			if n.Data == "img" {
				t.Error("an <img> came out of a name")
			}
			for _, a := range n.Attr {
				if strings.HasPrefix(a.Key, "on") {
					t.Errorf("<%s> has %s=%q", n.Data, a.Key, a.Val)
				}
			}
			if n.Data == "script" && n.FirstChild != nil && n.FirstChild.Data != script && !json.Valid([]byte(n.FirstChild.Data)) {
				t.Errorf("a script of somebody else: %.80q", n.FirstChild.Data)
			}
		}
	}
	check(p)
	goodSVG(t, "hostile", p)
	var b bytes.Buffer
	if err := CompareHTML(&b, comparison([]*analysis.Result{r, r}, &advice.BeforeAfter{Verdict: evil, Changed: []advice.Difference{{Key: evil}}, Rows: []advice.Comparison{{Kind: advice.Kind(evil), Unit: evil, Outcome: advice.Kind(evil)}}}), Options{}); err != nil {
		t.Fatal(err)
	}
	check(b.String())
	b.Reset()
	if err := Text(&b, r, TextOptions{}); err != nil {
		t.Fatal(err)
	}
	if strings.ContainsAny(b.String(), "\u202e\u2066\x1b") || len(b.String()) > 3000 {
		t.Errorf("the terminal shows %d bytes: %.200q", b.Len(), b.String())
	}
}

// TestNoCoordinates holds that the place of a session stays private.
func TestNoCoordinates(t *testing.T) {
	r := fixture()
	lat, lon := "47.83", "12.46"
	if p := pageOf(t, r, Options{}); strings.Contains(p, lat) || strings.Contains(p, lon) || strings.Contains(p, "secret") {
		t.Error("the page gives a coordinate or a folder away")
	}
	if p := pageOf(t, r, Options{Coordinates: true}); !strings.Contains(p, "47.83") {
		t.Error("asked for coordinates, the page has none")
	}
}

// TestNothingFromOutside holds that the page asks for nothing.
func TestNothingFromOutside(t *testing.T) {
	p := pageOf(t, fixture(), Options{})
	p = strings.ReplaceAll(p, `"http://www.w3.org/2000/svg"`, "")
	for _, bad := range []string{"http:", "https:", "//cdn", "url(", "@import", "<link", "src="} {
		if strings.Contains(p, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	if !strings.Contains(p, "default-src &#39;none&#39;") {
		t.Error("the page has no policy against the network")
	}
}

// TestTwoHours holds the size: two hours at 10 Hz GPS and 100 Hz motion.
func TestTwoHours(t *testing.T) {
	r := fixture()
	rng := rand.New(rand.NewPCG(1, 2))
	g := &ingest.GPS{}
	for i := range 72_000 {
		t := float64(i) / 10
		g.Time = append(g.Time, t)
		g.Lat = append(g.Lat, 36+0.004*math.Sin(t/60)+0.002*rng.Float64()/1000)
		g.Lon = append(g.Lon, -5.6+0.01*math.Cos(t/97))
		g.Speed = append(g.Speed, float32(7+4*math.Sin(t/30)+0.3*rng.NormFloat64()))
		g.Course = append(g.Course, float32(math.Mod(t, 360)))
		g.Flags = append(g.Flags, 0)
	}
	r.Log.GPS = *g
	m := r.Motion
	m.Time, m.Pitch, m.Heel = nil, nil, nil
	for i := range 720_000 {
		m.Time = append(m.Time, float64(i)/100)
		m.Pitch = append(m.Pitch, float32(0.05*rng.NormFloat64()))
		m.Heel = append(m.Heel, float32(0.2*rng.NormFloat64()))
	}
	for len(r.Law.Windows) < 3000 {
		w := r.Law.Windows[rng.IntN(len(r.Law.Windows))]
		w.PitchCos += 0.01 * rng.NormFloat64()
		w.Speed += 0.3 * rng.NormFloat64()
		r.Law.Windows = append(r.Law.Windows, w)
	}
	r.Ride.Rides, r.Ride.Turns = nil, nil
	for t := 0.0; t < 7100; t += 60 {
		r.Ride.Rides = append(r.Ride.Rides, ride.Ride{Start: t, End: t + 50})
		r.Ride.Turns = append(r.Ride.Turns, ride.Turn{Start: t + 50, End: t + 60})
	}
	start := time.Now()
	p := pageOf(t, r, Options{})
	t.Logf("%d bytes in %v", len(p), time.Since(start))
	if len(p) > 1_000_000 {
		t.Errorf("the page of two hours has %d bytes, more than a megabyte", len(p))
	}
}

// TestNothingHalfWritten holds that a failing writer gets one write.
func TestNothingHalfWritten(t *testing.T) {
	var n int
	w := writerFunc(func(b []byte) (int, error) { n++; return 0, io.ErrClosedPipe })
	if err := HTML(w, fixture(), Options{}); !errors.Is(err, io.ErrClosedPipe) || n != 1 {
		t.Errorf("error %v after %d writes", err, n)
	}
	if err := CompareHTML(w, comparison([]*analysis.Result{fixture()}, nil), Options{}); err == nil {
		t.Error("comparing one session gives no error")
	}
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(b []byte) (int, error) { return f(b) }

// TestValidHTML runs html-validate where EVENFOOT_HTML_VALIDATE names it.
func TestValidHTML(t *testing.T) {
	exe := os.Getenv("EVENFOOT_HTML_VALIDATE")
	if exe == "" {
		browser.Skip(t, "EVENFOOT_HTML_VALIDATE does not name html-validate")
	}
	dir := t.TempDir()
	conf := filepath.Join(dir, "conf.json")
	// Off: matters of taste, and MathML, which the checker does not know.
	rules := `{"extends":["html-validate:recommended","html-validate:document"],"root":true,"rules":{"no-trailing-whitespace":"off","void-style":"off","no-inline-style":"error","long-title":"off","element-permitted-content":"error","prefer-native-element":"off","require-sri":"off","no-raw-characters":"off","doctype-style":"off","tel-non-breaking":"off"}}`
	if err := os.WriteFile(conf, []byte(rules), 0o600); err != nil {
		t.Fatal(err)
	}
	pages := map[string][]byte{"session": sessionPage(t), "compare": comparedPage(t, 8)}
	for name, r := range odd() {
		pages[strings.ReplaceAll(name, " ", "-")] = []byte(pageOf(t, r, Options{}))
	}
	args := []string{"--config", conf}
	for name, p := range pages {
		f := filepath.Join(dir, name+".html")
		if err := os.WriteFile(f, p, 0o600); err != nil {
			t.Fatal(err)
		}
		args = append(args, f)
	}
	if out, err := exec.Command(exe, args...).CombinedOutput(); err != nil {
		t.Errorf("%v\n%.4000s", err, out)
	}
}

func ExampleParseUnits() {
	u, err := words.ParseUnits("mph,in,lb")
	fmt.Println(u, err)
	// Output: {mph in lb false} <nil>
}
