package ingest

import (
	"math"
)

// WGS 84, NIMA TR8350.2 (2000): semi-major axis and flattening.
const (
	wgsA = 6378137.0
	wgsF = 1 / 298.257223563
	wgsB = wgsA * (1 - wgsF)
)

// Distance is the length in metres of the geodesic on WGS 84 between two
// points given in degrees. It is within 0.1 mm of the exact geodesic, except
// for nearly antipodal points, where it falls back on a sphere (0.6 %). NaN in
// gives NaN out.
//
// Reference: T. Vincenty, "Direct and inverse solutions of geodesics on the
// ellipsoid with application of nested equations", Survey Review 23(176), 1975.
func Distance(lat1, lon1, lat2, lon2 float64) float64 {
	d, _, _ := Inverse(lat1, lon1, lat2, lon2)
	return d
}

// Inverse is the geodesic from point 1 to point 2 on WGS 84: its length in
// metres, and its azimuths in degrees clockwise from north, 0..360, at point 1
// and, onward, at point 2. Coordinates are in degrees. Accuracy as [Distance].
//
//	tan U = (1-f) tan φ
//	s = b A (σ - Δσ)     λ = L + (1-C) f sin α (σ + C sin σ (…))
func Inverse(lat1, lon1, lat2, lon2 float64) (metres, azimuth1, azimuth2 float64) {
	l := math.Remainder(lon2-lon1, 360) * math.Pi / 180
	sinU1, cosU1 := reduced(lat1)
	sinU2, cosU2 := reduced(lat2)

	lambda := l
	var sinL, cosL, sinS, cosS, sigma, cos2A, cos2M float64
	converged := false
	for range 100 {
		sinL, cosL = math.Sincos(lambda)
		sinS = math.Hypot(cosU2*sinL, cosU1*sinU2-sinU1*cosU2*cosL)
		if sinS == 0 {
			if cosL < 0 { // exactly antipodal
				break
			}
			return 0, 0, 0
		}
		cosS = sinU1*sinU2 + cosU1*cosU2*cosL
		sigma = math.Atan2(sinS, cosS)
		sinA := cosU1 * cosU2 * sinL / sinS
		cos2A = 1 - sinA*sinA
		cos2M = 0
		if cos2A > 1e-15 { // else an equatorial line
			cos2M = cosS - 2*sinU1*sinU2/cos2A
		}
		c := wgsF / 16 * cos2A * (4 + wgsF*(4-3*cos2A))
		was := lambda
		lambda = l + (1-c)*wgsF*sinA*(sigma+c*sinS*(cos2M+c*cosS*(2*cos2M*cos2M-1)))
		if math.IsNaN(lambda) {
			return math.NaN(), math.NaN(), math.NaN()
		}
		if math.Abs(lambda) > math.Pi {
			break
		}
		if math.Abs(lambda-was) < 1e-14 {
			converged = true
			break
		}
	}
	azimuth1 = degrees360(math.Atan2(cosU2*sinL, cosU1*sinU2-sinU1*cosU2*cosL))
	azimuth2 = degrees360(math.Atan2(cosU1*sinL, -sinU1*cosU2+cosU1*sinU2*cosL))
	if !converged {
		return onSphere(lat1, lat2, l), azimuth1, azimuth2
	}
	a, b := seriesAB(cos2A)
	ds := b * sinS * (cos2M + b/4*(cosS*(2*cos2M*cos2M-1)-b/6*cos2M*(4*sinS*sinS-3)*(4*cos2M*cos2M-3)))
	return wgsB * a * (sigma - ds), azimuth1, azimuth2
}

// Direct is the point that lies metres away from (lat, lon) along the geodesic
// that leaves it at azimuth degrees, on WGS 84; degrees in and out, longitude
// in -180..180. Reference as [Distance].
func Direct(lat, lon, azimuth, metres float64) (lat2, lon2 float64) {
	sinA1, cosA1 := math.Sincos(azimuth * math.Pi / 180)
	sinU1, cosU1 := reduced(lat)
	sigma1 := math.Atan2(sinU1, cosU1*cosA1)
	sinA := cosU1 * sinA1
	cos2A := 1 - sinA*sinA
	a, b := seriesAB(cos2A)
	sigma := metres / (wgsB * a)
	var sinS, cosS, cos2M float64
	for range 100 {
		cos2M = math.Cos(2*sigma1 + sigma)
		sinS, cosS = math.Sincos(sigma)
		ds := b * sinS * (cos2M + b/4*(cosS*(2*cos2M*cos2M-1)-b/6*cos2M*(4*sinS*sinS-3)*(4*cos2M*cos2M-3)))
		was := sigma
		sigma = metres/(wgsB*a) + ds
		if !(math.Abs(sigma-was) > 1e-15) {
			break
		}
	}
	cos2M = math.Cos(2*sigma1 + sigma)
	sinS, cosS = math.Sincos(sigma)
	lat2 = math.Atan2(sinU1*cosS+cosU1*sinS*cosA1,
		(1-wgsF)*math.Hypot(sinA, sinU1*sinS-cosU1*cosS*cosA1)) * 180 / math.Pi
	lambda := math.Atan2(sinS*sinA1, cosU1*cosS-sinU1*sinS*cosA1)
	c := wgsF / 16 * cos2A * (4 + wgsF*(4-3*cos2A))
	l := lambda - (1-c)*wgsF*sinA*(sigma+c*sinS*(cos2M+c*cosS*(2*cos2M*cos2M-1)))
	return lat2, math.Remainder(lon+l*180/math.Pi, 360)
}

// reduced is the sine and cosine of the reduced latitude, tan U = (1-f) tan φ.
func reduced(latDeg float64) (sin, cos float64) {
	s, c := math.Sincos(latDeg * math.Pi / 180)
	s *= 1 - wgsF
	h := math.Hypot(s, c)
	return s / h, c / h
}

// seriesAB are Vincenty's A and B, from u² = cos²α (a²-b²)/b².
func seriesAB(cos2A float64) (a, b float64) {
	u2 := cos2A * (wgsA*wgsA - wgsB*wgsB) / (wgsB * wgsB)
	a = 1 + u2/16384*(4096+u2*(-768+u2*(320-175*u2)))
	b = u2 / 1024 * (256 + u2*(-128+u2*(74-47*u2)))
	return a, b
}

func onSphere(lat1, lat2, dLambda float64) float64 {
	const r = (2*wgsA + wgsB) / 3
	p1, p2 := lat1*math.Pi/180, lat2*math.Pi/180
	h := math.Pow(math.Sin((p2-p1)/2), 2) + math.Cos(p1)*math.Cos(p2)*math.Pow(math.Sin(dLambda/2), 2)
	return 2 * r * math.Asin(math.Sqrt(min(1, h)))
}

func degrees360(rad float64) float64 {
	d := rad * 180 / math.Pi
	if d < 0 {
		d += 360
	}
	if d >= 360 {
		d = 0
	}
	return d
}

// A Plane is a map of the surroundings of one point in metres east and north
// of it: the azimuthal equidistant projection of WGS 84. Distances and
// directions from the origin are exact; a length r metres away is right to
// r²/6R² (0.4 mm per km at 10 km, 1.6 mm per km at 20 km).
type Plane struct{ Lat, Lon float64 } // the origin, deg

// Project maps degrees to metres east and north of the origin. NaN in gives
// NaN out.
func (p Plane) Project(lat, lon float64) (east, north float64) {
	d, az, _ := Inverse(p.Lat, p.Lon, lat, lon)
	s, c := math.Sincos(az * math.Pi / 180)
	return d * s, d * c
}

// Unproject maps metres east and north of the origin back to degrees.
func (p Plane) Unproject(east, north float64) (lat, lon float64) {
	return Direct(p.Lat, p.Lon, math.Atan2(east, north)*180/math.Pi, math.Hypot(east, north))
}
