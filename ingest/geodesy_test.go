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

// unproject maps metres back to degrees, by Newton's method.
func (p *plane) unproject(east, north float64) (lat, lon float64) {
	lat0, lon0 := math.Atan2(p.sinLat, p.cosLat)*180/math.Pi, math.Atan2(p.sinLon, p.cosLon)*180/math.Pi
	lat, lon = lat0, lon0
	for range 8 {
		e, n := p.project(lat, lon)
		lat += (north - n) / wgsA * 180 / math.Pi
		lon += (east - e) / (wgsA * p.cosLat) * 180 / math.Pi
	}
	return lat, lon
}

func dms(d, m, s float64) float64 {
	return math.Copysign(math.Abs(d)+m/60+s/3600, d)
}

// TestPlane: distance and azimuth from the origin against published geodesics,
// within the plane's own bound of r³/6R².
func TestPlane(t *testing.T) {
	for _, c := range []struct {
		source                 string
		lat1, lon1, lat2, lon2 float64
		metres, azimuth        float64
	}{
		// The GDA line is on GRS80, whose flattening differs by 1.5e-11: below
		// 0.1 mm here (from memory).
		{"GDA technical manual, Flinders Peak to Buninyong",
			dms(-37, 57, 3.72030), dms(144, 25, 29.52440), dms(-37, 39, 10.15610), dms(143, 55, 35.38390),
			54972.271, dms(306, 52, 5.37)},
		{"WGS 84 spans, GeographicLib", 0, 0, 0, 1, 111319.490793, 90},
		{"WGS 84 spans, GeographicLib", 0, 0, 1, 0, 110574.388558, 0},
		{"WGS 84 spans, GeographicLib", 45, 0, 46, 0, 111141.548474, 0},
		{"WGS 84 spans, GeographicLib", 45, 0, 45, 1, 78846.334710, math.NaN()},
	} {
		p := newPlane(c.lat1, c.lon1)
		e, n := p.project(c.lat2, c.lon2)
		bound := math.Pow(c.metres, 3) / 6 / math.Pow(6.33e6, 2)
		if short := c.metres - math.Hypot(e, n); short < 0 || short > 1.02*bound {
			t.Errorf("%s: %.3f m short of %.3f, want at most %.3f", c.source, short, c.metres, bound)
		}
		if az := math.Atan2(e, n) * 180 / math.Pi; math.Abs(math.Remainder(az-c.azimuth, 360)) > 0.002 {
			t.Errorf("%s: azimuth %.5f, want %.5f", c.source, az, c.azimuth)
		}
	}
	p := newPlane(52.3, 4.9)
	for _, e := range []float64{-15000, -3, 0, 0.001, 700, 12000} {
		for _, n := range []float64{-9000, 0, 0.5, 14000} {
			x, y := p.project(p.unproject(e, n))
			if math.Hypot(x-e, y-n) > 1e-6 {
				t.Errorf("(%g, %g) comes back as (%g, %g)", e, n, x, y)
			}
		}
	}
	if e, n := p.project(math.NaN(), 0); e == e || n == n {
		t.Error("a place that is not known is projected")
	}
}

// TestAgainstGeodSolve compares lines of up to 20 km with GeographicLib's
// program: 1 mm per km is asked for.
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
	var planes []plane
	var lines [][4]float64
	for range 3000 {
		p := newPlane(r.Float64()*170-85, r.Float64()*360-180)
		// A line whose nearest point to the origin lies half its length away.
		length, turn := math.Pow(10, 2+r.Float64()*2.3), r.Float64()*2*math.Pi
		s, c := math.Sincos(turn)
		lat1, lon1 := p.unproject(length/2*c, length/2*s)
		lat2, lon2 := p.unproject(length/2*c-length*s, length/2*s+length*c)
		planes = append(planes, p)
		lines = append(lines, [4]float64{lat1, lon1, lat2, lon2})
		fmt.Fprintf(&in, "%.17g %.17g %.17g %.17g\n", lat1, lon1, lat2, lon2)
	}
	cmd := exec.Command(bin, "-i", "-p", "10")
	cmd.Stdin = strings.NewReader(in.String())
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	worst := 0.0
	sc := bufio.NewScanner(strings.NewReader(string(out)))
	for i := 0; sc.Scan(); i++ {
		var az1, az2, want float64
		if _, err := fmt.Sscan(sc.Text(), &az1, &az2, &want); err != nil {
			t.Fatal(err)
		}
		x1, y1 := planes[i].project(lines[i][0], lines[i][1])
		x2, y2 := planes[i].project(lines[i][2], lines[i][3])
		worst = max(worst, math.Abs(math.Hypot(x2-x1, y2-y1)-want)/want)
	}
	t.Logf("worst scale error %.2g", worst)
	if worst > 3e-6 {
		t.Errorf("worst scale error %.3g over 20 km", worst)
	}
}
