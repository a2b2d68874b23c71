package page

import (
	"fmt"
	"strings"
	"testing"
	"time"

	cdbrowser "github.com/chromedp/cdproto/browser"

	"evenfoot/report/browser"
)

// gone takes a property of the browser away.
func gone(of string, names ...string) string {
	var b strings.Builder
	for _, n := range names {
		fmt.Fprintf(&b, "delete %s.%s;", of, n)
	}
	return b.String()
}

// TestLacks: what the browser does not have is told when the page opens, with
// what still works; and the page works.
func TestLacks(t *testing.T) {
	p := newPhone(t, gone("globalThis", "DeviceMotionEvent", "Accelerometer", "Gyroscope", "ondevicemotion")+
		gone("Navigator.prototype", "geolocation", "wakeLock", "canShare", "share", "serviceWorker")+gone("StorageManager.prototype", "persist", "persisted"))
	said := browser.Eval[string](p.Tab, `document.getElementById("lacks").innerText`)
	for _, want := range []string{
		"recording gives the track, the speeds and your marks, but no pitch",
		"recording gives motion and your marks",
		"recording works while it is on",
		"everything works, but save a backup",
		"use the buttons that save",
		"open it before you leave the network",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("the page does not say %q:\n%s", want, said)
		}
	}
	p.Shot("beach-lacks", true)
	p.add(demoFiles(t, "2-one-card")...)
	p.tap("analyse")
	p.until(`!document.getElementById("answer").hidden && /front foot/.test(document.getElementById("answer").textContent)`)
	p.NoErrors()
}

// TestLeave: what is lacking or refused while recording is told with what still
// works, and the track or the motion is recorded all the same.
func TestLeave(t *testing.T) {
	for _, tt := range []struct {
		name, before, says, channel string
		place                       bool
	}{
		{"no gyroscope", `Object.defineProperty(DeviceMotionEvent.prototype, "rotationRate", { get: () => null }); delete globalThis.Gyroscope;`,
			"without turn rates the pitch is not known. The track, the speeds and your marks are recorded", ",54.", true},
		{"no leave for motion", `DeviceMotionEvent.requestPermission = async () => "denied"; addEventListener("devicemotion", e => e.stopImmediatePropagation()); delete globalThis.Gyroscope;`,
			"not given leave to read the motion sensors. The track, the speeds and your marks are recorded", ",54.", true},
		{"no leave for the place", ``, "so there are no speeds. Motion and your marks are recorded", ",9.8", false},
		{"no wake lock", `WakeLock.prototype.request = async () => { throw new Error("no"); }`, "set the phone’s own screen time-out to never", ",9.8", true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p := newPhone(t, fastClock, tt.before)
			b := p.mount()
			if !tt.place {
				browser.Call(p.Tab, cdbrowser.SetPermission, cdbrowser.SetPermissionParams{Permission: &cdbrowser.PermissionDescriptor{Name: "geolocation"}, Setting: cdbrowser.PermissionSettingDenied, Origin: p.origin})
			}
			p.open("#record")
			p.tap("start")
			b.ride(11 * time.Second / faster)
			p.until(fmt.Sprintf(`document.getElementById("status").innerText.includes(%q)`, tt.says))
			p.tap("stop")
			p.tap("stop")
			p.until(`document.body.dataset.at.startsWith("#session/")`)
			name := browser.Eval[string](p.Tab, `document.getElementById("session-name").textContent`)
			if text := p.stored(name, "phone.csv"); !strings.Contains(text, tt.channel) {
				t.Errorf("what still works is not in the log:\n%.500s", text)
			}
			p.NoErrors()
		})
	}
}
