// The worker that holds Go and the files: the page asks, it answers.
import { folder, names, save, move, read, remove, withFiles, fate, serve } from "./files.js";
import "./wasm_exec.js";

process.cwd = () => "/";

const SESSIONS = "sessions";
const SETUP = "setup.toml";
const isSetup = (name) => /\.toml$/i.test(name) && !/\.map\.toml$/i.test(name); // the latter is a column map
const at = (name) => `${SESSIONS}/${name}`;

let program;
function start() {
  program ??= load().catch((e) => { program = null; throw e; });
  return program;
}
async function load() {
  for (const left of ["part", "new", "export"]) await remove(left).catch(() => {}); // by a page that died
  const go = new Go();
  let body = (await fetch("./evenfoot.wasm.gz")).body;
  const [look, whole] = body.tee();
  const { value } = await look.getReader().read();
  body = value[0] === 0x1f && value[1] === 0x8b ? whole.pipeThrough(new DecompressionStream("gzip")) : whole;
  const wasm = new Response(body, { headers: { "Content-Type": "application/wasm" } });
  const { instance } = await WebAssembly.instantiateStreaming(wasm, go.importObject);
  // It answers for as long as the worker lives; where it ends, the page begins a new worker.
  const ended = (e) => setTimeout(() => { throw new Error(e?.message || fate.text || "it ended"); });
  go.run(instance).then(ended, ended);
}

async function ask(request, files = {}) {
  await start();
  return withFiles(files, async () => {
    const stage = (text) => postMessage({ stage: text });
    const reply = JSON.parse(await globalThis.evenfoot(JSON.stringify({ units: request.units || "kn,cm,kg", ...request }), stage));
    if (reply.error && fate.full) reply.name = "QuotaExceededError";
    return reply;
  });
}

async function sessions() {
  const out = [];
  for (const name of await names(SESSIONS, "directory")) {
    const files = [];
    for (const file of await names(at(name), "file")) files.push({ name: file, size: (await read(at(name), file)).size });
    const [, title] = (await setupOf(name)).match(/^title = "(.*)"$/m) ?? [];
    out.push({ name, title, files });
  }
  return out;
}

async function freeName(wanted) {
  const plain = wanted.replace(/[/\\:*?"<>|\x00-\x1f]/g, " ").trim().slice(0, 80) || "outing";
  return free(plain, "", await names(SESSIONS, "directory"));
}

/** A name that is not taken: "watch.gpx", "watch 2.gpx" and so on. */
function free(plain, ending, taken) {
  let name = plain + ending;
  for (let n = 2; taken.includes(name); n++) name = `${plain} ${n}${ending}`;
  return name;
}

const setupOf = async (name) => {
  try {
    return await (await read(at(name), SETUP)).text();
  } catch {
    return "";
  }
};

const tasks = {
  async sessions() { return { list: await sessions() }; },
  async version() { return ask({ do: "version" }); },
  /** The report of an outing, or what else Go does with one: its plan. */
  async report({ name, what = "report", units, options }) {
    const others = options.alone ? [] : (await names(SESSIONS, "directory")).filter((n) => n !== name);
    const beside = [];
    for (const n of others) if (await setupOf(n)) beside.push(n);
    const reply = await ask({ do: what, folder: "/" + at(name), beside: beside.map((n) => "/" + at(n)), units, options }, { folders: [name, ...beside].map(at) });
    if (reply.html) {
      await save(at(name), "report.html", new Blob([reply.html]));
      await save(at(name), "result.json", new Blob([reply.json]));
    }
    return reply;
  },
  compare: ({ names, units }) => ask({ do: "compare", folders: names.map((n) => "/" + at(n)), units }, { folders: names.map(at) }),
  async setup({ name }) { return { text: await setupOf(name) }; },
  form: ({ text }) => ask({ do: "form", text }),
  toml: ({ fields }) => ask({ do: "toml", fields }),
  async mark({ name, time, front }) {
    const reply = await ask({ do: "mark", text: await setupOf(name), at: time, front });
    if (!reply.error) await save(at(name), SETUP, new Blob([reply.text]));
    return reply;
  },
  async keep({ name, file = SETUP, text }) { await save(at(name), file, new Blob([text])); return {}; },
  async add({ name, files }) {
    let into = name;
    const added = [];
    for (const f of files) {
      if (/\.zip$/i.test(f.name)) {
        added.push(...await unzip(f));
        continue;
      }
      if (!into) added.push(into = await freeName((files.find((l) => !/\.(toml|zip)$/i.test(l.name)) ?? f).name.replace(/\.[^.]*$/, "")));
      const taken = await names(at(into), "file");
      if (isSetup(f.name)) { // an outing has one; that before it stays beside it
        if (taken.includes(SETUP)) await save(at(into), free("setup before", ".toml", taken), await read(at(into), SETUP));
        await save(at(into), SETUP, f);
        continue;
      }
      const [, plain, ending] = f.name.replace(/[/\\]/g, " ").match(/^(.+?)(\.[^.]*)?$/s);
      await save(at(into), free(plain, ending ?? "", taken), f);
    }
    return { names: added };
  },
  async pack({ names: list }) {
    const reply = await ask({ do: "pack", folders: list.map((n) => "/" + at(n)), file: "/export/evenfoot.zip" }, { folders: list.map(at), into: "export" });
    if (!reply.error) reply.file = await read("export", "evenfoot.zip");
    return reply;
  },
  async file({ name, file }) { return { file: await read(at(name), file) }; },
  async remove({ name }) { await remove(at(name)); return {}; },
  async begin({ wanted }) {
    const name = await freeName(wanted);
    await folder(at(name), true);
    return { name };
  },
};

async function unzip(file) {
  await remove("new").catch(() => {});
  try {
    const reply = await ask({ do: "unpack", folder: "/new", file: "/archive.zip", text: file.name.replace(/\.zip$/i, "") }, { blobs: { "/archive.zip": file }, into: "new" });
    if (reply.error) throw new DOMException(`${file.name}: ${reply.error}`, reply.name ?? "DataError");
    const added = [];
    for (const n of reply.names) {
      const name = await freeName(n);
      for (const f of await names(`new/${n}`, "file")) await move(await (await folder(`new/${n}`)).getFileHandle(f), at(name), f);
      added.push(name);
    }
    return added;
  } finally {
    await remove("new").catch(() => {});
  }
}

serve(tasks);
