// What the phone's sensors say, as rows of the CSV that evenfoot reads.

const HEAD = "time_s,ax_mps2,ay_mps2,az_mps2,gx_radps,gy_radps,gz_radps,lat_deg,lon_deg,alt_m,speed_mps,course_deg,mark\n";
const LEARN_S = 10; // how long what the phone delivers is measured before it is told
const GAP_S = 0.25; // a pause between samples that is told of
const RATE = 60; // readings a second that are asked for; browsers give no more
const radian = Math.PI / 180;

const n = (v, digits) => (v === null || v === undefined || !Number.isFinite(v) ? "" : v.toFixed(digits));

/** A Logger hands rows to write(text) about once a second, and how it goes to tell(status). */
export class Logger {
  constructor(write, tell) {
    Object.assign(this, { write, tell, rows: [], off: [], source: "motion" });
    this.seen = { motion: new Series(), generic: new Series() };
    this.fix = { count: 0, last: null, error: 0 };
    this.hidden = 0;
  }

  /** Asks for leave where the browser wants to be asked; only in a click. */
  static async permission() {
    const ask = globalThis.DeviceMotionEvent?.requestPermission;
    return !ask || (await ask.call(DeviceMotionEvent)) === "granted";
  }

  start() {
    this.t0 = performance.now();
    this.epoch = performance.timeOrigin + this.t0;
    const head = `# start: ${new Date(this.epoch).toISOString()}\n# recorded on a phone by evenfoot\n${HEAD}`;
    const listen = (target, kind, f) => {
      target.addEventListener(kind, f);
      this.off.push(() => target.removeEventListener(kind, f));
    };
    listen(window, "devicemotion", (e) => this.motion(e));
    listen(document, "visibilitychange", () => this.visibility());
    this.generic();
    if (navigator.geolocation) {
      const id = navigator.geolocation.watchPosition((p) => this.position(p), (e) => { this.fix.error = e.code; },
        { enableHighAccuracy: true, maximumAge: 0 });
      this.off.push(() => navigator.geolocation.clearWatch(id));
    }
    this.wake();
    return head;
  }

  /** From now on hands over what has come, once the head is written. */
  run() {
    const timer = setInterval(() => this.second(), 1000);
    this.off.push(() => clearInterval(timer));
  }

  stop() {
    for (const f of this.off.splice(0)) f();
    this.lock?.release();
    this.flush();
  }

  mark(word) { this.row(performance.now(), ",".repeat(11), word); }

  row(at, fields, mark = "") { this.rows.push(`${n((at - this.t0) / 1000, 3)},${fields}${mark}\n`); }

  // Both sources are listened to; only one is written.
  motion(e) {
    const a = e.accelerationIncludingGravity ?? {}, g = e.rotationRate ?? {};
    this.imu("motion", e.timeStamp, [a.x, a.y, a.z], [g.alpha, g.beta, g.gamma].map((v) => (v === null || v === undefined ? null : v * radian)));
  }

  generic() {
    if (!globalThis.Accelerometer || !globalThis.Gyroscope) return;
    try {
      const a = new Accelerometer({ frequency: RATE }), g = new Gyroscope({ frequency: RATE });
      a.onreading = () => this.imu("generic", a.timestamp, [a.x, a.y, a.z], g.hasReading ? [g.x, g.y, g.z] : [null, null, null]);
      a.onerror = g.onerror = () => {};
      a.start();
      g.start();
      this.off.push(() => { a.stop(); g.stop(); });
    } catch { /* not allowed: DeviceMotion is there */ }
  }

  imu(source, at, a, g) {
    if (a.every((v) => v === null || v === undefined)) return;
    this.seen[source].add(at, a, g);
    if (source === this.source) this.row(at, `${a.map((v) => n(v, 4)).join()},${g.map((v) => n(v, 5)).join()},,,,,,`);
  }

  position({ coords: c, timestamp }) {
    let at = timestamp - performance.timeOrigin;
    if (Math.abs(at - performance.now()) > 10_000) at = performance.now(); // a clock of its own
    this.fix.count++;
    this.fix.last = { at: performance.now(), accuracy: c.accuracy, speed: c.speed };
    this.row(at, `,,,,,,${n(c.latitude, 7)},${n(c.longitude, 7)},${n(c.altitude, 1)},${n(c.speed, 3)},${n(c.heading, 1)},`);
  }

  async wake() {
    try {
      this.lock = await navigator.wakeLock.request("screen");
    } catch {
      this.lock = null;
    }
  }

  visibility() {
    if (document.hidden) this.hidden++;
    else this.wake(); // it is lost whenever the page is hidden
  }

  second() {
    const s = (performance.now() - this.t0) / 1000;
    const { motion, generic } = this.seen;
    // A source that gives clearly more takes over once, when both are known.
    if (s >= LEARN_S && !this.chosen) {
      this.chosen = true;
      if (generic.rate() > 1.2 * motion.rate()) this.source = "generic";
    }
    this.flush();
    const best = this.seen[this.source];
    this.tell({
      seconds: s, learnt: s >= LEARN_S, source: this.source, rate: best.rate(), gaps: best.gaps, longest: best.longest, gravity: best.gravity(), still: best.still(),
      turns: best.turns, fixes: this.fix.count, fix: this.fix.last, fixError: this.fix.error, hidden: this.hidden, awake: !!this.lock && !this.lock.released,
    });
  }

  flush() {
    if (this.rows.length) this.write(this.rows.splice(0).join(""));
  }
}

/** A Series keeps what is told of a source: sums and the last seconds, never the samples. */
class Series {
  constructor() { Object.assign(this, { count: 0, first: 0, last: 0, gaps: 0, longest: 0, turns: false, mean: [0, 0, 0], spread: 0 }); }

  add(at, a, g) {
    const dt = (at - this.last) / 1000;
    if (this.count++ === 0) {
      this.first = at;
      this.mean = [...a];
    } else if (dt > GAP_S) {
      this.gaps++;
      this.longest = Math.max(this.longest, dt);
    }
    this.last = at;
    if (g.some((v) => v !== null && v !== undefined)) this.turns = true;
    // Running mean and spread over about two seconds.
    const k = Math.min(1, Math.max(0, dt) / 2);
    let off = 0;
    a.forEach((v, i) => { off += (v - this.mean[i]) ** 2; this.mean[i] += k * (v - this.mean[i]); });
    this.spread += k * (off - this.spread);
  }

  rate() { return this.count > 1 ? ((this.count - 1) * 1000) / (this.last - this.first) : 0; }
  size() { return Math.hypot(...this.mean); }
  gravity() { return this.size() > 8 && this.size() < 11.5; }
  still() { return this.gravity() && Math.sqrt(this.spread) < 0.4; }
}
