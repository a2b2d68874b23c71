// The page: what is shown and what a tap does. Files, analysis and recording are
// the workers'; all words stand in index.html.
import { Logger } from "./logger.js";
import { beside, live } from "./form.js";

const $ = (id) => document.getElementById(id);
const say = (word, values = {}) => document.querySelector(`[data-word=${word}]`).textContent.replace(/\{(\w+)\}/g, (_, k) => values[k]);
const LEVEL_S = 15; // of lying level and still before the start
const SURE_MS = 4000; // in which a second tap counts

// ---- the workers

function connect(name) {
  const calls = new Map();
  let worker, count = 0;
  const answer = (id, reply) => {
    calls.get(id)?.(reply);
    calls.delete(id);
  };
  const begin = () => {
    worker = new Worker(name, { type: "module" });
    worker.onmessage = ({ data }) => {
      if (data.stage) busy(say("working", { stage: data.stage }));
      else answer(data.id, data.reply);
    };
    worker.onerror = (e) => { // nothing that waits for it would ever be answered
      e.preventDefault();
      worker.terminate();
      begin();
      const error = say("stopped", { what: e.message || name });
      if (!calls.size) problem(error);
      for (const id of [...calls.keys()]) answer(id, { error });
    };
  };
  begin();
  return (task, args = {}) => new Promise((done) => {
    calls.set(++count, done);
    worker.postMessage({ id: count, task, ...args });
  });
}
const library = connect("./worker.js");
let recorder;

const troubles = { QuotaExceededError: "full", NoModificationAllowedError: "twice" };
const told = ({ name, error }) => (troubles[name] ? say(troubles[name]) : error);

/** Asks the library; a refusal is shown, and null is the answer. seen is given either. */
async function ask(task, args, word, seen = () => {}) {
  problem("");
  if (word) busy(say(word));
  const reply = await library(task, args);
  busy("");
  seen(reply);
  if (!reply.error) return reply;
  problem(told(reply));
  return null;
}

function show(id, text) {
  $(id).textContent = text;
  $(id).hidden = !text;
}
const problem = (text) => show("problem", text);
const busy = (text) => show("busy", text);
const sizeText = (n) => (n < 1e6 ? `${Math.ceil(n / 1e3)} kB` : n < 1e9 ? `${(n / 1e6).toFixed(1)} MB` : `${(n / 1e9).toFixed(1)} GB`);

function item(list, ...parts) {
  const li = document.createElement("li");
  li.append(...parts);
  list.append(li);
  return li;
}
function make(tag, text, values = {}) {
  const e = Object.assign(document.createElement(tag), values);
  e.textContent = text;
  return e;
}

// ---- the places of the page: #, #record, #session/NAME, #setup/NAME, #report/NAME

const unsure = []; // what takes a first tap back
let logger, current = "", reason = ""; // reason: why a recording stopped, told where it leads
const places = { home, record, session, setup, report: shown, shared };

async function go() {
  const [place, name = ""] = location.hash.slice(1).split("/").map(decodeURIComponent);
  if (logger && place !== "record") return void (location.hash = "record"); // first stop it
  problem("");
  for (const calm of unsure) calm();
  current = name;
  const at = places[place] ? place : "home";
  for (const m of document.querySelectorAll("main")) m.hidden = m.id !== at;
  await places[at]();
  if (reason && at === "session") {
    problem(reason);
    reason = "";
  }
  document.querySelector(`#${at} h2`)?.focus({ preventScroll: true });
  document.body.dataset.at = location.hash;
}
addEventListener("hashchange", go);
const to = (place, name) => { location.hash = name ? `${place}/${encodeURIComponent(name)}` : place; };

async function home() {
  const reply = await ask("sessions");
  if (!reply) return;
  $("list").replaceChildren();
  $("none").hidden = reply.list.length > 0;
  $("backup").hidden = !reply.list.length;
  $("compare").hidden = reply.list.length < 2;
  for (const s of reply.list.reverse()) {
    const tick = Object.assign(document.createElement("input"), { type: "checkbox", value: s.name, onchange: ticked });
    tick.setAttribute("aria-label", say("tick", { name: s.name }));
    item($("list"), tick, make("a", s.title || s.name, { href: `#session/${encodeURIComponent(s.name)}` }), make("small", [s.title && s.name, sizeText(s.files.reduce((n, f) => n + f.size, 0))].filter(Boolean).join(", ")));
  }
  ticked();
  const { usage = 0, quota = 0 } = (await navigator.storage.estimate?.()) ?? {};
  const kept = await navigator.storage.persisted?.();
  $("quota").textContent = `${say("quota", { used: sizeText(usage), quota: sizeText(quota) })} ${say(kept ? "kept" : "notkept")}`;
  $("persist").hidden = kept || !navigator.storage.persist;
}
const tickedNames = () => [...$("list").querySelectorAll(":checked")].map((t) => t.value);
const ticked = () => { $("compare").disabled = tickedNames().length < 2; };

$("persist").onclick = async () => { await navigator.storage.persist(); home(); };
$("compare").onclick = async () => {
  const reply = await ask("compare", { names: tickedNames().reverse() }, "loading");
  if (reply && !$("home").hidden) sheet(reply.html, "");
};
$("backup").onclick = async () => pack((await ask("sessions"))?.list.map((s) => s.name));

async function pack(names) {
  const reply = names && await ask("pack", { names }, "packing");
  if (reply) deliver(reply.file, names.length === 1 ? `${names[0]}.zip` : `evenfoot ${new Date().toISOString().slice(0, 10)}.zip`);
}

/** Saves a file of the library where the rider wants it. */
function deliver(file, name) {
  const url = URL.createObjectURL(file);
  make("a", "", { href: url, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
}

async function add(files, name = "") {
  if (!files.length) return false;
  const reply = await ask("add", { files: [...files], name }, "adding");
  if (!reply) return false;
  if (name) {
    if (name === current) await session();
  } else if (reply.names.length === 1) to("session", reply.names[0]);
  else home();
  return true;
}
for (const [id, name] of [["pick", () => ""], ["pick-more", () => current]]) {
  $(id).onchange = async () => { await add($(id).files, name()); $(id).value = ""; };
}
addEventListener("dragover", (e) => e.preventDefault());
addEventListener("drop", (e) => {
  e.preventDefault();
  if (!logger) add(e.dataTransfer.files, $("session").hidden ? "" : current);
});

/** Files that another program shared; the service worker has put them aside. */
async function shared() {
  const cache = await caches.open("evenfoot shared");
  const files = [], keys = await cache.keys();
  for (const r of keys) {
    files.push(new File([await (await cache.match(r)).blob()], decodeURIComponent(new URL(r.url).search.slice(1))));
  }
  history.replaceState(null, "", "#");
  $("home").hidden = false;
  await home();
  if (await add(files)) for (const r of keys) await cache.delete(r);
}

// ---- one outing

const choices = () => ({ units: $("units").value, options: Object.fromEntries(new FormData($("options"))) });
$("options").onsubmit = (e) => e.preventDefault();
$("units").value = localStorage.getItem("evenfoot units") || $("units").value;
$("units").onchange = () => localStorage.setItem("evenfoot units", $("units").value);

async function session() {
  const name = current;
  if ($("session-name").textContent !== name) $("options").reset(); // they were of another outing
  $("session-name").textContent = name;
  $("to-setup").href = `#setup/${encodeURIComponent(name)}`;
  $("answer").hidden = $("print").hidden = $("moments").hidden = $("maps").hidden = true;
  $("warnings").replaceChildren();
  const reply = await ask("sessions");
  if (name !== current) return;
  const s = reply?.list.find((x) => x.name === name);
  if (!s) return to("");
  $("files").replaceChildren();
  for (const f of s.files) {
    const get = async () => (await ask("file", { name, file: f.name }))?.file;
    const li = item($("files"), make("span", `${f.name}, ${sizeText(f.size)}`), make("button", say("savefile"), { onclick: async () => deliver(await get(), f.name) }));
    if (navigator.canShare) li.append(make("button", say("share"), { onclick: async () => share(await get()) }));
  }
  $("open-report").hidden = !s.files.some((f) => f.name === "report.html");
}
async function share(file) {
  // A log is shared as text where the phone does not know its kind.
  const kinds = [file, new File([file], file.name, { type: "text/csv" }), new File([file], `${file.name}.txt`, { type: "text/plain" })];
  const fit = kinds.find((f) => navigator.canShare({ files: [f] }));
  if (!fit) return problem(say("noshare"));
  try {
    await navigator.share({ files: [fit] });
  } catch (e) {
    if (e.name !== "AbortError") problem(e.message);
  }
}
$("analyse").onclick = () => analyse("report");
$("plan").onclick = () => analyse("plan");
$("print").onclick = () => print();
async function analyse(what) {
  const name = current;
  const reply = await ask("report", { name, what, ...choices() }, "loading", (r) => { if (name === current) maps(r.maps ?? []); });
  if (!reply || name !== current) return;
  answer(reply.text);
  $("warnings").replaceChildren();
  if (reply.earlier?.length) item($("warnings"), say("earlier", { names: reply.earlier.join(", ") }));
  for (const w of reply.warnings ?? []) item($("warnings"), w);
  moments(reply.moments ?? [], reply.feels);
  if (reply.html) $("open-report").hidden = false;
}
/** Column maps of tables that could not be read, to be corrected and kept. */
function maps(list) {
  $("maps").hidden = !list.length;
  $("map-list").replaceChildren();
  for (const { name: file, text, wrong } of list) {
    const id = `map-${file}`, name = current;
    const area = make("textarea", "", { id, value: text, rows: 12, spellcheck: false });
    const keep = async () => {
      if (!await ask("keep", { name, file, text: area.value }) || name !== current) return;
      await session();
      analyse("report");
    };
    $("map-list").append(make("p", wrong), make("label", say("map", { file }), { htmlFor: id }), area, make("button", say("keepmap"), { onclick: keep }));
  }
}
/** Moments of the log: what each mark meant, and what might be remembered; a
 * choice is written into the setup, and the answer given again. */
function moments(list, feels) {
  $("moments").hidden = !list.length;
  $("moment-list").replaceChildren();
  for (const [i, m] of list.entries()) {
    const id = `moment-${i}`;
    const here = new Date(m.when).toLocaleTimeString("en-GB"); // by the device's clock, as it was then
    const text = here === m.at ? m.text : m.text.replace(`${m.at} UTC`, `${here} ($&)`);
    const label = make("label", text, { htmlFor: id });
    const select = make("select", "", { id });
    for (const f of ["", ...feels, ...(m.front && !feels.includes(m.front) ? [m.front] : [])]) select.append(make("option", f || say(m.marked ? "asrecorded" : "notsaid"), { value: f, selected: f === m.front }));
    select.onchange = async () => {
      if (await ask("mark", { name: current, time: m.at, front: select.value }, "loading")) analyse("report");
    };
    item($("moment-list"), label, select);
  }
}
/** The words are a title, and lines under labels, which stand before two spaces at least. */
function answer(text) {
  $("answer").hidden = $("print").hidden = false;
  $("answer").replaceChildren();
  for (const line of text.split("\n").filter((l) => l.trim())) {
    const [, label, rest] = line.match(/^(\S.*?) {2,}(.*)$/) ?? [];
    const p = make("p", label ? "" : line.trim());
    if (label) p.append(make("strong", label), ` ${rest}`);
    $("answer").append(p, "\n");
  }
}
$("open-report").onclick = () => to("report", current);
$("zip").onclick = () => pack([current]);
sure($("delete"), "suredelete", "delete", async () => {
  const name = current;
  if (await ask("remove", { name }) && name === current) to("");
});

function sheet(html, back) {
  for (const m of document.querySelectorAll("main")) m.hidden = m.id !== "report";
  $("back").href = back ? `#session/${encodeURIComponent(back)}` : "#";
  $("back").onclick = back ? null : () => { if (location.hash.length < 2) go(); };
  $("sheet").srcdoc = html;
}
$("save-sheet").onclick = () => deliver(new Blob([$("sheet").srcdoc], { type: "text/html" }), `${current || "compare"}.html`);
async function shown() {
  const name = current;
  const reply = await ask("file", { name, file: "report.html" });
  const html = await reply?.file.text();
  if (html && name === current && !$("report").hidden) sheet(html, name);
}

/** A button that wants a second tap, on the same place of the page. */
function sure(button, again, first, act) {
  let timer = 0;
  const calm = () => {
    clearTimeout(timer);
    timer = 0;
    button.textContent = say(first);
  };
  unsure.push(calm);
  button.onclick = () => {
    const second = timer;
    calm();
    if (second) return act();
    button.textContent = say(again);
    timer = setTimeout(calm, SURE_MS);
  };
}

// ---- the setup

async function setup() {
  const name = current;
  $("form").replaceChildren(); // nothing of another outing can be saved here
  $("form").dataset.name = name;
  $("check").textContent = "";
  $("save").disabled = $("save-toml").disabled = true;
  const had = await ask("setup", { name });
  if (!had || name !== current) return;
  const reply = await ask("form", { text: had.text || localStorage.getItem("evenfoot setup") || "" }, "loading");
  if (!reply || name !== current) return;
  $("form").innerHTML = reply.html; // made by the project's own form, which escapes
  problem((reply.warnings ?? []).join(" "));
  $("save").disabled = $("save-toml").disabled = false;
  check();
}
const fields = () => Object.fromEntries([...new FormData($("form"))]);
async function check() {
  const { name } = $("form").dataset;
  const reply = await library("toml", { fields: fields() });
  busy("");
  if (name !== $("form").dataset.name) return reply;
  $("check").textContent = reply.error ? say("missing", { what: reply.error }) : [say("good"), ...(reply.warnings ?? [])].join(" ");
  return reply;
}
live($("form"), async () => (await check()).wrong ?? []);
$("form").onsubmit = (e) => e.preventDefault();
$("save").onclick = async () => {
  const { name } = $("form").dataset, given = fields();
  const reply = await check();
  beside($("form"), reply.wrong ?? [], true);
  if (reply.error) return;
  if (!await ask("keep", { name, text: reply.text })) return;
  // The next outing starts from this board; what was felt, marked and changed was of this one.
  const next = Object.fromEntries(Object.entries(given).filter(([k]) => !/^(title$|feel|mark|change|glide)/.test(k)));
  const kept = await library("toml", { fields: next });
  try { localStorage.setItem("evenfoot setup", kept.text ?? ""); } catch { /* full: it is asked for again */ }
  if (name === current) to("session", name);
};
$("save-toml").onclick = async () => deliver(new Blob([(await check()).text]), "setup.toml");

// ---- the logger

async function record() {
  $("before").hidden = !!logger;
  $("running").hidden = !logger;
}
let recording;
async function write(text) {
  const reply = await recorder("rows", { text });
  recording.size = reply.size ?? recording.size;
  if (reply.error) {
    reason ||= told(reply);
    problem(reason);
    finish();
  }
}
$("start").onclick = async () => {
  if (logger || $("start").disabled) return;
  $("start").disabled = true; // a second tap would start a second logger
  try {
    await startLogger();
  } catch (e) {
    reason = e.message;
    problem(reason);
    await finish();
  }
  $("start").disabled = false;
};
async function startLogger() {
  problem("");
  reason = "";
  const granted = await Logger.permission().catch(() => false);
  navigator.storage.persist?.();
  recorder ??= connect("./recorder.js");
  const now = new Date();
  const local = new Date(now - now.getTimezoneOffset() * 60_000).toISOString();
  const begun = await ask("begin", { wanted: `${local.slice(0, 10)} ${local.slice(11, 16).replace(":", "")}` });
  if (!begun) return;
  recording = { name: begun.name, size: 0, granted };
  logger = new Logger(write, tell);
  const head = logger.start();
  const opened = await recorder("open", { name: begun.name, file: "phone.csv", head });
  if (opened.error) {
    reason = told(opened);
    problem(reason);
    return finish();
  }
  logger.run();
  record();
}
function tell(s) {
  const t = Math.floor(s.seconds);
  $("clock").textContent = `${Math.floor(t / 60)}:${String(t % 60).padStart(2, "0")}`;
  if (t <= LEVEL_S) recording.still = (recording.still ?? 0) + (s.still ? 1 : 0);
  $("level").textContent = t < LEVEL_S ? say("level", { left: LEVEL_S - t }) : t < 4 * LEVEL_S ? say(recording.still > 0.7 * LEVEL_S ? "levelgood" : "levelbad") : "";
  const rate = s.rate.toFixed(0);
  const lines = [];
  if (!recording.granted) lines.push(say("refused"));
  if (!s.rate) lines.push(say(s.learnt ? "nomotion" : "nodata"));
  else if (!s.learnt) lines.push(say("rate", { rate }));
  else lines.push(say("learnt", { rate, source: say(s.source), gravity: say(s.gravity ? "gravity" : "nogravity") }), s.gaps ? say("gaps", { gaps: s.gaps, longest: s.longest.toFixed(1) }) : say("nogaps"));
  if (s.learnt && s.rate && !s.turns) lines.push(say("nogyro"));
  if (s.learnt && s.rate && s.rate < 20) lines.push(say("slow"));
  if (s.hidden) lines.push(say("hidden", { times: s.hidden }));
  if (s.fix) lines.push(say("fix", { accuracy: s.fix.accuracy.toFixed(0), fixes: s.fixes }));
  else lines.push(say(!navigator.geolocation ? "noplace" : s.fixError === 1 ? "nofixleave" : "nofix"));
  if (!s.awake) lines.push(say("asleep"));
  lines.push(say("written", { size: sizeText(recording.size) }));
  $("status").replaceChildren();
  for (const l of lines) item($("status"), l);
}
$("even").onclick = () => {
  logger?.mark("even");
  $("level").textContent = say("marked");
  navigator.vibrate?.(60);
};
sure($("stop"), "sure", "stop", finish);
async function finish() {
  if (!logger) return;
  const was = logger;
  logger = null;
  was.stop();
  await recorder("close");
  to("session", recording.name);
}

// ---- what the browser can do

async function begin() {
  if (!isSecureContext) return problem(say("insecure"));
  const broken = { WebAssembly: globalThis.WebAssembly, DecompressionStream: globalThis.DecompressionStream, OPFS: navigator.storage?.getDirectory };
  const what = Object.keys(broken).filter((k) => !broken[k]).join(", ");
  if (what) return problem(say("broken", { what }));
  const lacks = { nomotion: globalThis.DeviceMotionEvent || globalThis.Accelerometer, noplace: navigator.geolocation, nowake: navigator.wakeLock,
    nopersist: navigator.storage.persist, noshare: navigator.canShare, nooffline: navigator.serviceWorker };
  for (const [word, has] of Object.entries(lacks)) if (!has) item($("lacks"), say(word));
  $("lacks-head").hidden = !$("lacks").children.length;
  navigator.serviceWorker?.register("./sw.js").catch(() => item($("lacks"), say("nooffline")));
  await go();
  const reply = await library("version");
  busy("");
  $("version").textContent = reply.text ?? "";
  for (const level of reply.names ?? []) $("rider-level").append(make("option", level));
  if (reply.error) problem(reply.error);
}
addEventListener("beforeunload", (e) => { if (logger) e.preventDefault(); });
begin();
