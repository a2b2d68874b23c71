package pitchlaw

import (
	"math"
	"math/rand/v2"
	"slices"
)

const deg = math.Pi / 180

// A made session is windows with known truth: a fast stand-in for a log, with
// the errors that matter: attitude error that lasts half a minute and runs on
// through turns, a stance per reach, gusts, GPS noise, outliers.
type made struct {
	minutes     float64
	reach       [2]float64 // s, shortest and longest
	courses     []float64  // rad, of the reaches in turn
	courseSD    float64
	starboard   func(k int) int // tack of reach k
	speed       float64         // m/s, mean through the water
	reachSD     float64         // of a reach's mean speed
	gustSD      float64         // within a reach
	flow        [2]float64
	flowRate    [2]float64 // per hour
	zero        float64
	half        float64 // rad, half tack difference
	slope       float64
	bend        float64 // rad at ±2 m/s
	drift       float64 // rad per hour
	attitude    float64 // rad, 1σ
	attitudeTau float64 // s
	stance      float64 // rad, 1σ per reach
	own         float64 // rad, 1σ per window
	gps         float64 // m/s, 1σ per window and axis
	gpsNew      float64 // share of its variance that is new in every window; the rest lasts 3 s
	outliers    float64 // share
	window      float64
	heel        float64 // rad, to windward
	tilt        float64 // what the slope is wrong by all session, relative, about the mean speed
}

func ordinary() made {
	return made{
		minutes: 25, reach: [2]float64{30, 80}, courses: []float64{1.2, 4.4}, courseSD: 0.25,
		speed: 8, reachSD: 0.7, gustSD: 0.7, zero: -0.02, half: 0.3 * deg, slope: 140,
		attitude: 0.15 * deg, attitudeTau: 30, stance: 0.15 * deg, own: 0.3 * deg, gps: 0.1, gpsNew: 0.3, window: 2.5, outliers: 0.02,
	}
}

// build makes the windows; speeds are the true ones through the water, sorted.
func (m made) build(rng *rand.Rand) (w []Window, speeds []float64) {
	end := m.minutes * 60
	var att float64 = m.attitude * rng.NormFloat64()
	last := 0.0
	var fix [2]float64
	constant := attitudeSD * rng.NormFloat64()
	for t, k := 0.0, 0; t < end; k++ {
		length := m.reach[0] + (m.reach[1]-m.reach[0])*rng.Float64()
		course := m.courses[k%len(m.courses)] + m.courseSD*rng.NormFloat64()
		base := m.speed + m.reachSD*rng.NormFloat64()
		stance := m.stance * rng.NormFloat64()
		tack := 1 - 2*(k%2)
		if m.starboard != nil {
			tack = m.starboard(k)
		}
		gust, smooth := rng.NormFloat64(), 0.0
		for s := 0.0; s+m.window <= length && t+s < end; s += m.window {
			now := t + s + m.window/2
			f := math.Exp(-(now - last) / m.attitudeTau)
			att = f*att + math.Sqrt(1-f*f)*m.attitude*rng.NormFloat64()
			last = now
			g := math.Exp(-m.window / 10)
			gust = g*gust + math.Sqrt(1-g*g)*rng.NormFloat64()
			// The board's inertia: a lag of four seconds.
			smooth += (gust - smooth) * (1 - math.Exp(-m.window/4))
			v := max(base+1.2*m.gustSD*smooth, 4.5)
			speeds = append(speeds, v)
			normal := 9.81 * (1 + 0.02*rng.NormFloat64())
			x := 2 * normal / (1025 * v * v)
			hour := (now - end/2) / 3600
			y := m.zero + constant + m.half*float64(tack) + m.slope*x + m.drift*hour + att + stance + m.own*rng.NormFloat64()
			y += m.tilt * m.slope * (x - 2*9.81/(1025*m.speed*m.speed))
			y += m.bend * ((v-m.speed)/2*(v-m.speed)/2 - 0.3)
			if rng.Float64() < m.outliers {
				y += 3 * deg * rng.NormFloat64()
			}
			c := course + 0.03*rng.NormFloat64()
			fade := math.Exp(-m.window / 3)
			var err [2]float64
			for q := range fix {
				fix[q] = fade*fix[q] + math.Sqrt(1-fade*fade)*rng.NormFloat64()
				err[q] = m.gps * (math.Sqrt(m.gpsNew)*rng.NormFloat64() + math.Sqrt(1-m.gpsNew)*fix[q])
			}
			w = append(w, Window{
				Time: now, Duration: m.window, PitchCos: y, PitchSE: m.attitude, Normal: normal, Heel: m.heel * float64(tack), Tack: tack, Reach: k,
				East:      v*math.Sin(c) + m.flow[0] + m.flowRate[0]*hour + err[0],
				North:     v*math.Cos(c) + m.flow[1] + m.flowRate[1]*hour + err[1],
				PitchRate: 0.03 * (1 + 0.1*rng.NormFloat64()),
			})
		}
		t += length + 6 + 8*rng.Float64()
	}
	slices.Sort(speeds)
	return w, speeds
}

// anySession draws the length, wind, tack balance, current and noise of a
// session from what riders meet.
func anySession(rng *rand.Rand) made {
	u := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	m := ordinary()
	m.minutes = math.Exp(u(math.Log(8), math.Log(120)))
	m.reach[0] = u(15, 60)
	m.reach[1] = m.reach[0] * u(1.2, 3)
	wind := u(0, 2*math.Pi)
	a, b := u(0.8, 2.2), u(0.8, 2.2) // off the wind, each tack
	m.courses = []float64{wind + a, wind - b}
	if rng.Float64() < 0.4 { // works upwind and runs back
		m.courses = append(m.courses, wind+0.8, wind-0.8, wind+2.3, wind-2.3)
	}
	m.courseSD = u(0.05, 0.35)
	if rng.Float64() < 0.3 { // most of the time on one tack
		m.starboard = func(k int) int {
			if k%5 == 0 {
				return -1
			}
			return 1
		}
		m.courses = []float64{wind - b, wind + a, wind + a - 0.4, wind + a + 0.3, wind + a}
	}
	m.speed = u(6.5, 10)
	m.reachSD, m.gustSD = u(0.3, 1.2), u(0.3, 1)
	m.flow = [2]float64{0.4 * rng.NormFloat64(), 0.4 * rng.NormFloat64()}
	if rng.Float64() < 0.4 {
		m.flowRate = [2]float64{0.3 * rng.NormFloat64(), 0.3 * rng.NormFloat64()}
	}
	m.zero = u(-3, 1) * deg
	m.half = 0.4 * deg * rng.NormFloat64()
	m.slope = u(90, 200)
	m.drift = 0.15 * deg * rng.NormFloat64()
	m.attitude, m.attitudeTau = u(0.05, 0.35)*deg, u(15, 60)
	m.stance = u(0, 0.3) * deg
	m.own = u(0.15, 0.7) * deg
	m.gps, m.gpsNew = u(0.03, 0.2), u(0, 1)
	m.outliers = u(0, 0.06)
	m.heel = u(0, 20) * deg
	m.tilt = math.Hypot(0.04, 0.4*math.Sin(m.heel)) * rng.NormFloat64()
	return m
}
