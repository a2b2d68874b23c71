package page

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"

	"evenfoot/analysis/advice"
	"evenfoot/analysis/interval"
	"evenfoot/analysis/simulate"
	"evenfoot/analysis/trim"
	"evenfoot/ingest"
	"evenfoot/report/browser"
	"evenfoot/report/form"
)

var long = flag.Bool("long", false, "ride a whole outing with the page's logger, and weigh two hours")

// faster is how many seconds of a ride go by in one of the test: the phone's
// clocks run so fast, and its 60 readings a second come 15 times in one of the ride.
const faster = 4

var fastClock = fmt.Sprintf(`(k => {
	const now = performance.now.bind(performance), stamp = Object.getOwnPropertyDescriptor(Event.prototype, "timeStamp").get;
	const every = setInterval, fix = Object.getOwnPropertyDescriptor(GeolocationPosition.prototype, "timestamp").get;
	performance.now = () => k * now();
	Object.defineProperty(Event.prototype, "timeStamp", { get() { return k * stamp.call(this); } });
	Object.defineProperty(GeolocationPosition.prototype, "timestamp", { get() { return performance.timeOrigin + k * (fix.call(this) - performance.timeOrigin); } });
	globalThis.setInterval = (f, ms) => every(f, ms / k);
	delete globalThis.Gyroscope; // its readings have a clock of their own
})(%d);`, faster)

// outing is seven minutes on a foil whose stabilizer is 1.2° off, in flat water;
// the browser rounds what the sensors read.
func outing() *simulate.Session {
	sc := simulate.Calm()
	sc.Duration, sc.Rest, sc.Carry, sc.Swim = 420, 16, 2, 2
	sc.ReachMin, sc.ReachMax, sc.Sweep = 18, 28, true
	sc.IMURate, sc.Vibration, sc.AccStep, sc.GyroStep = 15, 0.3, 0, 0
	return simulate.Run(sc)
}

// play feeds the phone's sensors with a simulated outing.
func (b board) play(s *simulate.Session) {
	imu, gps := &s.Log.IMU, &s.Log.GPS
	begin := time.Now()
	accuracy, fix := 4.0, 0
	for i := 0; i < len(imu.Time); {
		b.read([3]float64{float64(imu.Acc[0][i]), float64(imu.Acc[1][i]), float64(imu.Acc[2][i])}, [3]float64{float64(imu.Gyr[0][i]), float64(imu.Gyr[1][i]), float64(imu.Gyr[2][i])})
		if fix < len(gps.Time) && gps.Time[fix] <= imu.Time[i] {
			at := emulation.SetGeolocationOverrideParams{Latitude: &gps.Lat[fix], Longitude: &gps.Lon[fix], Accuracy: &accuracy}
			if speed, course := float64(gps.Speed[fix]), float64(gps.Course[fix]); !math.IsNaN(course) {
				at.Speed, at.Heading = &speed, &course
			}
			browser.Call(b.p.Tab, emulation.SetGeolocationOverride, at)
			fix++
		}
		time.Sleep(time.Until(begin.Add(time.Duration(imu.Time[i] * float64(time.Second) / faster))))
		for now := time.Since(begin).Seconds() * faster; i < len(imu.Time) && imu.Time[i] <= now; {
			i++
		}
	}
}

// TestRide: an outing is ridden with the phone on the board, its sensors and
// position overridden with a simulated one; then the form is filled in, and the
// advice is the true foil's.
func TestRide(t *testing.T) {
	if !*long {
		t.Skip("rides for a minute and a half; -long")
	}
	s := outing()
	p := newPhone(t, fastClock)
	b := p.mount()
	p.open("#record")
	p.tap("start")
	p.until(`document.getElementById("running").offsetParent !== null`)
	b.play(s)
	level := browser.Eval[string](p.Tab, `document.getElementById("status").innerText`)
	p.tap("stop")
	p.tap("stop")
	p.until(`document.body.dataset.at.startsWith("#session/")`)
	name := browser.Eval[string](p.Tab, `document.getElementById("session-name").textContent`)

	file := filepath.Join(t.TempDir(), "phone.csv")
	p.Must(os.WriteFile(file, []byte(p.stored(name, "phone.csv")), 0o600))
	log, err := ingest.Open(file, ingest.Options{})
	p.Must(err)
	t.Logf("%.0f s recorded, motion at %.1f Hz, %d fixes; %s", log.Length(), log.IMU.Rate, len(log.GPS.Time), level)

	p.open("#setup/" + name)
	p.until(`document.querySelectorAll("#form input").length > 40`)
	fields, err := form.Read([]byte(s.SetupTOML(s.FeelNotes([]float64{6.2, 8, 10.2}, 0.02))))
	p.Must(err)
	for field, v := range fields {
		p.fill(field, v)
	}
	p.until(`document.getElementById("check").textContent.startsWith("All values")`)
	p.tap("save")
	p.until(`document.body.dataset.at.startsWith("#session/")`)
	p.tap("analyse")
	p.until(`!document.getElementById("answer").hidden && /front foot/.test(document.getElementById("answer").textContent)`)
	p.Shot("beach-ridden", true)

	var r struct {
		Law struct {
			Slope interval.Interval `json:"slope_deg_per_m2"`
		} `json:"pitch_law"`
		Advice struct {
			Change interval.Interval `json:"stabilizer_change_deg"`
			Move   interval.Interval `json:"foil_move_mm"`
		} `json:"advice"`
	}
	p.Must(json.Unmarshal([]byte(p.stored(name, "result.json")), &r))
	const deg = math.Pi / 180
	best := bestTurn(s) / deg
	now, after := load(s, trim.Change{}), load(s, trim.Change{Raise: r.Advice.Change.Value * deg, Foil: r.Advice.Move.Value / 1000})
	t.Logf("pitch law %.1f (%.1f to %.1f), true %.1f deg m²; stabilizer %+.2f° (%+.2f to %+.2f), best %+.2f°; load off even by %.3f now, %.3f after", r.Law.Slope.Value, r.Law.Slope.Low, r.Law.Slope.High, s.Truth.Slope/deg,
		r.Advice.Change.Value, r.Advice.Change.Low, r.Advice.Change.High, best, now, after)
	// A 90 % interval misses one in ten; twice as wide, one in a thousand.
	if law := r.Law.Slope; math.Abs(law.Value-s.Truth.Slope/deg) > law.High-law.Low {
		t.Error("the pitch law is not the true one's")
	}
	if !r.Advice.Change.Contains(best) {
		t.Error("the advice's interval does not hold the best change")
	}
	if after > 0.75*now {
		t.Error("all the way the load is hardly more even")
	}
	p.NoErrors()
}

// bestTurn is the true foil's best turn of the stabilizer, rad, by what the advice
// aims at, over the speeds of the flight but for the slowest and fastest.
func bestTurn(s *simulate.Session) float64 {
	var w advice.SpeedWeights
	for i := 0; i < len(s.Truth.Speed); i += 15 {
		if s.Truth.Flying[i] {
			w.Speed, w.Weight = append(w.Speed, float64(s.Truth.Speed[i])), append(w.Weight, 1)
		}
	}
	slices.Sort(w.Speed)
	n := len(w.Speed)
	w.Low, w.Top = w.Speed[n*5/100], w.Speed[n*98/100]
	return advice.Best(s.Scenario.Foil, w, s.Scenario.Gear.Level).Raise
}

// load is how far the true foil's load is off even, RMS of the front foot's
// share, with a change.
func load(s *simulate.Session, c trim.Change) float64 {
	foil, sum, n := trim.NewFoil(s.Scenario.Foil), 0.0, 0.0
	for i := 0; i < len(s.Truth.Speed); i += 15 {
		if s.Truth.Flying[i] {
			p := foil.Point(float64(s.Truth.Speed[i]), trim.Gravity)
			off := p.With(c).FeltShare - 0.5
			sum, n = sum+off*off, n+1
		}
	}
	return math.Sqrt(sum / n)
}
