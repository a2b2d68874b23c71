package glide_test

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"evenfoot/analysis/glide"
	"evenfoot/ingest/opendata"
)

// anderson is a wing of aspect ratio 8 by Anderson, Fundamentals of Aerodynamics,
// example 5.1: C_L 0.4339 costs C_D 0.00790 (the example's inputs, recomputed).
func anderson(cl float64) float64 { return 0.00790 * (cl / 0.4339) * (cl / 0.4339) }

// white is half of White's plate, Fluid Mechanics, example 7.4: 1.2 by 6 ft along
// the stream at 40 ft/s has 80.0 lbf on both sides, by C_D = 0.031/Re^(1/7) (the
// example's inputs, recomputed).
func white(speed float64) float64 {
	const foot, pound = 0.3048, 4.4482216
	return 0.5 * 80.0 * pound * math.Pow(speed/(40*foot), 13.0/7)
}

// TestCoastDown: a body whose drag two textbooks give runs out without noise or
// wind; its drag area comes back, and what of it the lift costs. The foil that
// the fit starts from drags 30 % less, and its lift costs 10 % more.
func TestCoastDown(t *testing.T) {
	const mass, density, wing = 91.0, 1025.0, 0.13
	induced := func(v float64) float64 {
		q := 0.5 * density * v * v
		return q * wing * anderson(mass*9.80665/(q*wing))
	}
	o := glide.Outing{SpeedSD: 0.005, FlowSD: 0.01, Body: glide.Body{
		Mass: mass, Density: density, Air: 1e-6,
		Profile: func(v float64) float64 { return 0.7 * white(v) },
		Induced: func(v float64) float64 { return 1.1 * induced(v) },
	}}
	for k := range 4 {
		raw := []glide.Fix{}
		east, north := math.Sincos(float64(k) * 1.3)
		v := 11.0
		for i := 0; i <= 7000 && v > 4; i++ { // s/1000
			if i%500 == 0 {
				raw = append(raw, glide.Fix{T: float64(i) / 1000, East: v * east, North: v * north})
			}
			slow := func(v float64) float64 { return (white(v) + induced(v)) / mass }
			v -= 1e-3 * slow(v-0.5e-3*slow(v))
		}
		o.Glides = append(o.Glides, glide.FromFixes(raw, 0.001, ""))
	}
	fit, err := glide.New(o)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range []float64{5, 7, 10} {
		want := 2 * (white(v) + induced(v)) / (density * v * v)
		if got := fit.Area(v); math.Abs(got.Value/want-1) > 0.015 {
			t.Errorf("at %.0f m/s the drag area is %.5f m², not %.5f", v, got.Value, want)
		}
	}
	if p := fit.Profile().Value; math.Abs(p*0.7-1) > 0.03 {
		t.Errorf("the profile drag is %.3f of the model's, not %.3f", p, 1/0.7)
	}
}

// TestNoGlides: of ten glides two were none, the rig still pulled 45 N. They are
// told and count for little: the drag area is about what it is without them.
func TestNoGlides(t *testing.T) {
	for seed := range 5 {
		r := rand.New(rand.NewPCG(uint64(seed), 5))
		k := draw(r, 5)
		o := k.outing(r, 8)
		honest, err := glide.New(o)
		if err != nil {
			t.Fatal(err)
		}
		v := honest.Speed()
		want := honest.Area(v).Value
		k.pulled, k.pull = 1, 45
		o.Glides = append(o.Glides, k.outing(r, 2).Glides...)
		given := slices.Clone(o.Glides)
		fit, err := glide.New(o)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(given, o.Glides) {
			t.Error("the fit writes into the glides that it was given")
		}
		if got := fit.Area(v).Value; math.Abs(got/want-1) > 0.08 {
			t.Errorf("seed %d: two that were none move the drag area by %+.1f %%", seed, 100*(got/want-1))
		}
		told := 0
		for _, g := range fit.Outing().Glides[8:] {
			if g.Why == glide.Pulled {
				told++
			}
		}
		if told == 0 {
			t.Errorf("seed %d: none of the two is told: %+v", seed, fit.Outing().Glides[8:])
		}
	}
}

func TestNone(t *testing.T) {
	if _, err := glide.New(glide.Outing{}); err == nil {
		t.Error("a drag without a glide")
	}
}

// TestAircraft goes as far as an open flight test does (a light aircraft with the
// power off slows from 42 to 27 m/s, OnSpeed Gen3, 2024 to 2026, MIT licence): the
// drag over weight that the fit takes from GNSS speed and climb, up to 15 s, is held
// against the same aircraft's accelerometer, which felt it along the path. The
// accelerometer's mount is tilted by a constant, so that only changes are told.
func TestAircraft(t *testing.T) {
	tab := opendata.Table(t, "aircraft/deceleration.csv.gz")
	raw := []glide.Fix{}
	felt := map[int][]float64{} // by second, m/s² against the path
	var speeds [16]float64
	rise, last, climb, speed := 0.0, math.NaN(), 0.0, 42.0
	for i := range tab["time_s"] {
		get := func(name string) float64 { return tab[name][i] }
		now := get("time_s")
		if now > 15 {
			break
		}
		if v := get("speed_mps"); v == v {
			if last == last {
				rise += get("climb_mps") * (now - last)
			}
			last, climb, speed = now, get("climb_mps"), v
			raw = append(raw, glide.Fix{T: now, East: v, Rise: rise})
		}
		attack := get("ref_pitch_deg")*math.Pi/180 - math.Asin(climb/speed)
		sin, cos := math.Sincos(attack)
		felt[int(now)] = append(felt[int(now)], get("az_mps2")*sin-get("ax_mps2")*cos)
		speeds[int(now)] = speed
	}
	o := glide.Outing{Glides: []glide.Glide{glide.FromFixes(raw, 0.05, "")}, SpeedSD: 0.1, FlowSD: 0.1, Body: glide.Body{
		Mass: 1, Density: 1, Air: 1e-9, // per kilogram
		Profile: func(v float64) float64 { return 0.5 * (v / 36) * (v / 36) },
		Induced: func(v float64) float64 { return 0.5 * (36 / v) * (36 / v) },
	}}
	fit, err := glide.New(o)
	if err != nil {
		t.Fatal(err)
	}
	var off, square, n float64
	for s := 1; s < 14; s++ {
		mean := 0.0
		for _, a := range felt[s] {
			mean += a / float64(len(felt[s]))
		}
		drag, _ := fit.Water(speeds[s])
		d := drag - mean
		off, square, n = off+d, square+d*d, n+1
	}
	off /= n
	if rms := math.Sqrt(square/n - off*off); rms > 0.08 {
		t.Errorf("drag by the path and by the accelerometer differ by %.3f m/s² RMS about %.2f", rms, off)
	}
	if drag, _ := fit.Water(36); drag/9.80665 < 0.085 || drag/9.80665 > 0.105 {
		t.Errorf("the aircraft glides 1:%.1f at 36 m/s; its speed and climb alone say 1:10.5", 9.80665/drag)
	}
}

// TestCalm: a wind of which nothing is known but that it is about none has an
// interval.
func TestCalm(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 5))
	k := draw(r, 5)
	o := k.outing(r, 2)
	for i := range o.Glides {
		o.Glides[i] = glide.FromFixes([]glide.Fix{{North: 9}, {T: 1, North: 8.5}, {T: 2, North: 8}, {T: 3, North: 7.5}}, 0.1, "")
	}
	o.WindFromSD, o.Flow, o.Body.Air = 0, [2]float64{}, 0
	fit, err := glide.New(o)
	if err != nil {
		t.Fatal(err)
	}
	if w := fit.Wind(); !(w.Value < 0.1 && w.Low == 0 && w.High > 1) {
		t.Errorf("the wind is %+v", w)
	}
}
