package analysis

import (
	"cmp"
	"math"
	"slices"

	"evenfoot/analysis/ride"
	"evenfoot/analysis/setup"
	"evenfoot/filter/align"
	"evenfoot/filter/attitude"
	"evenfoot/filter/rotation"
	"evenfoot/ingest"
	"evenfoot/ingest/write"

	"gonum.org/v1/gonum/num/quat"
)

// Export calls row for every IMU sample and every GPS fix in order of time; a
// fix at the time of a sample shares its row. A fix between two samples has the
// attitude interpolated to its time; one in a gap of the IMU, or before or after
// its log, has none. A sample between two sound fixes, both within two periods of
// the receiver, has their speed and course interpolated. The warnings are the
// analysis's own. It works with an IMU only, and without a setup. The row is
// valid during the call. With pastOnly the attitude at each sample comes from
// the causal filter, which knows neither GPS nor what follows.
func Export(log *ingest.Log, s *setup.Setup, pastOnly bool, row func(*write.Row) error) (warnings []Finding, err error) {
	o := &observation{log: log}
	aid := o.tieClocks()
	o.motion = o.board(aid, s)
	var track *attitude.Track
	signs := align.Signs{Accelerometer: 1, Gyroscope: 1}
	if m := o.motion; m != nil {
		track = m.Track
		signs.Accelerometer, signs.Gyroscope = m.Mount.AccelerometerSign, m.Mount.GyroscopeSign
	} else if hasGyroscope(&log.IMU) {
		if track, signs, err = o.compared(aid).Track(); err != nil {
			o.warn(Note{Kind: NoAttitude, Why: err.Error()})
		}
	}
	shown := o.motion
	if pastOnly && track != nil {
		var mount *align.Mount
		if shown != nil {
			mount = &shown.Mount
		}
		if track, shown, err = causal(o.samples(), log.IMU.Rate, signs, mount); err != nil {
			return o.warnings, err
		}
	}
	var rides []ride.Ride
	if len(log.GPS.Time) > 0 {
		rides = ride.Detect(rideInput(log, o.motion)).Rides
	}
	e := exporter{log: log, motion: shown, track: track, rides: rides}
	if log.Clock.Tied && log.GPS.Rate > 0 {
		e.reach = 2 / log.GPS.Rate
	}
	return o.warnings, e.each(row)
}

type exporter struct {
	log    *ingest.Log
	motion *align.Motion
	track  *attitude.Track
	rides  []ride.Ride
	reach  float64 // s to the fixes between which is interpolated; 0: not at all
}

func (e *exporter) each(row func(*write.Row) error) error {
	imu, gps := &e.log.IMU, &e.log.GPS
	i, j := 0, 0
	for i < len(imu.Time) || j < len(gps.Time) {
		sample := i < len(imu.Time) && (j >= len(gps.Time) || imu.Time[i] <= gps.Time[j])
		fix := j < len(gps.Time) && (i >= len(imu.Time) || gps.Time[j] <= imu.Time[i])
		var r write.Row
		if sample {
			r = write.Blank(imu.Time[i])
			for k := range 3 {
				r.Acc[k], r.Gyr[k] = imu.Acc[k][i], imu.Gyr[k][i]
			}
		} else {
			r = write.Blank(gps.Time[j])
		}
		at, known := spot{i, i, 0}, sample
		if !sample {
			at, known = spotAt(imu.Time, r.Time, max(bridged, gapPeriods/imu.Rate))
		}
		if known && e.track != nil {
			e.attitude(&r, at)
		}
		r.Ride = rideAt(e.rides, r.Time)
		if fix {
			r.Lat, r.Lon, r.Alt = gps.Lat[j], gps.Lon[j], gps.Alt[j]
			r.Speed, r.Course, r.Fix = gps.Speed[j], gps.Course[j], true
			j++
		} else {
			e.speed(&r, j)
		}
		if sample {
			i++
		}
		if err := row(&r); err != nil {
			return err
		}
	}
	return nil
}

// speed fills in the speed and course of a sample from the sound fixes on both
// sides; next is the first fix after it.
func (e *exporter) speed(r *write.Row, next int) {
	if e.reach == 0 {
		return
	}
	gps := &e.log.GPS
	a := next - 1
	for a >= 0 && gps.Flags[a] != 0 && r.Time-gps.Time[a] <= e.reach {
		a--
	}
	b := next
	for b < len(gps.Time) && gps.Flags[b] != 0 && gps.Time[b]-r.Time <= e.reach {
		b++
	}
	if a < 0 || b == len(gps.Time) || r.Time-gps.Time[a] > e.reach || gps.Time[b]-r.Time > e.reach {
		return
	}
	f := (r.Time - gps.Time[a]) / (gps.Time[b] - gps.Time[a])
	r.Speed = float32((1-f)*float64(gps.Speed[a]) + f*float64(gps.Speed[b]))
	turn := math.Remainder(float64(gps.Course[b])-float64(gps.Course[a]), 360) // the shorter way round
	course := math.Mod(float64(gps.Course[a])+f*turn+360, 360)
	if r.Course = float32(course); r.Course >= 360 {
		r.Course = 0
	}
}

// attitude fills in the attitude at a spot of the samples.
func (e *exporter) attitude(r *write.Row, at spot) {
	q := between(e.track.Q[at.a], e.track.Q[at.b], at.f)
	r.Q = [4]float64{q.Real, q.Imag, q.Jmag, q.Kmag}
	if m := e.motion; m != nil && len(m.Pitch) == len(e.track.Q) {
		r.Pitch, r.Heel = at.of(m.Pitch)/degree, at.of(m.Heel)/degree
	}
}

// between is the normalised linear mean of two near attitudes.
func between(a, b quat.Number, f float64) quat.Number {
	if f == 0 {
		return a
	}
	if a.Real*b.Real+a.Imag*b.Imag+a.Jmag*b.Jmag+a.Kmag*b.Kmag < 0 {
		b = quat.Scale(-1, b)
	}
	return rotation.Unit(quat.Add(quat.Scale(1-f, a), quat.Scale(f, b)))
}

// rideAt is the number of the ride at a time, from 1; 0 outside.
func rideAt(rides []ride.Ride, t float64) int {
	i, _ := slices.BinarySearchFunc(rides, t, func(r ride.Ride, t float64) int { return cmp.Or(cmp.Compare(r.End, t), 1) })
	if i < len(rides) && rides[i].Start <= t && !math.IsNaN(t) {
		return i + 1
	}
	return 0
}

// TrackColumns are what the analysis adds to each fix of a track: pitch and heel
// of the board (deg), the front foot's share where a setup tells it and the
// speed is one that counts, and the number of the ride.
func TrackColumns(r *Result) []write.Column {
	g := &r.Log.GPS
	late := 0.0 // s, a fix tells of so long ago
	motion := func(v func(*align.Motion) []float32) func(int) float64 {
		return func(i int) float64 {
			if r.Motion == nil {
				return math.NaN()
			}
			at, ok := spotAt(r.Motion.Time, g.Time[i]-late, bridged)
			if !ok {
				return math.NaN()
			}
			return at.of(v(r.Motion)) / degree
		}
	}
	if r.Motion != nil && r.Motion.Track != nil {
		late = r.Motion.Track.LatencyS
	}
	flying := func(i int) int { return rideAt(r.Ride.Rides, g.Time[i]-late) }
	through := Velocity(g)
	flow := r.seen.flow()
	return []write.Column{
		{Name: "pitch_deg", Decimals: 2, Value: motion(func(m *align.Motion) []float32 { return m.Pitch })},
		{Name: "heel_deg", Decimals: 2, Value: motion(func(m *align.Motion) []float32 { return m.Heel })},
		{Name: "front_share", Decimals: 3, Value: func(i int) float64 {
			if flying(i) == 0 {
				return math.NaN()
			}
			return r.shareAt(math.Hypot(through.East[i]-flow.East, through.North[i]-flow.North))
		}},
		{Name: "ride", Value: func(i int) float64 {
			if n := flying(i); n > 0 {
				return float64(n)
			}
			return math.NaN()
		}},
	}
}

// shareAt is the front foot's share at a speed through the water, m/s, between
// the speeds at which it was worked out; NaN outside them.
func (r *Result) shareAt(v float64) float64 {
	for k := 1; k < len(r.FootLoad); k++ {
		a, b := &r.FootLoad[k-1], &r.FootLoad[k]
		if low, high := float64(a.Speed), float64(b.Speed); v >= low && v <= high && high > low {
			return a.FrontShare.Value + (v-low)/(high-low)*(b.FrontShare.Value-a.FrontShare.Value)
		}
	}
	return math.NaN()
}

// bridged is the longest step between samples across which is interpolated, s, or
// gapPeriods of slower ones.
const bridged, gapPeriods = 0.25, 5

// A spot lies between two entries of a column, f of the way from a to b.
type spot struct {
	a, b int
	f    float64
}

// spotAt is where t lies among times; false outside them, and in a step longer than
// most, s.
func spotAt(times []float64, t, most float64) (spot, bool) {
	i, exact := slices.BinarySearch(times, t)
	switch {
	case exact:
		return spot{i, i, 0}, true
	case i == 0 || i == len(times) || times[i]-times[i-1] > most:
		return spot{}, false
	}
	return spot{i - 1, i, (t - times[i-1]) / (times[i] - times[i-1])}, true
}

func (s spot) of(v []float32) float64 { return (1-s.f)*float64(v[s.a]) + s.f*float64(v[s.b]) }
