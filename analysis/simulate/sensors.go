package simulate

import (
	"cmp"
	"math"
	"math/rand/v2"

	"evenfoot/analysis/trim"
	"evenfoot/filter/rotation"
	"evenfoot/ingest"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// rates are the angular rates in the body frame, rad/s, to fourth order. What
// is left of the frame's own turning drops out to this order, since the
// rotation vector to a neighbour is the negative of the one back.
func rates(q []quat.Number, dt float64) []r3.Vec {
	n := len(q)
	turn := func(a, b int) r3.Vec { return rotation.Log(quat.Mul(quat.Conj(q[a]), q[b])) }
	out := make([]r3.Vec, n)
	var one [2]r3.Vec // from i-1 to i, from i to i+1
	var two [3]r3.Vec // from i-2 to i, from i-1 to i+1, from i to i+2
	for i := range out {
		if i+1 < n {
			one[0], one[1] = one[1], turn(i, i+1)
		}
		if i+2 < n {
			two[0], two[1], two[2] = two[1], two[2], turn(i, i+2)
		}
		if a, b := max(i-1, 0), min(i+1, n-1); i < 2 || i > n-3 {
			out[i] = r3.Scale(1/(float64(max(b-a, 1))*dt), turn(a, b))
			continue
		}
		w := r3.Sub(r3.Scale(8.0/12, r3.Add(one[1], one[0])), r3.Scale(1.0/12, r3.Add(two[2], two[0])))
		out[i] = r3.Scale(1/dt, w)
	}
	return out
}

// swings are how far a sensor that is not fixed swings, rad RMS, and how fast, s.
var swings = map[string]struct{ size, spacing float64 }{Loose: {20 * Deg, 2.5}, Wrist: {45 * Deg, 1.2}}

// holder gives the sensor's attitude to the board over the session.
type holder struct {
	sc      *Scenario
	shiftAt float64
	after   quat.Number
	size    float64 // rad RMS of the swing
	swing   [3]*spline
}

func newHolder(sc *Scenario, dt float64) *holder {
	h := &holder{sc: sc, shiftAt: math.Inf(1), after: sc.Mount, size: swings[sc.Mounting].size}
	if sc.Mounting == Shifted {
		h.shiftAt = cmp.Or(sc.ShiftAt, sc.Duration/2)
		h.after = quat.Mul(rotation.Exp(r3.Vec{X: sc.ShiftBy / math.Sqrt2, Y: sc.ShiftBy / math.Sqrt2}), sc.Mount)
	}
	for k := range h.swing {
		h.swing[k] = newSpline(stream(sc.Seed, uint64(40+k)), dt, cmp.Or(swings[sc.Mounting].spacing, 1))
	}
	return h
}

// at is the sensor-to-board rotation at time t; call it once a sample, in order.
func (h *holder) at(t float64) quat.Number {
	if size := h.size; size > 0 {
		yaw, pitch, roll := h.swing[0].next(), h.swing[1].next(), h.swing[2].next()
		return quat.Mul(Euler(size*yaw, size*pitch, size*roll), h.sc.Mount)
	}
	if u := math.Min((t-h.shiftAt)/0.5+0.5, 1); u > 0 { // the sensor turns within half a second
		return slerp(h.sc.Mount, h.after, u*u*(3-2*u))
	}
	return h.sc.Mount
}

// slerp goes from a to b along the shorter arc.
func slerp(a, b quat.Number, u float64) quat.Number {
	return quat.Mul(a, rotation.Exp(r3.Scale(u, rotation.Log(quat.Mul(quat.Conj(a), b)))))
}

// imu is what the logger writes: true motion through an imperfect sensor. It
// returns the index on the grid of every sample kept.
func (m *motion) imu(sc *Scenario, q []quat.Number, hold *holder) (ingest.IMU, []quat.Number, []int) {
	n := m.n
	out := ingest.IMU{Rate: sc.IMURate}
	for k := range 3 {
		out.Acc[k] = make([]float32, 0, n)
		out.Gyr[k] = make([]float32, 0, n)
	}
	out.Time = make([]float64, 0, n)
	index := make([]int, 0, n)
	sensor, toBoard := m.rotations(1), m.rotations(2)
	usual := (sc.SpeedLow + sc.SpeedHigh) / 2
	for i := range n {
		toBoard[i] = hold.at(float64(i) * m.dt)
		if sc.MountBend != 0 {
			bend := sc.MountBend * m.fly[i] * (m.speed[i] - usual)
			toBoard[i] = quat.Mul(Euler(0, bend, 0), toBoard[i])
		}
		sensor[i] = quat.Mul(q[i], toBoard[i])
	}
	r := stream(sc.Seed, 20)
	shake := newSpline(stream(sc.Seed, 21), m.dt, max(0.03, 1.5*m.dt))
	var drift [3]*spline
	for k := range drift {
		drift[k] = newSpline(stream(sc.Seed, uint64(22+k)), m.dt, 300)
	}
	end := cmp.Or(sc.IMUEnd, math.Inf(1))
	accSign, gyrSign := float64(cmp.Or(sc.AccSign, 1)), float64(cmp.Or(sc.GyroSign, 1))
	mid := sc.Duration / 2
	board := rates(q, m.dt)
	var turns []r3.Vec // of a sensor that does not turn with the board
	if sc.Mounting != "" && sc.Mounting != Fixed || sc.MountBend != 0 {
		turns = rates(sensor, m.dt)
	}
	for i := range n {
		t := float64(i) * m.dt
		w := board[i]
		a := rotation.Rotate(quat.Conj(q[i]), r3.Vec{X: m.acc[0][i], Y: m.acc[1][i], Z: m.acc[2][i] + trim.Gravity})
		spin := r3.Scale(1/(2*m.dt), r3.Sub(board[min(i+1, n-1)], board[max(i-1, 0)]))
		a = r3.Add(a, r3.Add(r3.Cross(spin, sc.Lever), r3.Cross(w, r3.Cross(w, sc.Lever))))
		a.Z += sc.blow(t)
		a = rotation.Rotate(quat.Conj(toBoard[i]), a)
		turn := rotation.Rotate(quat.Conj(toBoard[i]), w)
		if turns != nil {
			turn = turns[i]
		}
		f, g := [3]float64{a.X, a.Y, a.Z}, [3]float64{turn.X, turn.Y, turn.Z}
		tremble := sc.Vibration * m.rough[i]
		for k := range 3 {
			v := tremble * (0.6*shake.next() + 0.8*r.NormFloat64())
			f[k] = f[k]*(1+sc.AccScale) + sc.AccBias[k] + sc.AccNoise*r.NormFloat64() + v
			g[k] = g[k]*(1+sc.GyroScale) + sc.GyroBias[k] + sc.GyroDrift*drift[k].next() + sc.GyroNoise*r.NormFloat64() + 0.01*v
			f[k] = accSign * quantise(min(max(f[k], -accRange), accRange), sc.AccStep)
			g[k] = gyrSign * quantise(min(max(g[k], -gyroRange), gyroRange), sc.GyroStep)
		}
		if t < sc.IMUStart || t > end || within(sc.IMUGaps, t) {
			continue
		}
		index = append(index, i)
		out.Time = append(out.Time, t+sc.ClockOffset+sc.DriftPPM*1e-6*(t-mid))
		for k := range 3 {
			out.Acc[k] = append(out.Acc[k], float32(f[k]))
			out.Gyr[k] = append(out.Gyr[k], float32(g[k]))
		}
	}
	out.Gaps = gaps(out.Time, 1/sc.IMURate)
	return out, sensor, index
}

// Where the logger clips, m/s² and rad/s.
const accRange, gyroRange = 157, 35

func quantise(x, step float64) float64 {
	if step <= 0 {
		return x
	}
	return math.RoundToEven(x/step) * step
}

// gaps are the spans longer than five periods and a quarter of a second.
func gaps(t []float64, period float64) []ingest.Span {
	var out []ingest.Span
	for i := 1; i < len(t); i++ {
		if d := t[i] - t[i-1]; d > 5*period && d >= 0.25 {
			out = append(out, ingest.Span{Start: t[i-1], End: t[i]})
		}
	}
	return out
}

// gps is what the receiver writes.
func (m *motion) gps(sc *Scenario) ingest.GPS {
	out := ingest.GPS{Rate: sc.GPSRate, SpeedFrom: "receiver", SpeedSD: sc.VelocitySD}
	if sc.GPSRate <= 0 {
		return out
	}
	step := 1 / sc.GPSRate
	r := stream(sc.Seed, 30)
	var vel, pos [2]*ar1
	for k := range 2 {
		vel[k] = newAR1(r, step, 3)
		pos[k] = newAR1(r, step, 60)
	}
	// Radii of curvature, WGS 84.
	sinLat, cosLat := math.Sincos(sc.Origin[0] * Deg)
	w := 1 - 0.00669437999014*sinLat*sinLat
	north := 6378137 * (1 - 0.00669437999014) / (w * math.Sqrt(w))
	east := 6378137 / math.Sqrt(w) * cosLat
	spikes := m.spikes(sc, r)
	var px, py []float64
	for k := 0; ; k++ {
		t := float64(k) * step
		if t > sc.Duration {
			break
		}
		ve := m.at(m.vE, t-sc.GPSLatency) + sc.VelocitySD*vel[0].next()
		vn := m.at(m.vN, t-sc.GPSLatency) + sc.VelocitySD*vel[1].next()
		x := m.at(m.x, t-sc.GPSLatency) + sc.PositionSD*pos[0].next() + sc.PositionFuzz*r.NormFloat64()
		y := m.at(m.y, t-sc.GPSLatency) + sc.PositionSD*pos[1].next() + sc.PositionFuzz*r.NormFloat64()
		if within(sc.GPSGaps, t) {
			continue
		}
		speed, course := math.Hypot(ve, vn), math.Mod(math.Atan2(ve, vn)/Deg+360, 360)
		var flag ingest.Flag
		if spikes[k] {
			speed += 12 + 10*r.Float64()
			flag = ingest.FlagSpike
		}
		if speed < 0.1 {
			course = math.NaN()
		}
		out.Time = append(out.Time, t)
		out.Lat = append(out.Lat, sc.Origin[0]+y/north/Deg)
		out.Lon = append(out.Lon, sc.Origin[1]+x/east/Deg)
		out.Alt = append(out.Alt, float32(1.2+2*pos[0].x))
		out.Speed = append(out.Speed, float32(speed))
		out.Course = append(out.Course, float32(course))
		out.Flags = append(out.Flags, flag)
		px, py = append(px, x), append(py, y)
	}
	if sc.PositionOnly {
		out.SpeedFrom = "positions"
		out.SpeedSD = math.Hypot(sc.PositionFuzz*sc.GPSRate/math.Sqrt2, sc.PositionSD*math.Sqrt(2/60.0*step)*sc.GPSRate/2)
		for i := range px {
			a, b := max(i-1, 0), min(i+1, len(px)-1)
			if a == b {
				continue
			}
			d := out.Time[b] - out.Time[a]
			ve, vn := (px[b]-px[a])/d, (py[b]-py[a])/d
			out.Speed[i] = float32(math.Hypot(ve, vn))
			out.Course[i] = float32(math.Mod(math.Atan2(ve, vn)/Deg+360, 360))
		}
	}
	out.Gaps = gaps(out.Time, step)
	return out
}

func (m *motion) spikes(sc *Scenario, r *rand.Rand) map[int]bool {
	out := map[int]bool{}
	if n := int(sc.Duration * sc.GPSRate); n > 0 {
		for range sc.GPSSpikes {
			out[r.IntN(n)] = true
		}
	}
	return out
}

// at is a column's value at time t, ends held.
func (m *motion) at(col []float64, t float64) float64 {
	x := min(max(t/m.dt, 0), float64(len(col)-1))
	i := min(int(x), len(col)-1)
	if i+1 >= len(col) {
		return col[i]
	}
	u := x - float64(i)
	return col[i]*(1-u) + col[i+1]*u
}

func within(spans []ingest.Span, t float64) bool {
	for _, s := range spans {
		if t >= s.Start && t < s.End {
			return true
		}
	}
	return false
}
