package attitude_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
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
	return motion{seconds: 480, hz: 100, gpsHz: 1, latency: 0.3, gpsSD: 0.1,
		gyroBias: 0.5 * deg, accBias: 0.05, gyroSD: 0.002, accSD: 0.1, still: 20, seed: 1}
}

type made struct {
	s     attitude.Samples
	aid   attitude.Aid
	truth []quat.Number // sensor to east-north-up
	acc   []float64     // horizontal acceleration, m/s²
}

// pose is the truth at time t: velocity (east, north, up) and attitude of the
// board: x bow, y port, z up.
func (m *motion) pose(t float64) (v r3.Vec, q quat.Number) {
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
	base := 0.0
	if dir < 0 {
		base = 170 * deg
	}
	course := 0.4 + base + dir*turn*170*deg + 0.05*sin(0.7*t)
	heel := -dir*roll + go1*(3*deg*sin(1.9*t)+2*deg*sin(0.31*t+1))
	pitch := go1 * (1.5*deg*sin(2.3*t+0.4) + 1*deg*sin(0.9*t) + 1.5*deg*sin(0.17*t))
	speed := go1 * (8 + 2.2*sin(0.35*t) + 1.2*sin(0.61*t+2) + 0.25*sin(2.9*t))
	v = r3.Vec{X: speed * math.Cos(course), Y: speed * math.Sin(course), Z: go1 * (0.5*sin(2.1*t) + 0.2*sin(4.3*t+1))}
	yaw := about(0, 0, 1, course+0.03*sin(0.5*t))
	q = quat.Mul(quat.Mul(yaw, about(0, 1, 0, -pitch)), about(1, 0, 0, heel))
	return v, q
}

func sq(x float64) float64 { return x * x }

func about(x, y, z, a float64) quat.Number {
	s := math.Sin(a / 2)
	return quat.Number{Real: math.Cos(a / 2), Imag: s * x, Jmag: s * y, Kmag: s * z}
}

// mount turns sensor vectors into board vectors: any will do.
var mount = quat.Mul(quat.Mul(about(0, 0, 1, 0.7), about(1, 0, 0, 0.3)), about(0, 1, 0, -0.2))

// mades are the logs made before, by their motions.
var mades sync.Map

// make is a log of its own to the caller, who may spoil it.
func (m motion) make(t testing.TB) made {
	t.Helper()
	once, _ := mades.LoadOrStore(m, sync.OnceValue(m.sampled))
	o := once.(func() made)()
	o.s.Time, o.truth = slices.Clone(o.s.Time), slices.Clone(o.truth)
	for c := range 3 {
		o.s.Acc[c], o.s.Gyr[c] = slices.Clone(o.s.Acc[c]), slices.Clone(o.s.Gyr[c])
	}
	o.aid.Time, o.aid.East, o.aid.North = slices.Clone(o.aid.Time), slices.Clone(o.aid.East), slices.Clone(o.aid.North)
	return o
}

func (m motion) sampled() made {
	r := rand.New(rand.NewPCG(m.seed, 7))
	n := int(m.seconds * m.hz)
	var o made
	const h = 1e-4
	for i := range n {
		at := float64(i) / m.hz
		v0, q0 := m.pose(at - h)
		v1, q1 := m.pose(at + h)
		_, q := m.pose(at)
		q = quat.Mul(q, mount)
		d := quat.Mul(quat.Conj(quat.Mul(q0, mount)), quat.Mul(q1, mount))
		a := r3.Scale(1/(2*h), r3.Sub(v1, v0))
		o.acc = append(o.acc, math.Hypot(a.X, a.Y))
		a.Z += attitude.Gravity
		w := r3.Vec{X: d.Imag / h, Y: d.Jmag / h, Z: d.Kmag / h}
		f := rotation.Rotate(quat.Conj(q), a)
		o.s.Time = append(o.s.Time, at)
		drift := 1 - 0.2*at/m.seconds
		offset := r3.Vec{X: 1, Y: -1, Z: 0.7}
		w, f = r3.Add(w, r3.Scale(m.gyroBias*drift, offset)), r3.Add(f, r3.Scale(m.accBias, offset))
		for c := range 3 {
			o.s.Gyr[c] = append(o.s.Gyr[c], float32([3]float64{w.X, w.Y, w.Z}[c]+m.gyroSD*r.NormFloat64()))
			o.s.Acc[c] = append(o.s.Acc[c], float32([3]float64{f.X, f.Y, f.Z}[c]+m.accSD*r.NormFloat64()))
		}
		o.truth = append(o.truth, q)
	}
	o.aid.SD = m.gpsSD
	for x := 0.0; x < m.seconds; x += 1 / m.gpsHz {
		v, _ := m.pose(x - m.latency)
		o.aid.Time = append(o.aid.Time, x)
		o.aid.East = append(o.aid.East, v.X+m.gpsSD*r.NormFloat64())
		o.aid.North = append(o.aid.North, v.Y+m.gpsSD*r.NormFloat64())
	}
	return o
}

// boardErrors are the pitch errors of each sample after the first skip
// seconds, deg, with the constant offset left in. With heading, the turn
// about the vertical counts too, as the second column.
func (o *made) boardErrors(q []quat.Number, skip float64) (pitch, heading []float64) {
	for i := range q {
		if o.s.Time[i] < skip {
			continue
		}
		est := quat.Mul(q[i], quat.Conj(mount))
		ref := quat.Mul(o.truth[i], quat.Conj(mount))
		be, br := rotation.Rotate(est, r3.Vec{X: 1}), rotation.Rotate(ref, r3.Vec{X: 1})
		pitch = append(pitch, (math.Asin(be.Z)-math.Asin(br.Z))/deg)
		heading = append(heading, math.Remainder(math.Atan2(be.Y, be.X)-math.Atan2(br.Y, br.X), 2*math.Pi)/deg)
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

// errorsOf are a track's errors on a made log.
type errorsOf struct {
	mean, sd, sd2 float64 // pitch: of samples; of 2 s windows, deg
	heading       float64 // rms, deg
	worst         float64 // inclination, deg
	inside        float64 // share of inclination errors within 2 SE
}

func (o *made) compare(tr *attitude.Track, skip float64) (e errorsOf) {
	p, h := o.boardErrors(tr.Q, skip)
	e.mean, e.sd = meanSD(p)
	per := int(math.Round(2 / (o.s.Time[1] - o.s.Time[0])))
	_, e.sd2 = meanSD(windowed(p, per))
	hm, hsd := meanSD(h)
	e.heading = math.Hypot(hm, hsd)
	n := 0
	for i, q := range tr.Q {
		if o.s.Time[i] < skip {
			continue
		}
		n++
		x := inclination(q, o.truth[i])
		e.worst = max(e.worst, x/deg)
		if x < 2*float64(tr.SE[i]) {
			e.inside++
		}
	}
	e.inside /= float64(n)
	return e
}

func twoSided(t testing.TB, o *made, aided bool) *attitude.Track {
	t.Helper()
	var aid *attitude.Aid
	if aided {
		aid = &o.aid
	}
	tr, err := attitude.TwoSided(o.s, aid)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

// remove takes out the samples of [from, to) seconds.
func (o *made) remove(from, to float64) {
	o.leave(func(i int) bool { return o.s.Time[i] < from || o.s.Time[i] >= to })
}

// leave keeps only the samples that are wanted.
func (o *made) leave(wanted func(i int) bool) {
	var s attitude.Samples
	var truth []quat.Number
	for i, x := range o.s.Time {
		if !wanted(i) {
			continue
		}
		s.Time = append(s.Time, x)
		for c := range 3 {
			s.Acc[c] = append(s.Acc[c], o.s.Acc[c][i])
			s.Gyr[c] = append(s.Gyr[c], o.s.Gyr[c][i])
		}
		truth = append(truth, o.truth[i])
	}
	o.s, o.truth = s, truth
}

// A trouble is what a made log goes through, and what is asked of the filter then.
type trouble struct {
	name    string
	motion  func(*motion)
	spoil   func(*made)
	aided   bool
	want    errorsOf
	late    float64 // s, ± 0.1
	heading bool
	parts   int
}

// A board with waves, gusts of ±1.5 m/s², turns at 25° of heel, a drifting
// gyroscope offset, an accelerometer offset and late, noisy GPS: with every
// trouble that a log may bring, each against what it must still reach.
func TestBoard(t *testing.T) {
	t.Parallel()
	aided := errorsOf{mean: 0.5, sd: 0.15, sd2: 0.15, heading: 2, worst: 0.7, inside: 0.95}
	for _, c := range []trouble{
		{name: "GPS 1 Hz", aided: true, want: aided, late: 0.3, heading: true, parts: 1},
		{name: "GPS 5 Hz", motion: func(m *motion) { m.gpsHz = 5 }, aided: true, want: aided, late: 0.3, heading: true, parts: 1},
		{name: "no GPS", want: errorsOf{0.3, 0.8, 0.8, 1e9, 4, 0.95}, parts: 1},
		{name: "latency 1.5 s", motion: func(m *motion) { m.latency = 1.5 }, aided: true, want: aided, late: 1.5, heading: true, parts: 1},
		{name: "starts in motion, offset 2 °/s", motion: func(m *motion) { m.still = 0; m.gyroBias = 2 * deg }, aided: true, want: aided, late: 0.3, heading: true, parts: 1},
		{name: "10 Hz", motion: func(m *motion) { m.hz = 10 }, aided: true, want: aided, late: 0.3, heading: true, parts: 1},
		{name: "285 Hz", motion: func(m *motion) { m.hz = 285; m.seconds = 200 }, aided: true, want: aided, late: 0.3, heading: true, parts: 1},
		{name: "long rest", motion: func(m *motion) { m.still = 300 }, aided: true, want: aided, late: 0.3, heading: true, parts: 1},
		{name: "vibration", motion: func(m *motion) { m.accSD = 3; m.gyroSD = 0.03 }, aided: true,
			want: errorsOf{0.6, 0.6, 0.5, 3, 3, 0.95}, late: 0.3, heading: true, parts: 1},
		{name: "gap bridged", spoil: func(o *made) { o.remove(300, 300.3) }, aided: true, want: aided, late: 0.3, heading: true, parts: 1},
		{name: "gap of 2 s", spoil: func(o *made) { o.remove(300, 302) }, aided: true, want: aided, late: 0.3, heading: true, parts: 2},
		{name: "gap of 60 s", spoil: func(o *made) { o.remove(300, 360) }, aided: true, want: aided, late: 0.3, heading: true, parts: 2},
		{name: "gap without GPS", spoil: func(o *made) { o.remove(300, 360) }, want: errorsOf{0.5, 1.2, 1.2, 1e9, 6, 0.95}, parts: 2},
		{name: "samples not numbers", spoil: (*made).notNumbers, aided: true, want: errorsOf{0.5, 0.6, 0.6, 5, 30, 0.95}, late: 0.3, heading: true, parts: 2},
		{name: "rate halves", spoil: (*made).halveRate, aided: true, want: aided, late: 0.3, heading: true, parts: 1},
		{name: "GPS away for 120 s", spoil: (*made).loseGPS, aided: true, want: aided, late: 0.3, heading: true, parts: 1},
		{name: "GPS spikes", spoil: (*made).spikeGPS, aided: true, want: aided, late: 0.3, heading: true, parts: 1},
		{name: "GPS of another motion", spoil: (*made).otherGPS, aided: true, want: errorsOf{0.3, 0.8, 0.8, 1e9, 4, 0.95}, parts: 1},
		{name: "gyroscope 2 % off", spoil: (*made).scaleGyr, aided: true, want: aided, late: 0.3, heading: true, parts: 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			c.check(t)
		})
	}
}

func (c *trouble) check(t *testing.T) {
	m := defaultMotion()
	if c.motion != nil {
		c.motion(&m)
	}
	o := m.make(t)
	if c.spoil != nil {
		c.spoil(&o)
	}
	tr := twoSided(t, &o, c.aided)
	e := o.compare(tr, m.still+5)
	t.Logf("pitch %.3f ± %.3f°, 2 s %.3f°, heading %.2f°, worst %.2f°, within 2 SE %.3f, latency %.3f s", e.mean, e.sd, e.sd2, e.heading, e.worst, e.inside, tr.LatencyS)
	w := c.want
	if !(math.Abs(e.mean) < w.mean && e.sd < w.sd && e.sd2 < w.sd2 && e.heading < w.heading && e.worst < w.worst && e.inside > w.inside) {
		t.Errorf("errors %+v, want below %+v", e, w)
	}
	if math.Abs(tr.LatencyS-c.late) > 0.1 {
		t.Errorf("latency %.3f s, want %.1f", tr.LatencyS, c.late)
	}
	if tr.HeadingKnown != c.heading {
		t.Errorf("heading known: %v, want %v", tr.HeadingKnown, c.heading)
	}
	if len(tr.Segments) != c.parts || len(tr.Bias) != c.parts {
		t.Errorf("segments %v, biases %v, want %d of each", tr.Segments, tr.Bias, c.parts)
	}
	for i, q := range tr.Q {
		if n := quat.Abs(q); math.Abs(n-1) > 5e-7 {
			t.Fatalf("sample %d: |q| = %g", i, n)
		}
	}
}

func (o *made) notNumbers() {
	for i := 30000; i < 30200; i++ {
		o.s.Gyr[1][i] = float32(math.NaN())
	}
	o.s.Acc[0][0] = float32(math.NaN())
}

// halveRate leaves out every second sample from 300 s on.
func (o *made) halveRate() { o.leave(func(i int) bool { return o.s.Time[i] < 300 || i%2 == 0 }) }

func (o *made) loseGPS() {
	for j, x := range o.aid.Time {
		if x > 300 && x < 420 {
			o.aid.East[j] = math.NaN()
		}
	}
}

func (o *made) spikeGPS() {
	r := rand.New(rand.NewPCG(5, 5))
	for j := range o.aid.Time {
		if r.Float64() < 0.03 {
			o.aid.East[j] += 5 * r.NormFloat64()
		}
	}
}

// otherGPS is of another motion.
func (o *made) otherGPS() {
	r := rand.New(rand.NewPCG(5, 5))
	var a, b float64
	for j := range o.aid.Time {
		a, b = 0.95*a+r.NormFloat64(), 0.95*b+r.NormFloat64()
		o.aid.East[j], o.aid.North[j] = a, b
	}
}

func (o *made) scaleGyr() {
	for c := range 3 {
		for i := range o.s.Gyr[c] {
			o.s.Gyr[c][i] *= 1.02
		}
	}
}

// GPS must make pitch at least three times better while the board accelerates.
func TestAidWhileAccelerating(t *testing.T) {
	t.Parallel()
	o := defaultMotion().make(t)
	rms := func(tr *attitude.Track) float64 {
		s, n := 0.0, 0
		for i, q := range tr.Q {
			if o.acc[i] > 0.7 {
				s += sq(inclination(q, o.truth[i]) / deg)
				n++
			}
		}
		return math.Sqrt(s / float64(n))
	}
	without, with := rms(twoSided(t, &o, false)), rms(twoSided(t, &o, true))
	t.Logf("without %.3f°, with %.3f°", without, with)
	if !(with < without/3) {
		t.Errorf("aided %.3f°, unaided %.3f°: less than three times better", with, without)
	}
}

// A gyroscope that saturates in a wild turn: the error must show in the SE,
// and be gone before and after.
func TestClipping(t *testing.T) {
	t.Parallel()
	for _, seconds := range []float64{0.1, 0.5} {
		m := defaultMotion()
		m.seconds, m.gyroBias, m.accBias = 200, 0, 0 // they would turn with the truth below
		o := m.make(t)
		extra := quat.Number{Real: 1}
		for i, x := range o.s.Time {
			f := rotation.Rotate(quat.Conj(extra), o.s.AccAt(i))
			g := rotation.Rotate(quat.Conj(extra), o.s.GyrAt(i))
			o.truth[i] = quat.Mul(o.truth[i], extra)
			if x >= 100 && x < 100+seconds {
				const w = 4 // rad/s more than the board's own, and more than the range
				g.X += w
				extra = quat.Mul(extra, about(1, 0, 0, w/m.hz))
			}
			for c, x := range [3]float64{f.X, f.Y, f.Z} {
				o.s.Acc[c][i], o.s.Gyr[c][i] = float32(x), float32(min(max([3]float64{g.X, g.Y, g.Z}[c], -2.18), 2.18))
			}
		}
		tr, err := attitude.TwoSided(o.s, &o.aid)
		if err != nil {
			t.Fatal(err)
		}
		s, n, se := 0.0, 0.0, 0.0
		for i, q := range tr.Q {
			switch x := o.s.Time[i]; {
			case x > 60 && x < 98 || x > 103:
				s += sq(inclination(q, o.truth[i]) / deg)
				n++
			case x > 99.9 && x < 100.5:
				se = max(se, float64(tr.SE[i])/deg)
			}
		}
		away := math.Sqrt(s / n)
		t.Logf("%g s: %.3f° away from the clipping; SE %.1f° within", seconds, away, se)
		if away > 0.5 {
			t.Errorf("%g s: %.3f° away from the clipping", seconds, away)
		}
		if se < 3 {
			t.Errorf("%g s: SE %.2f° while saturated", seconds, se)
		}
	}
}

func TestBadInput(t *testing.T) {
	t.Parallel()
	good := func() attitude.Samples {
		m := defaultMotion()
		m.seconds = 30
		return m.make(t).s
	}
	nan := float32(math.NaN())
	for _, c := range []struct {
		name  string
		spoil func(*attitude.Samples, *attitude.Aid)
		want  string
	}{
		{"lengths", func(s *attitude.Samples, _ *attitude.Aid) { s.Acc[1] = s.Acc[1][1:] }, "on axis y"},
		{"empty", func(s *attitude.Samples, _ *attitude.Aid) { *s = attitude.Samples{} }, "at least 2"},
		{"time", func(s *attitude.Samples, _ *attitude.Aid) { s.Time[7] = s.Time[6] }, "sample 7"},
		{"no gyroscope", func(s *attitude.Samples, _ *attitude.Aid) {
			for i := range s.Time {
				s.Gyr[0][i] = nan
			}
		}, "no gyroscope"},
		{"no accelerometer", func(s *attitude.Samples, _ *attitude.Aid) {
			for i := range s.Time {
				s.Acc[0][i] = nan
			}
		}, "fewer than two"},
		{"aid lengths", func(_ *attitude.Samples, a *attitude.Aid) { a.Time = []float64{1} }, "velocity aid"},
		{"aid time", func(_ *attitude.Samples, a *attitude.Aid) {
			*a = attitude.Aid{Time: []float64{1, 1}, East: []float64{0, 0}, North: []float64{0, 0}}
		}, "fix 1"},
	} {
		s, a := good(), attitude.Aid{}
		c.spoil(&s, &a)
		tr, err := attitude.TwoSided(s, &a)
		if err == nil || !strings.Contains(err.Error(), c.want) || tr != nil {
			t.Errorf("%s: got %v, want an error with %q", c.name, err, c.want)
		}
	}
}

// Broken records and leaping clocks: no panic, no attitude that is not a
// number, and no memory for years that a clock skipped.
func TestGarbage(t *testing.T) {
	t.Parallel()
	m := defaultMotion()
	m.seconds = 60
	r := rand.New(rand.NewPCG(3, 3))
	for range 20 {
		o := m.make(t)
		for range 50 {
			i, c := r.IntN(len(o.s.Time)), r.IntN(3)
			v := float32(math.Ldexp(r.NormFloat64(), r.IntN(250)-100))
			o.s.Gyr[c][i] = v
			o.s.Acc[r.IntN(3)][i] = float32(math.Inf(int(v)))
			j := r.IntN(len(o.aid.Time))
			o.aid.East[j] = math.Ldexp(r.NormFloat64(), r.IntN(40))
		}
		for i := r.IntN(len(o.s.Time)); i < len(o.s.Time); i++ {
			o.s.Time[i] += 1e9
		}
		tr := twoSided(t, &o, true)
		for i, q := range tr.Q {
			if n := q.Real*q.Real + q.Imag*q.Imag + q.Jmag*q.Jmag + q.Kmag*q.Kmag; !(math.Abs(n-1) < 1e-6) || !(tr.SE[i] > 0) {
				t.Fatalf("sample %d: attitude %v, SE %v", i, q, tr.SE[i])
			}
		}
		for i, q := range runCausal(t, &o.s) {
			if n := q.Real*q.Real + q.Imag*q.Imag + q.Jmag*q.Jmag + q.Kmag*q.Kmag; !(math.Abs(n-1) < 1e-3) {
				t.Fatalf("causal, sample %d: attitude %v", i, q)
			}
		}
	}
}

// Logs at the edge of what can be filtered give an answer, whatever it is.
func TestShortLogs(t *testing.T) {
	t.Parallel()
	m := defaultMotion()
	m.seconds = 30
	o := m.make(t)
	for _, n := range []int{2, 3, 10, 60, 200} {
		var s attitude.Samples
		s.Time = o.s.Time[:n]
		for c := range 3 {
			s.Acc[c], s.Gyr[c] = o.s.Acc[c][:n], o.s.Gyr[c][:n]
		}
		tr, err := attitude.TwoSided(s, &o.aid)
		if err != nil {
			t.Fatalf("%d samples: %v", n, err)
		}
		for i, q := range tr.Q {
			if q.Real != q.Real || !(tr.SE[i] > 0) {
				t.Fatalf("%d samples: sample %d has attitude %v, SE %v", n, i, q, tr.SE[i])
			}
		}
	}
}
