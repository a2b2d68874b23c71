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
	"github.com/chromedp/cdproto/storage"
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
	browser.Call(p.Tab, cdbrowser.SetPermission, cdbrowser.SetPermissionParams{Permission: &cdbrowser.PermissionDescriptor{Name: "geolocation"}, Setting: cdbrowser.PermissionSettingGranted, Origin: p.origin})
	b := board{p}
	b.set(0, 0)
	return b
}

// set is the board at a pitch, rad, with its rate, rad/s, in a phone that points
// to the bow, its y axis to port.
func (b board) set(pitch, rate float64) {
	b.read([3]float64{gravity * math.Sin(pitch), 0, gravity * math.Cos(pitch)}, [3]float64{0, -rate, 0})
}

// read is what the phone's sensors read: specific force, m/s², and turn rate, rad/s.
func (b board) read(force, turn [3]float64) {
	xyz := func(v [3]float64) *emulation.SensorReading {
		return &emulation.SensorReading{Xyz: &emulation.SensorReadingXYZ{X: v[0], Y: v[1], Z: v[2]}}
	}
	for kind, r := range map[emulation.SensorType]*emulation.SensorReading{
		emulation.SensorTypeAccelerometer: xyz(force), emulation.SensorTypeGravity: xyz(force), emulation.SensorTypeLinearAcceleration: xyz([3]float64{}), emulation.SensorTypeGyroscope: xyz(turn),
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
	// A double tap starts one recording.
	browser.Eval[int](p.Tab, `(e => { e.click(); e.click(); e.onclick(); return 1; })(document.getElementById("start"))`)
	p.until(`document.getElementById("running").offsetParent !== null`)
	// A watcher of the test's own counts the fixes that the browser gives: on a
	// busy machine they are fewer than one a second.
	browser.Eval[int](p.Tab, `(window.given = 0, navigator.geolocation.watchPosition(() => given++, null, {enableHighAccuracy: true, maximumAge: 0}), 1)`)
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
	given := browser.Eval[int](p.Tab, `given`)
	died := time.Now()
	go func() { // its answer never comes
		ctx, cancel := context.WithTimeout(p.Ctx, time.Second)
		defer cancel()
		_, _ = chromedp.Call(ctx, page.Crash, cdp.Empty{})
	}()
	time.Sleep(1500 * time.Millisecond)

	next := at(t, p.server, p.origin, "/")
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
	// The last five seconds may be lost, and the watcher may have been told of a fix
	// that stood before.
	if n := len(log.GPS.Time); given < 2 || n < given-6 || n == 0 {
		t.Errorf("%d fixes of the %d that were given", n, given)
	}
	if browser.Eval[int](next.Tab, `document.querySelectorAll("#list a").length`) != 1 {
		t.Error("a double tap began several outings")
	}
	if !strings.Contains(text, ",even\n") {
		t.Error("the mark is not in the log")
	}
	next.NoErrors()
}

// TestStorageFull: where the storage fills while recording, the page says so and
// what was written is kept, in whole rows; with room again, it records on.
func TestStorageFull(t *testing.T) {
	p := newPhone(t)
	b := p.mount()
	quota := func(bytes float64) {
		browser.Call(p.Tab, storage.OverrideQuotaForOrigin, storage.OverrideQuotaForOriginParams{Origin: p.origin, QuotaSize: &bytes})
	}
	p.open("#record")
	p.tap("start")
	b.ride(2500 * time.Millisecond)
	quota(1000)
	// The browser has set some megabytes aside for the file: as much motion as hours give.
	browser.Eval[int](p.Tab, `(() => {
		for (let i = 0; i < 200_000; i++) dispatchEvent(new DeviceMotionEvent("devicemotion", { accelerationIncludingGravity: { x: 0, y: 0, z: 9.8 }, rotationRate: { alpha: 1, beta: 2, gamma: 3 } }));
		return 1;
	})()`)
	p.until(`document.body.dataset.at.startsWith("#session/") && document.getElementById("problem").textContent.includes("storage is full")`)
	name := browser.Eval[string](p.Tab, `document.getElementById("session-name").textContent`)
	text := p.stored(name, "phone.csv")
	if rows := strings.Count(text, "\n"); rows < 60 || !strings.HasSuffix(text, "\n") {
		t.Errorf("of 2.5 s %d lines are kept, the last %q", rows, text[max(0, len(text)-80):])
	}
	quota(1e9)
	p.open("#record")
	p.tap("start")
	b.ride(2500 * time.Millisecond)
	p.tap("stop")
	p.tap("stop")
	p.until(`document.body.dataset.at.startsWith("#session/")`)
	if again := browser.Eval[string](p.Tab, `document.getElementById("session-name").textContent`); again == name || p.sizeOf(again, "phone.csv") < 2000 {
		t.Errorf("with room again, %s is not recorded beside %s", again, name)
	}
	p.NoErrors()
}

// TestRecordingFails: why a recording stopped is still told where it leads.
func TestRecordingFails(t *testing.T) {
	p := newPhone(t)
	b := p.mount()
	p.open("#record")
	browser.Eval[int](p.Tab, `((W) => { // refuses rows, once there is a recorder
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
