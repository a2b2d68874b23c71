package ingest

import "math"

// WGS 84, NIMA TR8350.2 (2000): semi-major axis, m, and first eccentricity
// squared from the flattening.
const (
	wgsA  = 6378137.0
	wgsF  = 1 / 298.257223563
	wgsE2 = wgsF * (2 - wgsF)
)

// A plane is a map of the surroundings of one point in metres east and north
// of it: what lies there on the WGS 84 ellipsoid, seen along the vertical of the
// origin. A length r metres away is right to r²/6R² (0.4 mm per km at 10 km,
// 1.6 mm per km at 20 km).
type plane struct {
	origin                         [3]float64 // m, earth-centred
	sinLat, cosLat, sinLon, cosLon float64
}

func newPlane(lat, lon float64) plane {
	p := plane{origin: earthCentred(lat, lon)}
	p.sinLat, p.cosLat = math.Sincos(lat * math.Pi / 180)
	p.sinLon, p.cosLon = math.Sincos(lon * math.Pi / 180)
	return p
}

// project maps degrees to metres east and north of the origin. NaN in gives
// NaN out.
//
// Reference: B. Hofmann-Wellenhof, H. Lichtenegger, J. Collins, Global
// Positioning System: Theory and Practice, 5th ed., 2001, section 10.2 (from
// memory).
func (p *plane) project(lat, lon float64) (east, north float64) {
	e := earthCentred(lat, lon)
	x, y, z := e[0]-p.origin[0], e[1]-p.origin[1], e[2]-p.origin[2]
	return p.cosLon*y - p.sinLon*x, p.cosLat*z - p.sinLat*(p.cosLon*x+p.sinLon*y)
}

// earthCentred is a point of the ellipsoid in metres from the earth's centre,
// towards 0° N 0° E, 0° N 90° E and the pole.
func earthCentred(lat, lon float64) [3]float64 {
	sinLat, cosLat := math.Sincos(lat * math.Pi / 180)
	sinLon, cosLon := math.Sincos(lon * math.Pi / 180)
	n := wgsA / math.Sqrt(1-wgsE2*sinLat*sinLat) // to the polar axis, along the vertical
	return [3]float64{n * cosLat * cosLon, n * cosLat * sinLon, n * (1 - wgsE2) * sinLat}
}
