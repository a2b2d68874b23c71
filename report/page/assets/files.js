// The private file system, and how Go sees it: every file of a request is
// opened before Go runs, and then read and written at once, as Go wants it.

const root = () => navigator.storage.getDirectory();

/** The folder at a path such as "sessions/NAME". */
export async function folder(path, create = false) {
  let dir = await root();
  for (const part of path.split("/").filter(Boolean)) dir = await dir.getDirectoryHandle(part, { create });
  return dir;
}

export async function names(path, kind) {
  const out = [];
  try {
    for await (const [name, h] of (await folder(path)).entries()) if (h.kind === kind) out.push(name);
  } catch (e) {
    if (e.name !== "NotFoundError") throw e;
  }
  return out.sort();
}

/** Writes a file whole or not at all: an earlier one of the name stays until then. */
export async function save(dir, name, blob) {
  const part = await (await folder("part", true)).getFileHandle("file", { create: true });
  try {
    await fill(part, blob);
    await move(part, dir, name);
  } finally {
    await remove("part/file").catch(() => {});
  }
}

/** Takes a file of the private file system to another place in it. */
export async function move(file, dir, name) {
  const into = await folder(dir, true);
  try {
    await file.move(into, name);
  } catch { // a browser that cannot move, or not onto a file: there was room for it
    await fill(await into.getFileHandle(name, { create: true }), await file.getFile());
  }
}

async function fill(file, blob) {
  const access = await file.createSyncAccessHandle();
  try {
    access.truncate(0);
    let at = 0;
    for (const reader = blob.stream().getReader(); ;) {
      const { done, value } = await reader.read();
      if (done) break;
      if (access.write(value, { at }) < value.length) throw new DOMException("", "QuotaExceededError");
      at += value.length;
    }
    access.flush();
  } finally {
    access.close();
  }
}

export async function read(dir, name) {
  return (await (await folder(dir)).getFileHandle(name)).getFile();
}

export async function remove(path) {
  const at = path.lastIndexOf("/");
  await (await folder(path.slice(0, Math.max(0, at)))).removeEntry(path.slice(at + 1), { recursive: true });
}

/** Answers a page's requests, one after another: a file is open only once. */
export function serve(tasks) {
  let last = Promise.resolve();
  globalThis.onmessage = ({ data: { id, task, ...args } }) => {
    last = last.then(async () => {
      try {
        postMessage({ id, reply: await tasks[task](args) });
      } catch (e) {
        postMessage({ id, reply: { error: e.message || e.name, name: e.name } });
      }
    });
  };
}

// What Go sees: files by their paths, and the folder in which it may make more.
const open = new Map(); // path → { access }, or { blob } of what was picked
const dirs = new Map(); // path → names
const numbers = new Map(); // fd → { path, at }
const FIRST = 100; // fd; below are Go's own
const AHEAD = 1 << 20; // bytes that are read of a blob at once
let next = FIRST, below = "";

/** What Go said of its own end, and whether a file of Go's found no room. */
export const fate = { text: "", full: false };

/** Opens folders' files and blobs for Go, for as long as work takes; in the
 * folder into it may make files. */
export async function withFiles({ folders = [], blobs = {}, into = "" }, work) {
  try {
    for (const path of folders) {
      const list = [];
      for await (const [name, h] of (await folder(path)).entries()) {
        if (h.kind !== "file") continue;
        open.set(`/${path}/${name}`, { access: await h.createSyncAccessHandle() });
        list.push(name);
      }
      dirs.set(`/${path}`, list.sort());
    }
    for (const [path, blob] of Object.entries(blobs)) open.set(path, { blob, block: [], from: 0 });
    below = into && `/${into}/`;
    fate.full = false;
    return await work();
  } finally {
    for (const f of open.values()) f.access?.close();
    for (const m of [open, dirs, numbers]) m.clear();
  }
}

const fail = (code) => Object.assign(new Error(code), { code });

const size = (f) => (f.access ? f.access.getSize() : f.blob.size);
const write = (f, data, at) => {
  let n = 0;
  try {
    n = f.access.write(data, { at });
  } catch (e) {
    if (e.name !== "QuotaExceededError") throw e;
  }
  if (n === data.length) return n;
  fate.full = true;
  throw fail("ENOSPC");
};

function readBlob(f, at, into) {
  const end = Math.min(at + into.length, f.blob.size);
  if (at >= end) return 0;
  if (at < f.from || end > f.from + f.block.length) {
    f.from = at;
    f.block = new Uint8Array(new FileReaderSync().readAsArrayBuffer(f.blob.slice(at, Math.max(end, at + AHEAD))));
  }
  into.set(f.block.subarray(at - f.from, end - f.from));
  return end - at;
}

/** Makes a file, or empties one. */
async function make(path) {
  if (!below || !path.startsWith(below)) throw fail("EACCES");
  const at = path.lastIndexOf("/");
  const file = await (await folder(path.slice(0, at), true)).getFileHandle(path.slice(at + 1), { create: true });
  const access = await file.createSyncAccessHandle();
  access.truncate(0);
  open.set(path, { access, made: true });
}

function stat(path) {
  const f = open.get(path), isDir = dirs.has(path);
  if (!f && !isDir) throw fail("ENOENT");
  return {
    dev: 0, ino: 0, nlink: 1, uid: 0, gid: 0, rdev: 0, blksize: 4096, blocks: 0, atimeMs: 0, mtimeMs: 0, ctimeMs: 0,
    mode: isDir ? 0o40755 : 0o100644, size: isDir ? 0 : size(f), isDirectory: () => isDir,
  };
}

const opened = (fd) => {
  const n = numbers.get(fd);
  if (!n) throw fail("EBADF");
  return n;
};

const O = { O_WRONLY: 1, O_RDWR: 2, O_CREAT: 64, O_EXCL: 128, O_TRUNC: 512, O_APPEND: 1024, O_DIRECTORY: 65536 };

const calls = {
  open(path, flags) {
    const begin = () => numbers.set(next, { path, at: 0 }) && next++;
    if (flags & O.O_CREAT) return make(path).then(begin);
    if (!open.has(path) && !dirs.has(path)) throw fail("ENOENT");
    return begin();
  },
  close(fd) {
    const { path } = opened(fd), f = open.get(path);
    numbers.delete(fd);
    if (!f?.made) return;
    f.access.flush();
    f.access.close();
    open.delete(path);
  },
  stat, lstat: stat,
  fstat: (fd) => stat(opened(fd).path),
  readdir(path) {
    if (!dirs.has(path)) throw fail("ENOENT");
    return dirs.get(path);
  },
  read(fd, buffer, offset, length, position) {
    const n = opened(fd), f = open.get(n.path);
    if (!f) throw fail("EISDIR");
    const at = position ?? n.at, into = buffer.subarray(offset, offset + length);
    const got = f.access ? f.access.read(into, { at }) : readBlob(f, at, into);
    if (position === null) n.at += got;
    return got;
  },
  write(fd, buffer, offset, length, position) {
    const data = buffer.subarray(offset, offset + length);
    if (fd < FIRST) {
      const text = new TextDecoder().decode(data);
      fate.text ||= text.split("\n")[0];
      console.error(text);
      return length;
    }
    const n = opened(fd);
    write(open.get(n.path), data, position ?? n.at);
    if (position === null) n.at += length;
    return length;
  },
  fsync() {}, mkdir() {},
};

globalThis.fs = { constants: O, writeSync: (fd, buf) => calls.write(fd, buf, 0, buf.length, null) };
for (const name of ["open", "close", "stat", "lstat", "fstat", "readdir", "read", "write", "fsync", "mkdir",
  "chmod", "chown", "fchmod", "fchown", "ftruncate", "lchown", "link", "readlink", "rename", "rmdir", "symlink", "truncate", "unlink", "utimes"]) {
  globalThis.fs[name] = (...args) => {
    const done = args.pop();
    const refuse = (e) => done(typeof e.code === "string" ? e : fail(e.name === "QuotaExceededError" ? "ENOSPC" : "EIO"));
    try {
      if (!calls[name]) throw fail("ENOSYS");
      const got = calls[name](...args);
      if (got instanceof Promise) got.then((fd) => done(null, fd), refuse);
      else done(null, got);
    } catch (e) {
      refuse(e);
    }
  };
}
