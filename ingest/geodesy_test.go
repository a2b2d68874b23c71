package ingest

import (
	"bufio"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"
)

func dms(d, m, s float64) float64 {
	return math.Copysign(math.Abs(d)+m/60+s/3600, d)
}

func TestInverse(t *testing.T) {
	for _, c := range []struct {
		source                 string
		lat1, lon1, lat2, lon2 float64
		metres, tol            float64
		az1, az2, azTol        float64
	}{
		// The GDA line is on GRS80, whose flattening differs by 1.5e-11: below
		// 0.1 mm here. Status V L. The manual's reverse azimuth is 180° from ours.
		{"GDA technical manual, Flinders Peak to Buninyong",
			dms(-37, 57, 3.72030), dms(144, 25, 29.52440), dms(-37, 39, 10.15610), dms(143, 55, 35.38390),
			54972.271, 1e-3, dms(306, 52, 5.37), dms(127, 10, 25.07) + 180, 0.01 / 3600},
		{"C. F. F. Karney, GeodTest data set (V L)",
			36.530042355041, 0, -48.164270779097768864, 5.762344694676510456,
			9398502.0434687, 1e-3, 176.125875162171, 175.334308316285411, 1e-8},
		{"GeographicLib documentation, GeodSolve example (L)",
			40.6, -73.8, 51.6, -0.5, 5551759.400319, 1e-3, 51.19888285, 107.82177674, 1e-8},
		{"WGS 84 spans (L)", 0, 0, 0, 1, 111319.490793, 1e-3, 90, 90, 1e-9},
		{"WGS 84 spans (L)", 0, 0, 1, 0, 110574.388558, 1e-3, 0, 0, 1e-9},
		{"WGS 84 spans (L)", 45, 0, 46, 0, 111141.548474, 1e-3, 0, 0, 1e-9},
		{"WGS 84 spans (L)", 45, 0, 45, 1, 78846.334710, 1e-3, math.NaN(), math.NaN(), 0},
	} {
		d, az1, az2 := Inverse(c.lat1, c.lon1, c.lat2, c.lon2)
		if math.Abs(d-c.metres) > c.tol {
			t.Errorf("%s: %.6f m, want %.6f", c.source, d, c.metres)
		}
		if math.Abs(az1-c.az1) > c.azTol || math.Abs(az2-math.Mod(c.az2, 360)) > c.azTol {
			t.Errorf("%s: azimuths %.8f, %.8f, want %.8f, %.8f", c.source, az1, az2, c.az1, c.az2)
		}
		lat, lon := Direct(c.lat1, c.lon1, az1, d)
		if math.Abs(lat-c.lat2) > 2e-9 || math.Abs(math.Remainder(lon-c.lon2, 360)) > 2e-9 {
			t.Errorf("%s: direct gives %.10f %.10f, want %.10f %.10f", c.source, lat, lon, c.lat2, c.lon2)
		}
	}
}

func TestDistanceEdges(t *testing.T) {
	if d := Distance(45, 7, 45, 7); d != 0 {
		t.Errorf("same point: %v", d)
	}
	if d := Distance(0, 179.9999, 0, -179.9999); math.Abs(d-22.2639) > 1e-3 {
		t.Errorf("across 180°: %v", d)
	}
	if d := Distance(math.NaN(), 0, 1, 1); !math.IsNaN(d) {
		t.Errorf("NaN: %v", d)
	}
	for _, p := range [][4]float64{{0, 0, 0, 180}, {0, 0, 0.1, 179.9}, {90, 0, -90, 0}, {30, 0, -30, 180}} {
		// The quarter meridian is 10001965.729 m; half the equator 20037508.3 m.
		if d := Distance(p[0], p[1], p[2], p[3]); d < 19.8e6 || d > 20.1e6 {
			t.Errorf("nearly antipodal %v: %v", p, d)
		}
	}
}

// TestAgainstGeodSolve compares lines of up to 20 km with GeographicLib's
// program: 1 mm per km is asked for, 1 µm per km is had.
func TestAgainstGeodSolve(t *testing.T) {
	bin, err := exec.LookPath("GeodSolve")
	if err != nil {
		if os.Getenv("EVENFOOT_CI") == "1" {
			t.Fatal("GeographicLib's GeodSolve is not installed")
		}
		t.Skip("GeographicLib's GeodSolve is not installed")
	}
	r := rand.New(rand.NewPCG(9, 15))
	var in strings.Builder
	var lines [][4]float64
	for range 3000 {
		lat, lon := r.Float64()*170-85, r.Float64()*360-180
		lat2, lon2 := Direct(lat, lon, r.Float64()*360, math.Pow(10, r.Float64()*5.3-1))
		lines = append(lines, [4]float64{lat, lon, lat2, lon2})
		fmt.Fprintf(&in, "%.17g %.17g %.17g %.17g\n", lat, lon, lat2, lon2)
	}
	cmd := exec.Command(bin, "-i", "-p", "10")
	cmd.Stdin = strings.NewReader(in.String())
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	worst, worstPlane := 0.0, 0.0
	sc := bufio.NewScanner(strings.NewReader(string(out)))
	for i := 0; sc.Scan(); i++ {
		var az1, az2, want float64
		if _, err := fmt.Sscan(sc.Text(), &az1, &az2, &want); err != nil {
			t.Fatal(err)
		}
		l := lines[i]
		if e := math.Abs(Distance(l[0], l[1], l[2], l[3]) - want); e > 1e-9*want+1e-7 {
			t.Errorf("%v: off by %.3g m in %.3f m", l, e, want)
		} else if want > 100 {
			worst = max(worst, e/want)
		}
		if want > 100 && want < 20e3 {
			// A plane whose origin lies half-way off the line's first end.
			p := Plane{l[0], l[1]}
			p.Lat, p.Lon = Direct(l[0], l[1], az1+90, want/2)
			x1, y1 := p.Project(l[0], l[1])
			x2, y2 := p.Project(l[2], l[3])
			worstPlane = max(worstPlane, math.Abs(math.Hypot(x2-x1, y2-y1)-want)/want)
		}
	}
	t.Logf("worst: geodesic %.2g, plane %.2g (relative)", worst, worstPlane)
	if worstPlane > 1e-6 {
		t.Errorf("plane: worst scale error %.3g, want below 1 mm per km", worstPlane)
	}
}

func TestPlaneRoundTrip(t *testing.T) {
	p := Plane{Lat: 52.3, Lon: 4.9}
	for _, e := range []float64{-15000, -3, 0, 0.001, 700, 12000} {
		for _, n := range []float64{-9000, 0, 0.5, 14000} {
			x, y := p.Project(p.Unproject(e, n))
			if math.Hypot(x-e, y-n) > 1e-6 {
				t.Errorf("(%g, %g) comes back as (%g, %g)", e, n, x, y)
			}
		}
	}
}

func BenchmarkDistance(b *testing.B) {
	for b.Loop() {
		Distance(52.3, 4.9, 52.3001, 4.9001)
	}
}
