package page

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	cdbrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"evenfoot/ingest"
	"evenfoot/report/browser"
)

// A board feeds a phone's sensors, as if it lay on one.
type board struct{ p *phone }

func (p *phone) mount() board {
	for _, s := range []emulation.SensorType{emulation.SensorTypeAccelerometer, emulation.SensorTypeGyroscope, emulation.SensorTypeLinearAcceleration, emulation.SensorTypeGravity} {
		browser.Call(p.Tab, emulation.SetSensorOverrideEnabled, emulation.SetSensorOverrideEnabledParams{Enabled: true, Type: s})
	}
	browser.Call(p.Tab, cdbrowser.SetPermission, cdbrowser.SetPermissionParams{Permission: &cdbrowser.PermissionDescriptor{Name: "geolocation"}, Setting: cdbrowser.PermissionSettingGranted, Origin: p.server.URL})
	b := board{p}
	b.set(0, 0)
	return b
}

// set is the board at a pitch, rad, with its rate, rad/s: specific force and
// turn rate in a phone that points to the bow, its y axis to port.
func (b board) set(pitch, rate float64) {
	xyz := func(x, y, z float64) *emulation.SensorReading {
		return &emulation.SensorReading{Xyz: &emulation.SensorReadingXYZ{X: x, Y: y, Z: z}}
	}
	g := xyz(gravity*math.Sin(pitch), 0, gravity*math.Cos(pitch))
	for kind, r := range map[emulation.SensorType]*emulation.SensorReading{
		emulation.SensorTypeAccelerometer: g, emulation.SensorTypeGravity: g, emulation.SensorTypeLinearAcceleration: xyz(0, 0, 0), emulation.SensorTypeGyroscope: xyz(0, -rate, 0),
	} {
		browser.Call(b.p.Tab, emulation.SetSensorOverrideReadings, emulation.SetSensorOverrideReadingsParams{Type: kind, Reading: r})
	}
}

const gravity = 9.80665 // m/s²

// ride rocks the board for a time, and sails it east at 8 m/s.
func (b board) ride(d time.Duration) {
	begin := time.Now()
	var lat, accuracy, speed, heading = 54.0, 4.0, 8.0, 90.0
	fix := time.Time{}
	for t := time.Duration(0); t < d; t = time.Since(begin) {
		const amplitude, omega = 0.05, 2.0
		b.set(amplitude*math.Sin(omega*t.Seconds()), amplitude*omega*math.Cos(omega*t.Seconds()))
		if time.Since(fix) > time.Second {
			fix = time.Now()
			lon := 10 + t.Seconds()*8/65_400 // m in a degree at this latitude
			browser.Call(b.p.Tab, emulation.SetGeolocationOverride, emulation.SetGeolocationOverrideParams{Latitude: &lat, Longitude: &lon, Accuracy: &accuracy, Speed: &speed, Heading: &heading})
		}
		time.Sleep(15 * time.Millisecond)
	}
}

// TestRecord: the phone's own sensors, through the browser's own events, come
// out as a log that the readers take; and when the page dies while recording,
// all but the last seconds is there.
func TestRecord(t *testing.T) {
	p := newPhone(t)
	b := p.mount()
	p.open("#record")
	p.Shot("beach-before", true)
	p.tap("start")
	p.until(`document.getElementById("running").offsetParent !== null`)
	b.ride(12 * time.Second)
	p.tap("even")
	b.ride(2 * time.Second)
	status := browser.Eval[string](p.Tab, `document.getElementById("status").innerText`)
	for _, want := range []string{"gravity included", "Position: ± 4 m", "written"} {
		if !strings.Contains(status, want) {
			t.Errorf("after ten seconds the page does not say %q:\n%s", want, status)
		}
	}
	p.Shot("beach-recording", true)
	died := time.Now()
	go func() { // its answer never comes
		ctx, cancel := context.WithTimeout(p.Ctx, time.Second)
		defer cancel()
		_, _ = chromedp.Call(ctx, page.Crash, cdp.Empty{})
	}()
	time.Sleep(1500 * time.Millisecond)

	next := &phone{browser.Open(t, p.server.URL), t, p.server}
	next.Size(390, 844, false)
	next.Do(chromedp.Navigate(p.server.URL + "/"))
	next.until(`document.querySelectorAll("#list a").length === 1`)
	name := browser.Eval[string](next.Tab, `document.querySelector("#list a").textContent`)
	text := next.stored(name, "phone.csv")
	file := filepath.Join(t.TempDir(), "phone.csv")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	log, err := ingest.Open(file, ingest.Options{})
	if err != nil {
		t.Fatalf("%v\n%.600s", err, text)
	}
	last := log.Start.Add(time.Duration(log.IMU.Time[len(log.IMU.Time)-1] * float64(time.Second)))
	if lost := died.Sub(last).Seconds(); lost > 5 || lost < -1 {
		t.Errorf("the page died and took %.1f s along; at most 5 may be lost", lost)
	}
	if hz := log.IMU.Rate; hz < 20 {
		t.Errorf("%.0f readings a second", hz)
	}
	if n := len(log.GPS.Time); n < 8 {
		t.Errorf("%d fixes in 14 s", n)
	}
	if !strings.Contains(text, ",even\n") {
		t.Error("the mark is not in the log")
	}
	next.NoErrors()
}

// TestStartTwice: a double tap on Start records one outing.
func TestStartTwice(t *testing.T) {
	p := newPhone(t)
	b := p.mount()
	p.open("#record")
	browser.Eval[int](p.Tab, `(e => { e.click(); e.click(); e.onclick(); return 1; })(document.getElementById("start"))`)
	p.until(`document.getElementById("running").offsetParent !== null`)
	b.ride(2 * time.Second)
	p.tap("stop")
	p.tap("stop")
	p.until(`document.body.dataset.at.startsWith("#session/")`)
	p.open("#")
	p.until(`document.querySelectorAll("#list a").length > 0`)
	if n := browser.Eval[int](p.Tab, `document.querySelectorAll("#list a").length`); n != 1 {
		t.Errorf("two taps began %d outings", n)
	}
	if browser.Eval[bool](p.Tab, `document.getElementById("start").disabled`) {
		t.Error("Start stays disabled")
	}
	p.NoErrors()
}

// TestRecordingFails: why a recording stopped is still told where it leads.
func TestRecordingFails(t *testing.T) {
	p := newPhone(t)
	b := p.mount()
	p.open("#record")
	browser.Eval[int](p.Tab, `((W) => {
		Worker = class extends W { postMessage(m) { super.postMessage(m.task === "rows" ? {...m, task: "refused"} : m); } };
		return 1;
	})(Worker)`)
	p.tap("start")
	b.ride(3 * time.Second)
	p.until(`document.body.dataset.at.startsWith("#session/")`)
	if browser.Eval[bool](p.Tab, `document.getElementById("problem").hidden`) {
		t.Error("the reason is gone")
	}
}
