package attitude_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenfoot/filter/attitude"
)

const deg = math.Pi / 180

// A motion makes inertial samples and GPS velocity of a made-up board with
// known attitude. Everything is smooth sums of sines, so that the derivatives
// are exact to the finite step.
type motion struct {
	seconds  float64
	hz       float64
	gpsHz    float64
	latency  float64 // s
	gpsSD    float64 // m/s, each axis
	gyroBias float64 // rad/s at the start; drifts by a fifth over the log
	accBias  float64 // m/s², each axis
	gyroSD   float64 // rad/s a sample
	accSD    float64 // m/s² a sample
	still    float64 // s at rest at the start
	seed     uint64
}

func defaultMotion() motion {
	return motion{seconds: 600, hz: 100, gpsHz: 1, latency: 0.3, gpsSD: 0.1,
		gyroBias: 0.5 * deg, accBias: 0.05, gyroSD: 0.002, accSD: 0.1, still: 20, seed: 1}
}

type made struct {
	s     attitude.Samples
	aid   attitude.Aid
	truth []attitude.Quat // sensor to east-north-up
	acc   []float64       // horizontal acceleration, m/s²
}

// pose is the truth at time t: velocity (east, north, up) and attitude of the
// board: x bow, y port, z up.
func (m *motion) pose(t float64) (v [3]float64, q attitude.Quat) {
	t -= m.still
	go1 := 1.0
	if t < 0 {
		t, go1 = 0, 0
	} else if t < 5 {
		go1 = t * t * (15 - 2*t) / 125 // smooth start
	}
	sin := math.Sin
	// Reaches of 40 s joined by turns of 6 s, to and fro.
	leg := math.Floor(t / 46)
	ph := t - 46*leg
	turn := 0.0
	roll := 0.0
	if ph > 40 {
		x := (ph - 40) / 6
		turn = x * x * x * (10 + x*(-15+6*x)) // smooth 0..1
		roll = sq(sin(math.Pi*x)) * 25 * deg
	}
	dir := 1.0
	if math.Mod(leg, 2) == 1 {
		dir = -1
	}
	half := math.Floor(leg / 2)
	_ = half
	base := 0.0
	if dir < 0 {
		base = 170 * deg
	}
	course := 0.4 + base + dir*turn*170*deg + 0.05*sin(0.7*t)
	heel := -dir*roll + go1*(3*deg*sin(1.9*t)+2*deg*sin(0.31*t+1))
	pitch := go1 * (1.5*deg*sin(2.3*t+0.4) + 1*deg*sin(0.9*t) + 1.5*deg*sin(0.17*t))
	speed := go1 * (8 + 2.2*sin(0.35*t) + 1.2*sin(0.61*t+2) + 0.25*sin(2.9*t))
	v = [3]float64{speed * math.Cos(course), speed * math.Sin(course), go1 * (0.5*sin(2.1*t) + 0.2*sin(4.3*t+1))}
	yaw := quat(0, 0, 1, course+0.03*sin(0.5*t))
	q = yaw.Mul(quat(0, 1, 0, -pitch)).Mul(quat(1, 0, 0, heel))
	return v, q
}

func sq(x float64) float64 { return x * x }

func quat(x, y, z, a float64) attitude.Quat {
	s := math.Sin(a / 2)
	return attitude.Quat{W: math.Cos(a / 2), X: s * x, Y: s * y, Z: s * z}
}

// mount turns sensor vectors into board vectors: any will do.
var mount = quat(0, 0, 1, 0.7).Mul(quat(1, 0, 0, 0.3)).Mul(quat(0, 1, 0, -0.2))

func (m motion) make(t testing.TB) made {
	t.Helper()
	r := rand.New(rand.NewPCG(m.seed, 7))
	n := int(m.seconds * m.hz)
	var o made
	const h = 1e-4
	for i := range n {
		at := float64(i) / m.hz
		v0, q0 := m.pose(at - h)
		v1, q1 := m.pose(at + h)
		_, q := m.pose(at)
		q = q.Mul(mount)
		d := q0.Mul(mount).Conj().Mul(q1.Mul(mount))
		var a, w [3]float64
		for c := range 3 {
			a[c] = (v1[c] - v0[c]) / (2 * h)
		}
		o.acc = append(o.acc, math.Hypot(a[0], a[1]))
		a[2] += attitude.Gravity
		w = [3]float64{d.X / h, d.Y / h, d.Z / h}
		f := q.Conj().Rotate(a)
		o.s.Time = append(o.s.Time, at)
		drift := 1 - 0.2*at/m.seconds
		sign := [3]float64{1, -1, 0.7}
		for c := range 3 {
			o.s.Gyr[c] = append(o.s.Gyr[c], float32(w[c]+sign[c]*m.gyroBias*drift+m.gyroSD*r.NormFloat64()))
			o.s.Acc[c] = append(o.s.Acc[c], float32(f[c]+sign[c]*m.accBias+m.accSD*r.NormFloat64()))
		}
		o.truth = append(o.truth, q)
	}
	o.aid.SD = m.gpsSD
	for x := 0.0; x < m.seconds; x += 1 / m.gpsHz {
		v, _ := m.pose(x - m.latency)
		o.aid.Time = append(o.aid.Time, x)
		o.aid.East = append(o.aid.East, v[0]+m.gpsSD*r.NormFloat64())
		o.aid.North = append(o.aid.North, v[1]+m.gpsSD*r.NormFloat64())
	}
	return o
}

// boardErrors are the pitch errors of each sample after the first skip
// seconds, deg, with the constant offset left in. With heading, the turn
// about the vertical counts too, as the second column.
func (o *made) boardErrors(q []attitude.Quat, skip float64) (pitch, heading []float64) {
	for i := range q {
		if o.s.Time[i] < skip {
			continue
		}
		est := q[i].Mul(mount.Conj())
		ref := o.truth[i].Mul(mount.Conj())
		be, br := est.Rotate([3]float64{1, 0, 0}), ref.Rotate([3]float64{1, 0, 0})
		pitch = append(pitch, (math.Asin(be[2])-math.Asin(br[2]))/deg)
		heading = append(heading, math.Remainder(math.Atan2(be[1], be[0])-math.Atan2(br[1], br[0]), 2*math.Pi)/deg)
	}
	return pitch, heading
}

func meanSD(x []float64) (mean, sd float64) {
	for _, v := range x {
		mean += v
	}
	mean /= float64(len(x))
	for _, v := range x {
		sd += sq(v - mean)
	}
	return mean, math.Sqrt(sd / float64(len(x)))
}

func windowed(x []float64, n int) []float64 {
	var y []float64
	for i := 0; i+n <= len(x); i += n {
		m, _ := meanSD(x[i : i+n])
		y = append(y, m)
	}
	return y
}

func TestAidedBoard(t *testing.T) {
	for _, hz := range []float64{1, 5} {
		m := defaultMotion()
		m.gpsHz = hz
		o := m.make(t)
		for _, aid := range []*attitude.Aid{nil, &o.aid} {
			tr, err := attitude.TwoSided(o.s, aid, attitude.Default())
			if err != nil {
				t.Fatal(err)
			}
			p, h := o.boardErrors(tr.Q, 30)
			mean, sd := meanSD(p)
			_, sd2 := meanSD(windowed(p, 200))
			hm, hsd := meanSD(h)
			inside, se := 0, 0.
			for i, q := range tr.Q {
				if inclination(q, o.truth[i]) < 2*float64(tr.SE[i]) {
					inside++
				}
				se += float64(tr.SE[i])
			}
			n := float64(len(tr.Q))
			t.Logf("gps %g Hz, aided %v: pitch mean %.3f sd %.3f 2s %.3f, heading %v mean %.2f sd %.2f, latency %.3f; SE %.3f inside %.3f", hz, aid != nil,
				mean, sd, sd2, tr.HeadingKnown, hm, hsd, tr.LatencyS, se/n/deg, float64(inside)/n)
		}
	}
}
