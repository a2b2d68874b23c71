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
  const aside = await folder("part", true);
  try {
    const part = await aside.getFileHandle("file", { create: true });
    await fill(part, blob);
    const into = await folder(dir, true);
    try {
      await part.move(into, name);
    } catch { // a browser that cannot move, or not onto a file: there was room for it
      await fill(await into.getFileHandle(name, { create: true }), blob);
    }
  } finally {
    await aside.removeEntry("file").catch(() => {});
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

// What Go sees: files by their paths. A file that Go makes itself is kept in
// memory until the request is done.
const open = new Map(); // path → { access } or { bytes, size }
const dirs = new Map(); // path → names
const held = [];
const numbers = new Map(); // fd → { path, at }
let next = 100;

/** Opens folders' files for Go, for as long as work takes. */
export async function withFiles(paths, target, work) {
  try {
    for (const path of paths) {
      const dir = await folder(path);
      const list = [];
      for await (const [name, h] of dir.entries()) {
        if (h.kind !== "file") continue;
        const access = await h.createSyncAccessHandle();
        held.push(access);
        open.set(`/${path}/${name}`, { access });
        list.push(name);
      }
      dirs.set(`/${path}`, list.sort());
    }
    if (target) {
      const at = target.lastIndexOf("/");
      const access = await (await (await folder(target.slice(0, at), true)).getFileHandle(target.slice(at + 1), { create: true })).createSyncAccessHandle();
      held.push(access);
      open.set("/" + target, { access });
    }
    return await work();
  } finally {
    for (const a of held.splice(0)) a.close();
    open.clear();
    dirs.clear();
    numbers.clear();
  }
}

/** The files that Go made, as [path, bytes]. */
export function made() {
  return [...open].filter(([, f]) => f.bytes).map(([path, f]) => [path, f.bytes.subarray(0, f.size)]);
}

const fail = (code) => Object.assign(new Error(code), { code });

const size = (f) => (f.access ? f.access.getSize() : f.size);

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
    if (!open.has(path) && !dirs.has(path)) {
      if (!(flags & O.O_CREAT)) throw fail("ENOENT");
      open.set(path, { bytes: new Uint8Array(65536), size: 0 });
    }
    const f = open.get(path);
    if (flags & O.O_TRUNC) f.access ? f.access.truncate(0) : (f.size = 0);
    numbers.set(next, { path, at: 0 });
    return next++;
  },
  close(fd) { numbers.delete(fd); },
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
    let got;
    if (f.access) got = f.access.read(into, { at });
    else {
      const part = f.bytes.subarray(at, Math.min(f.size, at + length));
      into.set(part);
      got = part.length;
    }
    if (position === null) n.at += got;
    return got;
  },
  write(fd, buffer, offset, length, position) {
    const data = buffer.subarray(offset, offset + length);
    if (fd < 100) { // what Go says of its own end
      console.error(new TextDecoder().decode(data));
      return length;
    }
    const n = opened(fd), f = open.get(n.path), at = position ?? n.at;
    if (f.access) {
      if (f.access.write(data, { at }) < length) throw fail("ENOSPC");
    } else {
      if (at + length > f.bytes.length) {
        const more = new Uint8Array(2 * (at + length));
        more.set(f.bytes);
        f.bytes = more;
      }
      f.bytes.set(data, at);
      f.size = Math.max(f.size, at + length);
    }
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
    let got;
    try {
      if (!calls[name]) throw fail("ENOSYS");
      got = calls[name](...args);
    } catch (e) {
      done(e.code && typeof e.code === "string" ? e : fail("EIO"));
      return;
    }
    done(null, got);
  };
}
