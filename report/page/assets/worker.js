// The worker that holds Go and the files: the page asks, it answers.
import { folder, names, save, read, remove, withFiles, made } from "./files.js";
import "./wasm_exec.js";

process.cwd = () => "/";

const SESSIONS = "sessions";
const at = (name) => `${SESSIONS}/${name}`;

let started;
function start() {
  started ??= (async () => {
    const go = new Go();
    let body = (await fetch("./evenfoot.wasm.gz")).body;
    const [look, whole] = body.tee();
    const { value } = await look.getReader().read();
    body = value[0] === 0x1f && value[1] === 0x8b ? whole.pipeThrough(new DecompressionStream("gzip")) : whole;
    const wasm = new Response(body, { headers: { "Content-Type": "application/wasm" } });
    const { instance } = await WebAssembly.instantiateStreaming(wasm, go.importObject);
    go.run(instance);
  })();
  return started;
}

async function ask(request, paths = [], target = "") {
  await start();
  return withFiles(paths, target, async () => {
    const stage = (text) => postMessage({ stage: text });
    const reply = JSON.parse(await globalThis.evenfoot(JSON.stringify({ units: request.units || "kn,cm,kg", ...request }), stage));
    reply.made = made().map(([path, bytes]) => [path, bytes.slice()]);
    return reply;
  });
}

async function sessions() {
  const out = [];
  for (const name of await names(SESSIONS, "directory")) {
    const files = [];
    for (const file of await names(at(name), "file")) files.push({ name: file, size: (await read(at(name), file)).size });
    out.push({ name, files });
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
    return await (await read(at(name), "setup.toml")).text();
  } catch {
    return "";
  }
};

const tasks = {
  sessions,
  async version() { return ask({ do: "version" }); },
  async report({ name, units, low, high, alone }) {
    const others = alone ? [] : (await names(SESSIONS, "directory")).filter((n) => n !== name);
    const beside = [];
    for (const n of others) if (await setupOf(n)) beside.push(n);
    const reply = await ask({ do: "report", folder: "/" + at(name), beside: beside.map((n) => "/" + at(n)), units, low, high }, [name, ...beside].map(at));
    if (!reply.error) {
      await save(at(name), "report.html", new Blob([reply.html]));
      await save(at(name), "result.json", new Blob([reply.json]));
    }
    return reply;
  },
  compare: ({ names, units }) => ask({ do: "compare", folders: names.map((n) => "/" + at(n)), units }, names.map(at)),
  async setup({ name }) { return { text: await setupOf(name) }; },
  form: ({ text }) => ask({ do: "form", text }),
  toml: ({ fields }) => ask({ do: "toml", fields }),
  async saveSetup({ name, text }) { await save(at(name), "setup.toml", new Blob([text])); return {}; },
  async add({ name, files }) {
    let into = name;
    const added = [];
    for (const f of files) {
      if (/\.zip$/i.test(f.name)) {
        added.push(...await unzip(f));
        continue;
      }
      if (!into) added.push(into = await freeName((files.find((l) => !/\.(toml|zip)$/i.test(l.name)) ?? f).name.replace(/\.[^.]*$/, "")));
      const [, plain, ending] = f.name.replace(/[/\\]/g, " ").match(/^(.+?)(\.[^.]*)?$/s);
      await save(at(into), free(plain, ending ?? "", await names(at(into), "file")), f);
    }
    return { names: added };
  },
  async pack({ names: list }) {
    const file = "export/evenfoot.zip";
    const reply = await ask({ do: "pack", folders: list.map((n) => "/" + at(n)), file: "/" + file }, list.map(at), file);
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
  await save("import", "archive.zip", file);
  const reply = await ask({ do: "unpack", folder: "/new", file: "/import/archive.zip", text: file.name.replace(/\.zip$/i, "") }, ["import"]);
  await remove("import");
  if (reply.error) throw new Error(`${file.name}: ${reply.error}`);
  const to = new Map();
  for (const n of reply.names) {
    const free = await freeName(n);
    await folder(at(free), true);
    to.set(n, free);
  }
  for (const [path, bytes] of reply.made) {
    const [, , session, name] = path.split("/");
    await save(at(to.get(session)), name, new Blob([bytes]));
  }
  return [...to.values()];
}

// One request after another: a file is open only once.
let last = Promise.resolve();
onmessage = ({ data: { id, task, ...args } }) => {
  last = last.then(async () => {
    try {
      const got = await tasks[task](args);
      delete got.made;
      postMessage({ id, reply: Array.isArray(got) ? { list: got } : got });
    } catch (e) {
      postMessage({ id, reply: { error: e.message, full: e.name === "QuotaExceededError" } });
    }
  });
};
