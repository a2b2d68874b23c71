package report

import (
	"encoding/json"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"evenfoot/analysis"
	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/pitchlaw"
	"evenfoot/filter/align"
	"evenfoot/ingest"
	"evenfoot/report/chart"
	"evenfoot/report/words"
)

// What a picture shows, not what is written beside it: every test here reads
// coordinates back from the drawing.

var (
	pathElement = regexp.MustCompile(`<path class="([^"]*)"[^>]* d="([^"]*)"`)
	pathStep    = regexp.MustCompile(`([MLlhvz])([^MLlhvz]*)`)
	svgNumber   = regexp.MustCompile(`-?\d*\.?\d+`)
)

// paths are the outlines of a class, each as absolute points with y down.
func paths(svg, class string) [][]pt {
	var out [][]pt
	for _, m := range pathElement.FindAllStringSubmatch(svg, -1) {
		if m[1] != class {
			continue
		}
		var at pt
		var run []pt
		for _, s := range pathStep.FindAllStringSubmatch(m[2], -1) {
			var v []float64
			for _, n := range svgNumber.FindAllString(s[2], -1) {
				x, _ := strconv.ParseFloat(n, 64)
				v = append(v, x)
			}
			switch s[1] {
			case "M":
				if run != nil {
					out = append(out, run)
				}
				run, at = nil, pt{X: v[0], Y: v[1]}
			case "L":
				at = pt{X: v[0], Y: v[1]}
			case "l":
				at = pt{X: at.X + v[0], Y: at.Y + v[1]}
			case "h":
				at.X += v[0]
			case "v":
				at.Y += v[0]
			case "z":
				continue
			}
			run = append(run, at)
		}
		out = append(out, run)
	}
	return out
}

// box is the extent of points.
func box(ps []pt) (x0, x1, y0, y1 float64) {
	x0, x1, y0, y1 = math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, p := range ps {
		x0, x1 = math.Min(x0, p.X), math.Max(x1, p.X)
		y0, y1 = math.Min(y0, p.Y), math.Max(y1, p.Y)
	}
	return x0, x1, y0, y1
}

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol }

// TestTracesKeepTheirSigns: the chart's pitch is nose up +, its heel starboard
// down +, as the board's axes have them, in degrees; its speed is the reader's unit.
func TestTracesKeepTheirSigns(t *testing.T) {
	r := &analysis.Result{
		Log:    &ingest.Log{GPS: ingest.GPS{Time: []float64{0, 1}, Speed: []float32{5, 10}, Flags: []ingest.Flag{0, 1}}},
		Motion: &align.Motion{Mount: align.Mount{Rigid: true}, Time: []float64{0, 1}, Pitch: []float32{0.1, -0.05}, Heel: []float32{0.3, -0.2}},
	}
	want := map[string][2]float64{"speed": {5 * 3.6, math.NaN()}, "pitch": {0.1 / deg, -0.05 / deg}, "heel": {0.3 / deg, -0.2 / deg}}
	for _, x := range (&builder{r: r, u: words.Units{Speed: "kmh"}.OrDefault()}).traces() {
		for i, v := range want[x.label] {
			if _, got := x.at(i); !near(got, v, 1e-5) && !(math.IsNaN(got) && math.IsNaN(v)) {
				t.Errorf("%s, sample %d: %g, want %g", x.label, i, got, v)
			}
		}
		delete(want, x.label)
	}
	if len(want) > 0 {
		t.Errorf("no trace of %v", want)
	}
}

// TestEnvelopeKeepsExtremes: of each column the lowest and the highest value
// stay, in their order, and a silence becomes a gap.
func TestEnvelopeKeepsExtremes(t *testing.T) {
	v := []float64{0, 3, -2, 1, 1, 1, 5, 4}
	at := []float64{0, 1, 2, 3, 4, 5, 46, 47}
	x := trace{n: len(v), gap: 10, at: func(i int) (float64, float64) { return at[i], v[i] }}
	var got []string
	for _, p := range x.envelope(0, 50, 10) {
		got = append(got, strconv.FormatFloat(p.Y, 'g', -1, 64))
	}
	if s := strings.Join(got, " "); s != "3 -2 1 NaN 5 4" {
		t.Errorf("the envelope is %s", s)
	}
}

// TestTrackIsInMetres: at 60° north a degree of longitude is half as long as
// one of latitude (cos 60°; 111.195 km, the mean sphere of radius 6371 km).
func TestTrackIsInMetres(t *testing.T) {
	b := &builder{r: &analysis.Result{Log: &ingest.Log{GPS: ingest.GPS{Time: []float64{0, 1, 2, 3},
		Lat: []float64{60, 60.001, 60, 59.999}, Lon: []float64{179.9995, 179.9995, -179.9995, 179.9985}}}}}
	got := b.positions()
	if len(got) != 4 {
		t.Fatalf("%d places", len(got))
	}
	for i, want := range []pt{{X: 0, Y: 0}, {X: 0, Y: 111.195}, {X: 55.597, Y: 0}, {X: -55.597, Y: -111.195}} { // east, north
		if !near(got[i].at.X, want.X, 0.01) || !near(got[i].at.Y, want.Y, 0.01) {
			t.Errorf("fix %d: %.2f m east, %.2f m north, want %v", i, got[i].at.X, got[i].at.Y, want)
		}
	}
}

// TestTrackColoursBySpeedThroughWater: against the current the same speed over
// ground is more through the water, and the share's colour is that one's.
func TestTrackColoursBySpeedThroughWater(t *testing.T) {
	r := fixture()
	r.WaterFlow = &analysis.WaterFlow{East: interval.Exact(2), North: interval.Exact(0)}
	r.FootLoad = []analysis.LoadPoint{{Speed: 4, FrontShare: interval.Exact(0.30)}, {Speed: 6, FrontShare: interval.Exact(0.50)}, {Speed: 8, FrontShare: interval.Exact(0.70)}}
	r.Ride.Rides = r.Ride.Rides[:1]
	r.Ride.Rides[0].Start, r.Ride.Rides[0].End = 0, 10
	r.Log.GPS = ingest.GPS{Time: []float64{0, 1, 2}, Lat: []float64{0, 0, 0}, Lon: []float64{0, 1e-4, 0}, Speed: []float32{6, 6, 6}, Course: []float32{90, 270, 0}}
	for i, p := range (&builder{r: r, u: words.Units{}.OrDefault()}).positions() {
		if want := []int{1, 5, 3}[i]; p.class != want { // 4, 8 and √40 m/s
			t.Errorf("fix %d: class %d, want %d", i, p.class, want)
		}
	}
}

// TestSectionIsRightSideUp: with 4 % of camber and 12 % of thickness the upper
// side stands nearly 10 % of the chord above the chord line, the lower 3 % below;
// the leading edge is ahead, and the nose-heavy half is the thick one.
func TestSectionIsRightSideUp(t *testing.T) {
	x0, x1, y0, y1 := box(section(100, 0.12, 0.04))
	if !near(x0, -100, 1e-9) || !near(x1, 0, 1e-9) || !near(y0, -9.6, 0.2) || y1 < 2 || y1 > 4 {
		t.Errorf("from %.1f to %.1f along, %.1f up, %.1f down", x0, x1, -y0, y1)
	}
	ahead, behind := 0.0, 0.0
	for _, p := range section(100, 0.12, 0) {
		if p.X > -40 && -p.Y > ahead {
			ahead = -p.Y
		}
		if p.X < -60 && -p.Y > behind {
			behind = -p.Y
		}
	}
	if !near(ahead, 6, 0.1) || behind > 5 {
		t.Errorf("a symmetric section is %.1f thick ahead and %.1f behind", ahead, behind)
	}
	if p := moved([]pt{{X: 10, Y: 0}, {X: 0, Y: 5}}, pt{}, math.Pi/2, pt{X: 1, Y: 2}); !near(p[0].X, 1, 1e-9) || !near(p[0].Y, -8, 1e-9) || !near(p[1].X, 6, 1e-9) || !near(p[1].Y, 2, 1e-9) {
		t.Errorf("a quarter turn bow-up gives %v", p)
	}
}

// TestMountGeometry: on which side of the fuselage the stabilizer is, at which
// edge the shim, and which way the leading edge (right) turns.
func TestMountGeometry(t *testing.T) {
	for _, c := range []struct {
		mount          string
		shim           float64 // mm
		above, leading bool
	}{{"top", 0.76, true, true}, {"top", -0.76, true, false}, {"bottom", 0.76, false, false}, {"bottom", -0.76, false, true}} {
		r := fixture()
		r.Setup.Foil.Stabilizer.Mount, r.Advice.Shim = c.mount, interval.Number(c.shim)
		svg := string(mountDrawing(words.Units{}.OrDefault().Sheet(r), words.Units{}.OrDefault()))
		stab, spacer, fuselage := paths(svg, "part stab")[0], paths(svg, "spacer")[0], paths(svg, "part")[0]
		s0, s1, sTop, sBottom := box(stab)
		_, _, fTop, fBottom := box(fuselage)
		if above := (sTop+sBottom)/2 < (fTop+fBottom)/2; above != c.above {
			t.Errorf("%+v: the stabilizer is drawn above the fuselage: %v", c, above)
		}
		p0, p1, _, _ := box(spacer)
		if leading := (p0+p1)/2 > (s0+s1)/2; leading != c.leading {
			t.Errorf("%+v: the shim is drawn at the leading edge: %v", c, leading)
		}
		var le, te pt // the outline's ends
		for _, p := range stab {
			if p.X == s1 {
				le = p
			}
			if p.X == s0 {
				te = p
			}
		}
		if up := te.Y - le.Y; up*c.shim <= 0 {
			t.Errorf("%+v: the leading edge is drawn %.1f px above the trailing edge", c, up)
		}
		arrow := paths(svg, "s-now")[0]
		if up := arrow[0].Y - arrow[1].Y; up*c.shim <= 0 {
			t.Errorf("%+v: the arrow goes up by %.1f px", c, up)
		}
	}
}

// TestMoveDrawing: the mast goes to the nose (right) for a move forward, by as
// many ruler marks (1 cm) as the words say.
func TestMoveDrawing(t *testing.T) {
	for _, mm := range []float64{-20, 15} {
		r := fixture()
		r.Advice.MoveNow = interval.Number(mm)
		svg := string(moveDrawing(words.Units{}.OrDefault().Sheet(r), words.Units{}.OrDefault()))
		marks := paths(svg, "s-axis")
		perCm := marks[1][0].X - marks[0][0].X
		a0, a1, _, _ := box(paths(svg, "ghost")[0])
		b0, b1, _, _ := box(paths(svg, "part after")[0])
		if got := (b0 + b1 - a0 - a1) / 2; !near(got, perCm*mm/10, 0.3) {
			t.Errorf("%g mm: drawn as %.1f px, a mark is %.1f px", mm, got, perCm)
		}
		slot0, slot1, _, _ := box(paths(svg, "f-slot")[0]) // the fixture's track: 4 cm back, 5 cm forward
		if back, ahead := (a0+a1)/2-slot0, slot1-(a0+a1)/2; !near(back, 4*perCm, 0.3) || !near(ahead, 5*perCm, 0.3) {
			t.Errorf("the track reaches %.1f px back and %.1f px forward, a mark is %.1f px", back, ahead, perCm)
		}
	}
}

// TestSideDrawing: nose up is up, lift points up, a stabilizer that presses
// down points down, a stabilizer set nose-down stands nose-down against the
// wing, and each foot's arrow is as long as its load.
func TestSideDrawing(t *testing.T) {
	b := &builder{r: fixture(), u: words.Units{}.OrDefault()}
	b.r.Posterior.MAP.StabIncidence = -4 * deg
	is := interval.Exact
	svg := string(b.sideAt(0, analysis.Forces{Speed: 6, Pitch: is(6), WingLift: is(900), StabLift: is(-120), Drag: is(200), FrontShare: is(0.7), LoadPoint: is(170)}))
	foils := paths(svg, "part stab")
	if len(foils) != 2 {
		t.Fatalf("%d foils", len(foils))
	}
	chord := func(ps []pt) (angle float64, middle pt) {
		x0, x1, _, _ := box(ps)
		var le, te pt
		for _, p := range ps {
			if p.X == x1 {
				le = p
			}
			if p.X == x0 {
				te = p
			}
		}
		return math.Atan2(te.Y-le.Y, le.X-te.X) / deg, pt{X: (le.X + te.X) / 2, Y: (le.Y + te.Y) / 2}
	}
	wing, atWing := chord(foils[0])
	stab, atStab := chord(foils[1])
	if !near(wing, 7, 0.8) || !near(stab, 3, 0.8) { // pitch and 1° of incidence; 4° less
		t.Errorf("the wing stands at %.1f°, the stabilizer at %.1f°", wing, stab)
	}
	if !(atWing.X > atStab.X) || !(atWing.Y < atStab.Y) {
		t.Errorf("nose up, the wing is at %v and the stabilizer at %v", atWing, atStab)
	}
	lift := paths(svg, "f-now") // the arrows' heads, tip first
	if a := paths(svg, "s-now"); !(lift[0][0].Y < a[0][0].Y-80) || !(lift[1][0].Y > a[1][0].Y+5) {
		t.Errorf("the wing's lift goes from %v to %v, the stabilizer's from %v to %v", a[0][0], lift[0][0], a[1][0], lift[1][0])
	}
	if a := paths(svg, "s-drag")[0]; !(a[1].X < a[0].X) {
		t.Errorf("drag pulls from %v to %v", a[0], a[1])
	}
	feet, heads := paths(svg, "s-next"), paths(svg, "f-next")
	front, back := heads[0][0].Y-feet[0][0].Y, heads[1][0].Y-feet[1][0].Y
	if !(feet[0][0].X > feet[1][0].X) || !near(front/back, 0.7/0.3, 0.25) {
		t.Errorf("the front foot at %.0f px presses %.1f px, the back foot at %.0f px %.1f px", feet[0][0].X, front, feet[1][0].X, back)
	}
	if x0, x1, _, _ := box(heads[2]); !((x0+x1)/2 < feet[0][0].X) || !((x0+x1)/2 > (feet[0][0].X+feet[1][0].X)/2) {
		t.Errorf("the load point of 70 %% is drawn from %.0f to %.0f px", x0, x1)
	}
}

// TestWindowsByTack: squares are port tack, rounds starboard, crosses what was
// left out, each at its pitch in degrees.
func TestWindowsByTack(t *testing.T) {
	r := fixture()
	ws := r.Law.Windows[:3]
	ws[0].Tack, ws[0].PitchCos, ws[0].Weight, ws[0].Reason = -1, 1*deg, 1, ""
	ws[1].Tack, ws[1].PitchCos, ws[1].Weight, ws[1].Reason = 1, 2*deg, 1, ""
	ws[2].Tack, ws[2].PitchCos, ws[2].Weight, ws[2].Reason = 1, 3*deg, 0.1, ""
	r.Law.Windows = ws
	shapes := map[chart.Ink]chart.Shape{"port": chart.Square, "stbd": chart.Round, "out": chart.Cross}
	heights := map[chart.Ink]float64{"port": 1, "stbd": 2, "out": 3}
	for _, l := range (&builder{r: r}).windows().layers(func(w pitchlaw.Window) float64 { return w.Speed }) {
		d, ok := l.(chart.Dots)
		if !ok || len(d.Points) != 1 || d.Shape != shapes[d.Ink] || !near(d.Points[0].Y, heights[d.Ink], 1e-9) {
			t.Errorf("%+v", l)
		}
		delete(shapes, d.Ink)
	}
	if len(shapes) > 0 {
		t.Errorf("nothing drawn for %v", shapes)
	}
}

// TestHistogramIsMinutes: a bar is as high as the minutes there.
func TestHistogramIsMinutes(t *testing.T) {
	r := fixture()
	r.SpeedHistogram = []analysis.SpeedBin{{Low: 5, High: 6, Seconds: 90}}
	b := &builder{r: r, u: words.Units{Speed: "mps"}.OrDefault()}
	q := b.histogram().(chart.Boxes).Boxes[0]
	if q.Y0 != 0 || !near(q.Y1, 1.5, 1e-9) || q.X0 < 5 || q.X1 > 6 || q.X1-q.X0 < 0.8 {
		t.Errorf("%+v", q)
	}
}

// TestTornadoBars: what the log left of a doubt is the "now" bar, what was
// there before the other, and the bar of the largest is on top.
func TestTornadoBars(t *testing.T) {
	r := fixture()
	r.Assumptions = []analysis.Assumption{{Name: "small", ShimDegPerSigma: 0.2, ShimDegPerSigmaAfter: 0.1}, {Name: "large", ShimDegPerSigma: 0.8, ShimDegPerSigmaAfter: 0.6}}
	svg := string((&builder{r: r, u: words.Units{}.OrDefault()}).tornado().SVG[1])
	before, after := paths(svg, "f-hist"), paths(svg, "f-now")
	width := func(ps []pt) float64 { x0, x1, _, _ := box(ps); return x1 - x0 }
	if len(before) != 2 || len(after) != 2 || !near(width(before[0])/width(after[0]), 0.8/0.6, 0.02) || !near(width(before[1])/width(after[1]), 2, 0.05) ||
		!near(width(after[0])/width(after[1]), 6, 0.2) || !(after[0][0].Y < after[1][0].Y) {
		t.Errorf("before %v, after %v", before, after)
	}
}

// TestLawBand: away from the middle of the windows the fit's band is
// wider, by the covariance of zero and slope.
func TestLawBand(t *testing.T) {
	r := fixture()
	b := &builder{r: r, u: words.Units{}.OrDefault()}
	l := r.Law
	// Variance at lift area x: c00 + 2 c01 x + c11 x².
	l.Covariance = [2][2]float64{{1e-4, -1e-3}, {-1e-3, 1.2e-2}}
	f := b.liftArea()
	if f == nil {
		t.Fatal("no figure")
	}
	m := regexp.MustCompile(`(-?[\d.]+) \((-?[\d.]+) to (-?[\d.]+)\)`)
	scale := 1e4 * (r.Setup.Rider.Mass + r.Setup.Board.Mass)
	for _, w := range f.Table.Rows {
		area, _ := strconv.ParseFloat(w.X, 64)
		x := area / scale
		n := m.FindStringSubmatch(strings.ReplaceAll(w.Cells[1], "−", "-"))
		if n == nil {
			t.Fatalf("the table says %q", w.Cells[1])
		}
		lo, _ := strconv.ParseFloat(n[2], 64)
		hi, _ := strconv.ParseFloat(n[3], 64)
		want := 2 * 1.645 * math.Sqrt(1e-4-2e-3*x+1.2e-2*x*x) / deg
		if !near(hi-lo, want, 0.02) {
			t.Errorf("at %g cm² the band is %.2f° wide, want %.2f°", area, hi-lo, want)
		}
	}
}

// TestChartsInTheReadersUnits: knots, pounds and inches reach the picture and
// not only its labels. A knot is 1852/3600 m/s, a foot-pound 1.3558 N·m.
func TestChartsInTheReadersUnits(t *testing.T) {
	r := fixture()
	r.Advice, r.ControlEffort = nil, nil
	r.FootLoad = r.FootLoad[:0]
	for _, v := range []float64{6, 8, 10} {
		r.FootLoad = append(r.FootLoad, analysis.LoadPoint{Speed: interval.Number(v), FrontShare: interval.Exact(0.5), Moment: interval.Exact(10), Gradient: interval.Interval{Value: v, Low: v - 1, High: v + 1}})
		r.ControlEffort = append(r.ControlEffort, analysis.EffortPoint{Speed: interval.Number(v), PitchRate: 1, Interval: interval.Interval{Value: 1, Low: 0.5, High: 2}})
	}
	b := &builder{r: r, u: words.Units{Speed: "kn", Mass: "lb"}.OrDefault()}
	lowest := func(f *figure, class string) (x0, x1, up float64) { // in data units across, px up
		svg := string(f.SVG[1])
		m := regexp.MustCompile(`data-left="([\d.]+)" data-right="([\d.]+)" data-lo="([^"]+)" data-hi="([^"]+)"`).FindStringSubmatch(svg)
		if m == nil {
			t.Fatalf("no map in %.300s", svg)
		}
		var v [4]float64
		for i := range v {
			v[i], _ = strconv.ParseFloat(m[i+1], 64)
		}
		a, z, top, bottom := box(paths(svg, class)[0])
		at := func(px float64) float64 { return v[2] + (px-v[0])/(v[1]-v[0])*(v[3]-v[2]) }
		return at(a), at(z), bottom - top
	}
	x0, x1, line := lowest(b.gradient(), "s-now")
	if !near(x0, 6/kn, 0.05) || !near(x1, 10/kn, 0.05) {
		t.Errorf("6 to 10 m/s are drawn from %.2f to %.2f kn", x0, x1)
	}
	// The band is one unit of the gradient about the line: 6 to 10 ± 1.
	if _, _, area := lowest(b.gradient(), "f-now-band"); !near(area/line, 6.0/4, 0.03) {
		t.Errorf("the band is %.2f times as high as its line, want 1.5", area/line)
	}
	effort := b.effort()
	all := paths(string(effort.SVG[1]), "s-now")
	if len(all) != 3 {
		t.Fatalf("%d whiskers", len(all))
	}
	if e0, _, _ := lowest(effort, "s-now"); !near(e0, 6/kn, 0.1) {
		t.Errorf("the effort at 6 m/s is drawn at %.2f kn", e0)
	}
}

// TestMarksStandWhereTheyHappened: a turn in the middle of its span along the
// top, a touchdown at its time along the bottom.
func TestMarksStandWhereTheyHappened(t *testing.T) {
	r := fixture()
	r.Ride.Turns = r.Ride.Turns[:1]
	r.Ride.Turns[0].Start, r.Ride.Turns[0].End = 100, 110
	r.Ride.Events = r.Ride.Events[:2]
	r.Ride.Events[0].Kind, r.Ride.Events[1].Kind, r.Ride.Events[1].Time = "take-off", "touchdown", 180
	var got []string
	for _, l := range (&builder{r: r}).marks(chart.Range{Lo: 0, Hi: 10}) {
		for _, p := range l.(chart.Dots).Points {
			got = append(got, string(l.(chart.Dots).Ink)+strconv.FormatFloat(p.X, 'g', 4, 64)+"/"+strconv.FormatFloat(p.Y, 'g', 4, 64))
		}
	}
	if s := strings.Join(got, " "); s != "turn105/9.5 touch180/0.5" {
		t.Errorf("marks at %s", s)
	}
	var out struct {
		Lo, Step float64
		Ride     []int
	}
	r.Ride.Rides = r.Ride.Rides[:1]
	r.Ride.Rides[0].Start, r.Ride.Rides[0].End = 150, 190
	if err := json.Unmarshal([]byte((&builder{r: r}).samples(nil, 50, 250, 100)), &out); err != nil {
		t.Fatal(err)
	}
	if out.Lo != 50 || out.Step != 2 || len(out.Ride) != 2 || out.Ride[0] != 50 || out.Ride[1] != 70 {
		t.Errorf("the read-out has %+v", out)
	}
}

// TestTimeByShare: the classes of the track's sentence, by time at speed.
func TestTimeByShare(t *testing.T) {
	r := fixture()
	r.FootLoad = nil
	for i, s := range []float64{0.30, 0.50, 0.58, 0.70} {
		r.FootLoad = append(r.FootLoad, analysis.LoadPoint{Speed: interval.Number(5 + i), FrontShare: interval.Exact(s)})
	}
	r.SpeedHistogram = []analysis.SpeedBin{{Low: 4.5, High: 5.5, Seconds: 60}, {Low: 5.5, High: 6.5, Seconds: 120}, {Low: 6.5, High: 7.5, Seconds: 180}, {Low: 7.5, High: 8.5, Seconds: 240}}
	const want = "Of 10 min on the foil, the load was even for 20 %; the front foot carried more than 60 % of it for 40 %; the front foot carried less than 40 % of it for 10 %."
	if got := strings.ReplaceAll((&builder{r: r, u: words.Units{}.OrDefault()}).trackSays(), words.NBSP, " "); got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
}

// TestDirections: a current to the east sets to 090; the mast slides back by
// the track's negative end.
func TestDirections(t *testing.T) {
	r := fixture()
	u := words.Units{}.OrDefault()
	for _, c := range []struct {
		east, north float64
		want        string
	}{{0.5, 0, " 90 "}, {0, 0.5, " 0 "}, {0, -0.5, " 180 "}, {-0.5, 0, " 270 "}} {
		r.WaterFlow = &analysis.WaterFlow{East: interval.Exact(c.east), North: interval.Exact(c.north), Source: "given"}
		if got := u.Current(r); !strings.Contains(got, "towards"+c.want+"degrees") {
			t.Errorf("%g east, %g north: %s", c.east, c.north, got)
		}
	}
	for _, g := range newPage(r, Options{Units: u}).Given() {
		if g.Name == "Mast can still slide" && strings.ReplaceAll(g.Value, words.NBSP, " ") != "4.0 cm back, 5.0 cm forward" {
			t.Errorf("%s: %s", g.Name, g.Value)
		}
	}
}

// TestComparedSigns: differences are each session minus the first, and starboard
// minus port; pitch laws are drawn by degrees per 100 cm².
func TestComparedSigns(t *testing.T) {
	rs := fixtures(2)
	for i, r := range rs {
		r.PitchLaw.Bend = []analysis.Bend{{Name: pitchlaw.TackDifference, Size: interval.Exact(1 + float64(i))}}
		r.PitchLaw.Slope = interval.Exact(100 * float64(1+i)) // degrees per m²: 1 and 2 per 100 cm²
		r.BestSpeeds.TenSeconds = interval.Number(float64(10+i) * kn)
		r.Advice.EvennessNow = interval.Exact(0.10 - 0.04*float64(i))
	}
	u := words.Units{}.OrDefault()
	p, err := newCompared(comparison(rs, &advice.BeforeAfter{}), u)
	if err != nil {
		t.Fatal(err)
	}
	row := p.differences().Rows[0].Cells
	for i, want := range map[int]string{2: "1.00", 3: "1.0", 4: "1.0"} {
		if !strings.HasPrefix(row[i], want) {
			t.Errorf("column %d is %q, want %s", i, row[i], want)
		}
	}
	if a := p.all[0]; !near(a.Tacks().Value, 1, 1e-9) || !near(a.slope().Value, 1, 1e-9) {
		t.Errorf("tacks %v, slope %v", a.Tacks(), a.slope())
	}
	law := string(p.overlayLaw().SVG[1])
	_, _, t1, b1 := box(paths(law, "s-now")[0])
	_, _, t2, b2 := box(paths(law, "s-next")[0])
	ticks := regexp.MustCompile(`<text class="t-text" x="[^"]*" y="([^"]*)"[^>]*text-anchor="end"[^>]*>(\d+)</text>`).FindAllStringSubmatch(law, -1)
	if len(ticks) < 2 {
		t.Fatalf("no ticks in %.2000s", law)
	}
	y0, _ := strconv.ParseFloat(ticks[0][1], 64)
	y1, _ := strconv.ParseFloat(ticks[1][1], 64)
	perDegree := (y0 - y1) / (number(ticks[1][2]) - number(ticks[0][2]))
	if !near(b1-t1, 6*perDegree, 1) || !near(b2-t2, 12*perDegree, 1) { // at 600 cm²
		t.Errorf("the lines rise by %.0f and %.0f px, a degree is %.1f px", b1-t1, b2-t2, perDegree)
	}
}
