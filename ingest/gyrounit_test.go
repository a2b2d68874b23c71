package ingest

import (
	"cmp"
	"math"
	"math/rand/v2"
	"testing"

	"evenfoot/ingest/csv"
	"evenfoot/ingest/raw"
	"evenfoot/ingest/unit"
)

// boardMotion is an IMU on a board that pitches, rolls and turns, 25 Hz: the
// accelerometer feels gravity and, to the part lean (0 to 1), leans with the
// heel as in a turn; the rates are scaled by times.
func boardMotion(seconds, size, lean, times float64, sign float64) *raw.Columns {
	rnd := rand.New(rand.NewPCG(3, 9))
	n := int(25 * seconds)
	r := &raw.Columns{File: File{Name: "board", Kind: "CSV"}}
	r.Acc.Unit, r.Gyr.Unit = "mps2", "radps"
	const degree = math.Pi / 180
	angles := func(t float64) (pitch, heel, yaw float64) {
		return size * (3*math.Sin(1.9*t) + 2*math.Sin(0.7*t)) * degree,
			size * (9*math.Sin(0.8*t+1) + 4*math.Sin(2.3*t)) * degree,
			size * 40 * math.Sin(0.2*t) * degree
	}
	for i := range n {
		t := float64(i) / 25
		const h = 1e-4
		p, q, _ := angles(t)
		p1, q1, y1 := angles(t + h)
		p0, q0, y0 := angles(t - h)
		dp, dq, dy := (p1-p0)/(2*h), (q1-q0)/(2*h), (y1-y0)/(2*h)
		// Turns z, then y (pitch), then x (heel): rates in the sensor's frame.
		sp, cp := math.Sincos(p)
		sq, cq := math.Sincos(q)
		w := [3]float64{dq - dy*sp, dp*cq + dy*cp*sq, -dp*sq + dy*cp*cq}
		sf, cf := math.Sincos(q * (1 - lean))
		f := [3]float64{-unit.Gravity * sp, unit.Gravity * cp * sf, unit.Gravity * cp * cf}
		r.Acc.Time = append(r.Acc.Time, t)
		for k := range 3 {
			r.Acc.V[k] = append(r.Acc.V[k], float32(f[k]+rnd.NormFloat64()*0.6)) // chop
			r.Gyr.V[k] = append(r.Gyr.V[k], float32((w[k]+rnd.NormFloat64()*0.01)*times*sign))
		}
	}
	r.Gyr.Time = r.Acc.Time
	return r
}

// TestGyroscopeUnit: rates in another unit than the file says are told from how
// gravity turns; a sound gyroscope never is, at rest or in any motion.
func TestGyroscopeUnit(t *testing.T) {
	const dps = 180 / math.Pi
	for _, c := range []struct {
		name                       string
		seconds, size, lean, times float64
		sign                       float64
		Unit, want                 string
	}{
		{"sound", 120, 1, 0, 1, 1, "radps", ""},
		{"sound, calm", 120, 0.1, 0, 1, 1, "radps", ""},
		{"sound, at rest", 120, 0, 0, 1, 1, "radps", ""},
		{"sound, shaken", 120, 20, 0, 1, 1, "radps", ""},
		{"sound, leaning turns", 120, 1, 0.8, 1, 1, "dps", ""},
		{"sound, another sign", 120, 1, 0, 1, -1, "dps", ""},
		{"deg/s read as rad/s", 120, 1, 0, dps, 1, "radps", `another unit, "dps", "radps", 57.3`},
		{"deg/s read as rad/s, leaning turns", 120, 1, 0.8, dps, 1, "radps", `another unit, "dps", "radps"`},
		{"deg/s read as rad/s, another sign", 120, 1, 0, dps, -1, "radps", `another unit, "dps", "radps"`},
		{"deg/s read as rad/s, calm", 120, 0.3, 0, dps, 1, "radps", `"dps", "radps", 57.3`},
		{"rad/s read as deg/s", 120, 1, 0, 1 / dps, 1, "dps", `another unit, "radps", "dps", 0.01745`},
		{"rad/s read as deg/s, leaning turns", 120, 1, 0.8, 1 / dps, 1, "dps", `"radps", "dps", 0.01745`},
		{"mdeg/s read as deg/s", 120, 1, 0, 1000, 1, "dps", `"mdps", "dps", 1000`},
		{"at rest, read as deg/s", 120, 0, 0, 1 / dps, 1, "dps", ""},
		{"too short to tell", 20, 1, 0, dps, 1, "radps", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := boardMotion(c.seconds, c.size, c.lean, c.times, c.sign)
			r.Gyr.Unit = c.Unit
			l, err := build(r)
			if err != nil {
				t.Fatal(err)
			}
			excess, ok := gyroExcess(&l.IMU)
			median, peak := turns(&l.IMU)
			t.Logf("median %.3g, peak %.3g rad/s, %.3g times too large, %v", median, peak, excess, ok)
			if c.want != "" {
				hasWarning(t, l, 0, c.want)
			}
			if (c.want != "") != (len(l.Warnings) == 1) {
				t.Errorf("warnings %v", l.Warnings)
			}
		})
	}
}

// TestOneSensorAFile: the warnings that a file earns alone go when the files are
// read together, and the gyroscope's unit is looked at only then.
func TestOneSensorAFile(t *testing.T) {
	for _, times := range []float64{1, 180 / math.Pi} {
		whole := boardMotion(120, 1, 0, times, 1)
		acc, err := build(&raw.Columns{File: File{Name: "acc.csv", Kind: "CSV"}, Acc: whole.Acc})
		if err != nil {
			t.Fatal(err)
		}
		gyr, err := build(&raw.Columns{File: File{Name: "gyr.csv", Kind: "CSV"}, Gyr: whole.Gyr})
		if err != nil {
			t.Fatal(err)
		}
		hasWarning(t, gyr, 0, "without accelerometer")
		l, err := Merge([]*Log{acc, gyr})
		if err != nil {
			t.Fatal(err)
		}
		if times == 1 && len(l.Warnings) > 0 {
			t.Errorf("warnings %v", l.Warnings)
		}
		if times > 1 {
			hasWarning(t, l, 0, `"dps", "radps", 57.3`)
			if len(l.Warnings) != 1 || l.Warnings[0].File != "gyr.csv" {
				t.Errorf("warnings %v", l.Warnings)
			}
		}
		if len(gyr.Warnings) != 1 {
			t.Error("merging changed what it was given")
		}
	}
	// With a map for both sensors each file lacks one.
	m, err := csv.ParseMap("m", []byte("time_s = \"t\"\nax_g = \"x\"\nay_g = \"y\"\naz_g = \"z\"\ngx_dps = \"p\"\ngy_dps = \"q\"\ngz_dps = \"r\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	var logs []*Log
	for _, head := range []string{"t,x,y,z\n", "t,p,q,r\n"} {
		l, err := readText(head+"0,0,0,1\n0.01,0,0,1\n0.02,0,0,1\n", Options{Map: m})
		if err != nil {
			t.Fatal(err)
		}
		logs = append(logs, l)
	}
	l, err := Merge(logs)
	if err != nil || len(l.Warnings) > 0 {
		t.Errorf("%v, warnings %v", err, l.Warnings)
	}
}

// TestGuessedGyroscope: a unit that the file does not tell is put right by the values
// of the whole file, in one file and in two; a few glitches in a sound one change
// nothing.
func TestGuessedGyroscope(t *testing.T) {
	const dps = 180 / math.Pi
	sound := boardMotion(120, 1, 0, 1, 1)
	for _, apart := range []bool{false, true} {
		r := boardMotion(120, 1, 0, dps, 1)
		r.Gyr.Guessed = true
		came := r.Gyr.V[0][500]
		var l *Log
		var err error
		if apart {
			acc, err1 := build(&raw.Columns{File: File{Name: "acc.csv", Kind: "CSV"}, Acc: r.Acc})
			gyr, err2 := build(&raw.Columns{File: File{Name: "gyr.csv", Kind: "CSV"}, Gyr: r.Gyr})
			if err = cmp.Or(err1, err2); err == nil {
				l, err = Merge([]*Log{acc, gyr})
			}
			if err == nil && (gyr.gyrOnly.V[0][500] != came || gyr.Files[0].Channels[0].Unit != "rad/s") {
				t.Error("merging changed what it was given")
			}
		} else {
			l, err = build(r)
		}
		if err != nil {
			t.Fatal(err)
		}
		hasWarning(t, l, 0, "gyroscope's unit by its values")
		if got, want := l.IMU.Gyr[0][500], sound.Gyr.V[0][500]; math.Abs(float64(got-want)) > 1e-5 || l.IMU.GyrGuess != "°/s" {
			t.Errorf("apart %v: %g rad/s by %q, want %g", apart, got, l.IMU.GyrGuess, want)
		}
		if f := l.Files[len(l.Files)-1]; f.Channels[len(f.Channels)-1].Unit != "°/s" {
			t.Errorf("apart %v: channels %+v", apart, f.Channels)
		}
	}
	glitches := boardMotion(120, 1, 0, 1, 1)
	glitches.Gyr.Guessed = true
	for i := 100; i < len(glitches.Gyr.Time); i += 200 {
		glitches.Gyr.V[0][i] = 96
	}
	l, err := build(glitches)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := l.IMU.Gyr[0][501], sound.Gyr.V[0][501]; got != want || len(l.Warnings) > 0 {
		t.Errorf("a few glitches: %g rad/s, want %g; warnings %v", got, want, l.Warnings)
	}
}
