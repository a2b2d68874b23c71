package simulate

import (
	"math"
	"testing"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/setup"
	"evenfoot/analysis/trim"
	"evenfoot/filter/rotation"
	"evenfoot/ingest"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// perfect strips a scenario of every sensor error.
func perfect(sc Scenario) Scenario {
	sc.GyroBias, sc.GyroDrift, sc.GyroNoise, sc.GyroScale, sc.GyroStep = [3]float64{}, 0, 0, 0, 0
	sc.AccBias, sc.AccNoise, sc.AccScale, sc.AccStep, sc.Vibration = [3]float64{}, 0, 0, 0, 0
	sc.VelocitySD, sc.PositionSD, sc.PositionFuzz, sc.GPSLatency = 0, 0, 0, 0
	return sc
}

func row(c *[3][]float32, i int) r3.Vec {
	return r3.Vec{X: float64(c[0][i]), Y: float64(c[1][i]), Z: float64(c[2][i])}
}

// TestKinematics integrates the perfect gyroscope and accelerometer and must
// come back to the true attitude and velocity: they are one motion.
func TestKinematics(t *testing.T) {
	sc := perfect(Default())
	sc.Lever = r3.Vec{}
	sc.Duration = 600
	s := Run(sc)
	tr, imu := &s.Truth, &s.Log.IMU
	q := tr.QSensor[0]
	v := [3]float64{}
	dt := 1 / sc.IMURate
	var worstQ, worstV float64
	for i := 1; i < len(tr.Time); i++ {
		w := r3.Scale(0.5, r3.Add(row(&imu.Gyr, i), row(&imu.Gyr, i-1)))
		q = quat.Mul(q, rotation.Exp(r3.Scale(dt, w)))
		e := quat.Mul(quat.Conj(q), tr.QSensor[i])
		worstQ = math.Max(worstQ, r3.Norm(rotation.Log(e)))
		acc := rotation.Rotate(tr.QSensor[i], row(&imu.Acc, i))
		v[0] += acc.X * dt
		v[1] += acc.Y * dt
		worstV = math.Max(worstV, math.Hypot(v[0]-float64(tr.East[i]-tr.East[0]), v[1]-float64(tr.North[i]-tr.North[0])))
	}
	if worstQ > 0.3*Deg {
		t.Errorf("integrated gyroscope strays %.3f° from the attitude in ten minutes", worstQ/Deg)
	}
	if worstV > 0.1 {
		t.Errorf("integrated accelerometer strays %.3f m/s from the velocity", worstV)
	}
}

// TestLever: with a lever arm, the rate of the deck alone explains the difference.
func TestLever(t *testing.T) {
	sc := perfect(Default())
	sc.Duration = 300
	sc.Lever = r3.Vec{}
	a := Run(sc)
	sc.Lever = r3.Vec{X: 0.5}
	b := Run(sc)
	// 0.5 m ahead of the mast: centripetal acceleration along x is -(wy²+wz²)·0.5.
	var sum float64
	for i := 1000; i < len(a.Truth.Time)-1000; i++ {
		d := rotation.Rotate(sc.Mount, r3.Sub(row(&b.Log.IMU.Acc, i), row(&a.Log.IMU.Acc, i)))
		w := rotation.Rotate(sc.Mount, row(&a.Log.IMU.Gyr, i))
		sum = math.Max(sum, math.Abs(d.X+0.5*(w.Y*w.Y+w.Z*w.Z)))
	}
	if sum > 0.02 {
		t.Errorf("lever arm's centripetal acceleration is off by %.3f m/s²", sum)
	}
}

// TestPitchLaw: pitch in quiet straight flight is the true foil's, and K is (1-λ')/A.
func TestPitchLaw(t *testing.T) {
	sc := Calm()
	sc.Wave, sc.Control, sc.ControlPerMoment, sc.PitchNoise = 0, 0, 0, 0
	s := Run(sc)
	f := trim.NewFoil(sc.Foil)
	tr := &s.Truth
	var n int
	var worst float64
	for _, r := range tr.Reaches {
		for i, ti := range tr.Time {
			if ti < r.Start+6 || ti > r.End-2 || i%20 != 0 {
				continue
			}
			want := f.At(float64(tr.Speed[i]), float64(tr.Normal[i])).Pitch
			got := float64(tr.Pitch[i]) * math.Cos(float64(tr.Heel[i]))
			worst = math.Max(worst, math.Abs(got-want))
			n++
		}
	}
	if n < 1000 {
		t.Fatalf("only %d samples of straight flight", n)
	}
	// The height still wanders slowly: climbing at 0.04 m/s turns the flow by 0.3°.
	if worst > 0.9*Deg {
		t.Errorf("pitch is up to %.2f° off the true foil's law", worst/Deg)
	}
	in := sc.Foil
	lam := in.RigLiftFraction * in.RiderMass / (in.RiderMass + in.BoardMass)
	if want := (1 - lam) / f.At(8, trim.Gravity).LiftArea; math.Abs(tr.Slope-want) > 1e-9 {
		t.Errorf("slope %g, want %g", tr.Slope, want)
	}
	if want := f.At(8, trim.Gravity).Pitch; math.Abs(tr.Zero+tr.Slope*(in.RiderMass+in.BoardMass)*trim.Gravity/(0.5*in.Density*64)-want) > 1e-9 {
		t.Errorf("zero and slope do not give the foil's pitch at 8 m/s")
	}
}

// TestOuting: what the plan says happens in the motion.
func TestOuting(t *testing.T) {
	for name, sc := range map[string]Scenario{"default": Default(), "rough": Rough(), "beginner": Beginner(), "kite": Kite(), "calm": Calm()} {
		sc.IMURate = 50
		s := Run(sc)
		tr := &s.Truth
		if tr.FoilingS < 0.35*sc.Duration || len(tr.Turns) < 5 || len(tr.Reaches) < 8 {
			t.Errorf("%s: %0.f s of flight, %d turns, %d reaches", name, tr.FoilingS, len(tr.Turns), len(tr.Reaches))
		}
		at := func(x float64) int { return min(int(x*sc.IMURate), len(tr.Time)-1) }
		var flying int
		for i := range tr.Time {
			if tr.Flying[i] {
				flying++
			}
		}
		if got := float64(flying) / sc.IMURate; math.Abs(got-tr.FoilingS) > 0.01*tr.FoilingS {
			t.Errorf("%s: flying %0.f s, planned %0.f s", name, got, tr.FoilingS)
		}
		for i, x := range tr.Turns {
			if !x.Flown {
				continue
			}
			var top float64
			for k := at(x.Start); k < at(x.End); k++ {
				top = math.Max(top, float64(tr.Normal[k]))
			}
			if top < 1.01*trim.Gravity {
				t.Errorf("%s: turn %d loads the foil by %.2f m/s² only", name, i, top)
			}
		}
		for _, r := range tr.Reaches {
			want := 1.0 // to windward: starboard tack heels to starboard
			if r.Tack == "port" {
				want = -1
			}
			rel := math.Remainder(tr.WindFrom-r.Course, 2*math.Pi) * want
			if rel < 0 {
				t.Errorf("%s: reach at %.0f s on course %.0f° is not on %s tack", name, r.Start, r.Course/Deg, r.Tack)
			}
		}
		for i := 1; i < len(tr.Phases); i++ {
			if math.Abs(tr.Phases[i].Start-tr.Phases[i-1].End) > 1e-6 {
				t.Errorf("%s: phases are not one after the other at %.1f s: %+v %+v", name, tr.Phases[i].Start, tr.Phases[i-1], tr.Phases[i])
			}
		}
		if e := tr.Phases[len(tr.Phases)-1].End; math.Abs(e-sc.Duration) > 0.1 {
			t.Errorf("%s: plan ends at %.1f s", name, e)
		}
		t.Logf("%s: %.0f s foiling, %d flights, %d turns, %d events, off even by %.3f, share %.2f..%.2f", name,
			tr.FoilingS, len(tr.Flights), len(tr.Turns), len(tr.Events), offEven(s),
			s.Share(sc.SpeedLow), s.Share(sc.SpeedHigh))
	}
}

// TestSameSeed: one scenario is one session; sensor noise does not change the ride.
func TestSameSeed(t *testing.T) {
	sc := Default()
	sc.Duration = 300
	a, b := Run(sc), Run(sc)
	sc.AccNoise *= 3
	sc.Seed = 1
	c := Run(sc)
	sc.Seed = 2
	d := Run(sc)
	i := len(a.Log.IMU.Time) / 2
	if a.Log.IMU.Acc[0][i] != b.Log.IMU.Acc[0][i] || a.Log.GPS.Speed[100] != b.Log.GPS.Speed[100] {
		t.Error("the same scenario gave another session")
	}
	if c.Truth.Pitch[i] != a.Truth.Pitch[i] {
		t.Error("sensor noise changed the ride")
	}
	if d.Truth.Pitch[i] == a.Truth.Pitch[i] {
		t.Error("another seed gave the same ride")
	}
}

func TestClock(t *testing.T) {
	sc := Default()
	sc.Duration, sc.ClockOffset, sc.DriftPPM = 600, -1800.5, 100
	s := Run(sc)
	if s.Log.Clock.Tied {
		t.Error("two clocks, yet tied")
	}
	for _, i := range []int{0, 30000, len(s.Truth.Time) - 1} {
		g := s.Truth.Time[i]
		if want := g - 1800.5 + 100e-6*(g-300); math.Abs(s.Log.IMU.Time[i]-want) > 1e-9 {
			t.Errorf("IMU time %g at GPS time %g, want %g", s.Log.IMU.Time[i], g, want)
		}
	}
	if got := s.IMULog.Start.Sub(sc.Start).Seconds(); math.Abs(got+1800.53) > 1e-6 {
		t.Errorf("logger's file starts %g s after the watch's", got)
	}
	if s.IMULog.IMU.Time[0] != 0 || len(s.IMULog.GPS.Time) != 0 || len(s.GPSLog.IMU.Time) != 0 {
		t.Error("the devices' logs are not apart")
	}
}

// offEven is the RMS of what the rider feels in flight less an even load.
func offEven(s *Session) float64 {
	var sum, n float64
	f := trim.NewFoil(s.Scenario.Foil)
	for i := 0; i < len(s.Truth.Speed); i += 50 {
		if s.Truth.Flying[i] {
			d := f.At(float64(s.Truth.Speed[i]), trim.Gravity).FeltShare - 0.5
			sum, n = sum+d*d, n+1
		}
	}
	return math.Sqrt(sum / n)
}

// TestDemoStory: front-heavy with speed before, nearly even after.
func TestDemoStory(t *testing.T) {
	sc := Demo()
	sc[0].IMURate, sc[1].IMURate = 50, 50
	a, b := Run(sc[0]), Run(sc[1])
	was, is := offEven(a), offEven(b)
	t.Logf("before %.2f %.2f %.2f, after %.2f %.2f %.2f; off even by %.3f → %.3f", a.Share(6), a.Share(8.5), a.Share(11), b.Share(6), b.Share(8.5), b.Share(11), was, is)
	if a.Share(11)-a.Share(6) < 0.12 || a.Share(11) < 0.65 {
		t.Errorf("share goes from %.2f to %.2f: not front-heavy with speed", a.Share(6), a.Share(11))
	}
	if is > 0.5*was {
		t.Errorf("one card brings the evenness from %.3f to %.3f only", was, is)
	}
}

// TestSetupTOML: the setup that is written is one that the program reads, and
// says what was meant.
func TestSetupTOML(t *testing.T) {
	sc := Demo()[1]
	sc.Duration = 300
	sc.Gear.StatedCurrent = &[2]float64{0.3, 0}
	sc.Gear.Leave = []string{"foil.wing.camber_percent"}
	wrong := sc.Foil
	wrong.StabIncidence += 1 * Deg
	sc.Gear.Stated = &wrong
	s := Run(sc)
	notes := s.FeelNotes([]float64{7, 10}, 0.05)
	out, _, err := setup.Parse("setup.toml", []byte(s.SetupTOML(notes)))
	if err != nil {
		t.Fatal(err)
	}
	near := func(what string, got, want, tol float64) {
		if math.Abs(got-want) > tol {
			t.Errorf("%s is %g, want %g", what, got, want)
		}
	}
	near("mass", out.Rider.Mass, 72, 1e-9)
	near("shim", out.Foil.Stabilizer.Shim, trim.Card, 1e-6)
	near("incidence", out.Foil.Stabilizer.Incidence+math.Atan(trim.Card/0.05), wrong.StabIncidence, 1e-4)
	near("wing position", out.Foil.Wing.Ahead, sc.Foil.WingX, 1e-6)
	near("current", out.Water.Current, 0.3, 1e-3)
	near("current's direction", out.Water.CurrentTo, math.Pi/2, 1e-3)
	near("feel speed", out.Feel[0].Speed, 7, 1e-3)
	near("feel share", out.Feel[1].Share, notes[1].Share, 0.0051)
	if out.Given("foil.wing.camber_percent") {
		t.Error("a key that was to be left out is there")
	}
}

// TestFlex: a fuselage that bends takes the pitch off the straight law, as the
// true foil says.
func TestFlex(t *testing.T) {
	sc := Calm()
	sc.Wave, sc.Control, sc.ControlPerMoment, sc.PitchNoise, sc.Duration = 0, 0, 0, 0, 1200
	sc.Foil.FuselageFlex = 1.5e-4
	s := Run(sc)
	f, tr := trim.NewFoil(sc.Foil), &s.Truth
	line := func(v, normal float64) float64 {
		return tr.Zero + tr.SlopePerKg*normal/(0.5*sc.Foil.Density*v*v)
	}
	var off, bend, n float64
	for _, r := range tr.Reaches {
		for i, ti := range tr.Time {
			if ti < r.Start+6 || ti > r.End-2 || i%20 != 0 {
				continue
			}
			v, normal := float64(tr.Speed[i]), float64(tr.Normal[i])
			got := float64(tr.Pitch[i]) * math.Cos(float64(tr.Heel[i]))
			off += got - f.At(v, normal).Pitch
			bend += got - line(v, normal)
			n++
		}
	}
	if off, bend := off/n/Deg, bend/n/Deg; math.Abs(off) > 0.03 || math.Abs(bend) < 2*math.Abs(off) {
		t.Errorf("pitch is %.3f° off the true foil and %.3f° off the line", off, bend)
	}
}

// TestFelt: notes tell what the rider feels, by the rider's own zero and scale;
// the best pair is what feels even.
func TestFelt(t *testing.T) {
	sc := Default()
	sc.Duration = 200
	plain := Run(sc)
	sc.Foil.RiderZero, sc.Foil.RiderScale = 0.06, 0.25
	s := Run(sc)
	want := 0.5 + 1.25*(plain.Share(8)+0.06-0.5)
	if got := s.Felt(8); math.Abs(got-want) > 1e-9 || plain.Felt(8) != plain.Share(8) {
		t.Errorf("felt %.3f, want %.3f; without zero and scale %.3f for %.3f", got, want, plain.Felt(8), plain.Share(8))
	}
	if got := s.FeelNotes([]float64{8}, 0)[0].Share; got != s.Felt(8) {
		t.Errorf("the note says %.3f, the rider feels %.3f", got, s.Felt(8))
	}
	// What feels even is a share of 0.44: the foil belongs further back.
	w := advice.SpeedWeights{Speed: []float64{6, 8, 10}, Weight: []float64{1, 1, 1}}
	if a, b := advice.Best(plain.Scenario.Foil, w, "advanced"), advice.Best(sc.Foil, w, "advanced"); b.Foil > a.Foil-0.02 || math.Abs(b.Raise-a.Raise) > 0.2*Deg {
		t.Errorf("best pair %+v without a zero, %+v with it", a, b)
	}
}

// TestFeelNotes: the notes scatter about the true share as they say.
func TestFeelNotes(t *testing.T) {
	s := Run(func() Scenario { sc := Default(); sc.Duration = 200; return sc }())
	speeds := make([]float64, 400)
	for i := range speeds {
		speeds[i] = 7
	}
	var sum, sum2 float64
	for _, f := range s.FeelNotes(speeds, 0.06) {
		d := f.Share - s.Share(7)
		sum, sum2 = sum+d/400, sum2+d*d/400
	}
	if math.Abs(sum) > 0.012 || math.Abs(math.Sqrt(sum2)-0.06) > 0.01 {
		t.Errorf("notes are %.3f off with a spread of %.3f", sum, math.Sqrt(sum2))
	}
}

// TestDevices: what can go wrong with the two devices does go wrong, and is marked.
func TestDevices(t *testing.T) {
	sc := Default()
	sc.Duration, sc.Seed = 400, 5
	plain := Run(sc)
	sc.AccSign, sc.GyroSign = -1, -1
	flipped := Run(sc)
	for i := 0; i < 40000; i += 1000 {
		for k := range 3 {
			if plain.Log.IMU.Acc[k][i] != -flipped.Log.IMU.Acc[k][i] || plain.Log.IMU.Gyr[k][i] != -flipped.Log.IMU.Gyr[k][i] {
				t.Fatalf("sample %d axis %d is not of opposite sign", i, k)
			}
		}
	}
	sc = Default()
	sc.Duration = 400
	sc.IMUStart, sc.IMUEnd = 20, 350
	sc.IMUGaps = []ingest.Span{{Start: 100, End: 110}}
	sc.GPSGaps = []ingest.Span{{Start: 200, End: 230}}
	sc.GPSSpikes = 3
	s := Run(sc)
	if g := s.Log.IMU.Gaps; len(g) != 1 || math.Abs(g[0].Start-100) > 0.02 || math.Abs(g[0].End-110) > 0.02 {
		t.Errorf("IMU gaps %v", g)
	}
	if g := s.Log.GPS.Gaps; len(g) != 1 || math.Abs(g[0].End-230) > 1 {
		t.Errorf("GPS gaps %v", g)
	}
	if a, b := s.Truth.Time[0], s.Truth.Time[len(s.Truth.Time)-1]; math.Abs(a-20) > 0.02 || math.Abs(b-350) > 0.02 {
		t.Errorf("IMU runs from %g to %g s", a, b)
	}
	if len(s.Truth.Time) != len(s.Log.IMU.Time) || len(s.Truth.QSensor) != len(s.Truth.Time) {
		t.Error("truth and log are not in step")
	}
	flagged := 0
	for i, f := range s.Log.GPS.Flags {
		if f != 0 {
			flagged++
			if s.Log.GPS.Speed[i] < 12 {
				t.Errorf("a spike of %.1f m/s", s.Log.GPS.Speed[i])
			}
		}
	}
	if flagged == 0 {
		t.Error("no spike was flagged")
	}
	sc.NoIMU = true
	if s := Run(sc); len(s.Log.IMU.Time) != 0 || len(s.IMULog.IMU.Time) != 0 || len(s.Truth.Time) == 0 {
		t.Error("NoIMU left an IMU, or no truth")
	}
}

// TestMounting: the sensor's attitude is the board's times the mount, until it
// shifts; loose and on the wrist it is neither.
func TestMounting(t *testing.T) {
	for _, how := range []string{Fixed, Shifted, Loose, Wrist} {
		sc := Default()
		sc.Duration, sc.Mounting = 600, how
		s := Run(sc)
		tr := &s.Truth
		off := func(i int, mount quat.Number) float64 {
			b := Euler(math.Pi/2-float64(tr.Heading[i]), float64(tr.Pitch[i]), float64(tr.Heel[i]))
			return r3.Norm(rotation.Log(quat.Mul(quat.Conj(quat.Mul(b, mount)), tr.QSensor[i])))
		}
		early, late := 0.0, 0.0
		for i := 12000; i < 48000; i += 500 {
			if tr.Time[i] < 298 {
				early = math.Max(early, off(i, tr.Mount))
			} else if tr.Time[i] > 302 {
				late = math.Max(late, off(i, tr.MountAfter))
			}
		}
		steady := how == Fixed || how == Shifted
		if steady != (early < 1e-3) || steady != (late < 1e-3) {
			t.Errorf("%s: the sensor strays %.3f rad early, %.3f rad late", how, early, late)
		}
	}
}

func BenchmarkRun40min(b *testing.B) {
	for b.Loop() {
		Run(Default())
	}
}
