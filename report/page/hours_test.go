package page

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/heapprofiler"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"evenfoot/report/browser"
)

// quickClock has the phone's clocks and the logger's seconds stand still until
// record lets them go by, 60 readings each, and the recorder write them.
const quickClock = `
	delete globalThis.Gyroscope;
	let clock = performance.now(), second, asked = 0;
	performance.now = () => clock;
	Object.defineProperty(Event.prototype, "timeStamp", { get: () => clock });
	const every = setInterval;
	globalThis.setInterval = (f, ms) => (ms === 1000 ? void (second = f) : every(f, ms));
	globalThis.Worker = class extends Worker {
		constructor(...args) { super(...args); this.addEventListener("message", ({ data }) => { if (!data.stage) asked--; }); }
		postMessage(m) { asked++; super.postMessage(m); }
	};
	async function record(minutes) {
		for (let s = 1; s <= 60 * minutes; s++) {
			for (let i = 0; i < 60; i++) {
				clock += 1000 / 60;
				dispatchEvent(new DeviceMotionEvent("devicemotion", { accelerationIncludingGravity: { x: Math.sin(clock), y: 0, z: 9.8 }, rotationRate: { alpha: Math.cos(clock), beta: 2, gamma: 3 } }));
			}
			second();
			while (asked > 10 || s === 60 * minutes && asked) await new Promise((f) => setTimeout(f));
		}
		return "";
	}`

// TestHours: neither the page nor the recorder holds more after hours (-long)
// than after a few minutes, while the file grows by all that was read.
func TestHours(t *testing.T) {
	p := newPhone(t, quickClock)
	p.open("#record")
	p.tap("start")
	p.until(`document.getElementById("running").offsetParent !== null`)
	p.wait(`record(1)`)
	all, err := chromedp.Targets(p.Ctx)
	p.Must(err)
	places := map[string]*browser.Tab{"the page": p.Tab}
	for _, x := range all {
		if strings.HasPrefix(x.URL, p.origin) && strings.HasSuffix(x.URL, "recorder.js") {
			ctx, cancel := chromedp.NewContext(p.Ctx, chromedp.WithTargetID(x.TargetID))
			defer cancel()
			places["the recorder"] = &browser.Tab{Ctx: ctx}
		}
	}
	if len(places) < 2 {
		t.Fatal("the recorder is not found")
	}
	weigh := func() map[string]float64 {
		t.Helper()
		kB := map[string]float64{}
		for name, tab := range places {
			_, err := chromedp.Call(tab.Ctx, heapprofiler.CollectGarbage, cdp.Empty{})
			p.Must(err)
			held, err := chromedp.Call(tab.Ctx, runtime.GetHeapUsage, cdp.Empty{})
			p.Must(err)
			kB[name] = (held.UsedSize + held.BackingStorageSize) / 1e3
		}
		return kB
	}
	const few = 4 // minutes
	minutes := 2 * few
	if *long {
		minutes = 120
	}
	p.wait(fmt.Sprintf(`record(%d)`, few))
	early := weigh()
	p.wait(fmt.Sprintf(`record(%d)`, minutes))
	late := weigh()
	p.tap("stop")
	p.tap("stop")
	p.until(`document.body.dataset.at.startsWith("#session/")`)
	name := browser.Eval[string](p.Tab, `document.getElementById("session-name").textContent`)
	size := p.sizeOf(name, "phone.csv")
	t.Logf("%d minutes more, %.1f MB in all; kB held before %v, after %v", minutes, float64(size)/1e6, early, late)
	readings := int64(1+few+minutes) * 60 * 60
	const least = 40 // bytes of a reading
	if size < readings*least {
		t.Errorf("%d bytes are no %d readings", size, readings)
	}
	for name := range places {
		if grown := late[name] - early[name]; grown > 500 { // 1.7 MB were read in the few minutes alone
			t.Errorf("%s holds %.0f kB more after %d minutes more", name, grown, minutes)
		}
	}
	p.NoErrors()
}
