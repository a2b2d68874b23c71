package chart

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

func svgOf(t *testing.T, ps ...*Panel) string {
	t.Helper()
	s := Figure{Picture: Picture{ID: "x", Class: "wide", Title: "T <b>", Desc: "D & d", Width: 400, Height: 200}, Panels: ps}.SVG()
	d := xml.NewDecoder(strings.NewReader(s))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return s
		} else if err != nil {
			t.Fatalf("not XML: %v\n%s", err, s)
		}
	}
}

// path is the d attribute of the first path with the class.
func path(s, class string) string {
	m := regexp.MustCompile(`class="` + class + `"[^>]* d="([^"]*)"`).FindStringSubmatch(s)
	if m == nil {
		return ""
	}
	return m[1]
}

func TestGapsSplitLines(t *testing.T) {
	nan := math.NaN()
	s := svgOf(t, &Panel{Layers: []Layer{Line{Points: []XY{{0, 0}, {1, 1}, {2, nan}, {3, 1}, {4, math.Inf(1)}, {5, 2}, {6, 1e30}, {7, 2}, {8, 3}}, Ink: "a"}}})
	if n := strings.Count(path(s, "s-a"), "M"); n != 4 {
		t.Errorf("%d pieces, want 4: %s", n, path(s, "s-a"))
	}
	s = svgOf(t, &Panel{Layers: []Layer{Band{Points: []Sample{{0, 0, 0, 1}, {1, 0, 0, 1}, {2, 0, nan, 1}, {3, 0, 0, 1}, {4, 0, 0, 1}}, Ink: "b"}}})
	if n := strings.Count(path(s, "f-b"), "z"); n != 2 {
		t.Errorf("%d bands, want 2", n)
	}
}

func TestFewOrNoPoints(t *testing.T) {
	for name, layers := range map[string][]Layer{
		"none":     nil,
		"empty":    {Line{Ink: "a"}, Dots{Ink: "a"}, Band{Ink: "a"}, Boxes{Ink: "a"}, Whiskers{Ink: "a"}},
		"one":      {Line{Points: []XY{{5, 5}}, Ink: "a"}, Dots{Points: []XY{{5, 5}}, Ink: "a"}},
		"NaN":      {Line{Points: []XY{{math.NaN(), 1}}, Ink: "a"}, Note{At: XY{math.NaN(), 0}, Text: "n"}, Rule{At: math.NaN(), Ink: "a"}},
		"same":     {Line{Points: []XY{{1, 2}, {1, 2}, {1, 2}}, Ink: "a"}},
		"huge":     {Line{Points: []XY{{-9e8, -9e8}, {9e8, 9e8}}, Ink: "a"}},
		"tiny":     {Line{Points: []XY{{1, 1}, {1 + 1e-15, 1 + 1e-15}}, Ink: "a"}},
		"insane":   {Boxes{Boxes: []Box{{0, 1, 0, 1e300}}, Ink: "a"}, Whiskers{Items: []Sample{{0, 1, math.Inf(-1), math.Inf(1)}}, Ink: "a"}},
		"unsorted": {Line{Points: []XY{{3, 1}, {1, 2}, {2, 0}}, Ink: "a"}},
	} {
		s := svgOf(t, &Panel{XLabel: "x", YLabel: "y", Layers: layers}, &Panel{Equal: true, Layers: layers})
		if strings.Contains(s, "NaN") || strings.Contains(s, "Inf") {
			t.Errorf("%s: a broken number in %s", name, s)
		}
		if len(s) > 20_000 {
			t.Errorf("%s: %d bytes", name, len(s))
		}
	}
}

func TestEscapes(t *testing.T) {
	s := svgOf(t, &Panel{XLabel: `<script>"&`, Layers: []Layer{Note{At: XY{0, 0}, Text: "</svg><img>"}, Line{Points: []XY{{0, 0}, {1, 1}}, Ink: "a"}}})
	if strings.Contains(s, "<script") || strings.Contains(s, "<img") || strings.Contains(s, "<b>") {
		t.Errorf("markup got through: %s", s)
	}
}

// TestReadOutMap: data-left and data-right are where data-lo and data-hi are drawn.
func TestReadOutMap(t *testing.T) {
	s := svgOf(t, &Panel{X: Range{10, 20}, YLabel: "y", Layers: []Layer{Line{Points: []XY{{10, 0}, {20, 1000}}, Ink: "a"}}})
	m := regexp.MustCompile(`data-left="([\d.]+)" data-right="([\d.]+)" data-lo="10" data-hi="20"`).FindStringSubmatch(s)
	if m == nil {
		t.Fatalf("no map in %.300s", s)
	}
	if d := path(s, "s-a"); !strings.HasPrefix(d, "M"+m[1]+" ") {
		t.Errorf("the line starts at %.12s, the map says %s", d, m[1])
	}
}

func TestTicks(t *testing.T) {
	for _, c := range []struct {
		lo, hi float64
		n      int
		want   string
	}{
		{0, 10, 5, "0 2 4 6 8 10"},
		{-1, 1, 4, "−1.0 −0.5 0.0 0.5 1.0"},
		{9.7, 23.6, 3, "10 15 20"},
		{0, 0.011, 5, "0.000 0.002 0.004 0.006 0.008 0.010"},
		{0, 0, 5, ""},
		{math.NaN(), 1, 5, ""},
		{-9e8, 9e8, 4, "−500000000 0 500000000"},
	} {
		var got []string
		for _, k := range (Ticks{Count: c.n}).Ticks(c.lo, c.hi) {
			got = append(got, k.Label)
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%v to %v: %s, want %s", c.lo, c.hi, s, c.want)
		}
	}
	var got []string
	for _, k := range (ClockTicks{5}).Ticks(0, 7200) {
		got = append(got, k.Label)
	}
	if s := strings.Join(got, " "); s != "0 30 1:00 1:30 2:00" {
		t.Errorf("two hours: %s", s)
	}
}

func BenchmarkLine(b *testing.B) {
	var ps []XY
	for i := range 72_000 {
		ps = append(ps, XY{float64(i), math.Sin(float64(i) / 30)})
	}
	for b.Loop() {
		Figure{Picture: Picture{ID: "x", Width: 720, Height: 300}, Panels: []*Panel{{Layers: []Layer{Line{Points: ps, Ink: "a"}}}}}.SVG()
	}
}

// TestUpIsUp: more is higher and further right, and a metre is a metre both ways
// where the panel asks for it.
func TestUpIsUp(t *testing.T) {
	s := svgOf(t, &Panel{X: Range{0, 100}, Y: Range{0, 100}, Equal: true, Layers: []Layer{Boxes{Boxes: []Box{{20, 40, 50, 60}}, Ink: "a"}, Rule{At: 10, Ink: "b"}, Rule{At: 90, Ink: "c"}, Rule{At: 10, Vertical: true, Ink: "d"}}})
	point := func(class string) (x, y float64) {
		m := regexp.MustCompile(`^M(-?[\d.]+)[ ]?(-?[\d.]+)`).FindStringSubmatch(path(s, class))
		if m == nil {
			t.Fatalf("no %s in %s", class, s)
		}
		x, _ = strconv.ParseFloat(m[1], 64)
		y, _ = strconv.ParseFloat(m[2], 64)
		return x, y
	}
	_, low := point("s-b")
	_, high := point("s-c")
	left, _ := point("s-d")
	right, bottom := point("f-a")
	if !(high < bottom && bottom < low && left < right) {
		t.Errorf("10 at %g px, 50 at %g px, 90 at %g px down; 10 at %g px, 20 at %g px across", low, bottom, high, left, right)
	}
	m := regexp.MustCompile(`h(-?[\d.]+)v(-?[\d.]+)`).FindStringSubmatch(path(s, "f-a"))
	if m == nil {
		t.Fatalf("the box is %s", path(s, "f-a"))
	}
	w, _ := strconv.ParseFloat(m[1], 64)
	h, _ := strconv.ParseFloat(m[2], 64)
	if w <= 0 || math.Abs(w/-h-2) > 0.1 {
		t.Errorf("20 by 10 m are drawn %g by %g px", w, -h)
	}
}

// TestWhiskers: lying down the value is across, standing up it is upward.
func TestWhiskers(t *testing.T) {
	for _, upright := range []bool{false, true} {
		s := svgOf(t, &Panel{X: Range{0, 10}, Y: Range{0, 10}, Layers: []Layer{Whiskers{Items: []Sample{{X: 2, Value: 5, Lo: 4, Hi: 8}}, Ink: "a", Upright: upright}}})
		if d := path(s, "s-a"); strings.Contains(d, "v") != upright || strings.Contains(d, "h") == upright {
			t.Errorf("upright %v: %s", upright, d)
		}
	}
}

// TestAxisTitles: the y axis is titled from bottom to top.
func TestAxisTitles(t *testing.T) {
	s := svgOf(t, &Panel{XLabel: "across", YLabel: "upward", Layers: []Layer{Line{Points: []XY{{0, 0}, {1, 1}}, Ink: "a"}}})
	if !regexp.MustCompile(`rotate\(-90 [^>]*>upward<`).MatchString(s) || regexp.MustCompile(`rotate[^>]*>across<`).MatchString(s) {
		t.Error(s)
	}
}
