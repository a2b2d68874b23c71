// The worker that writes what is recorded: every second's rows go to the file
// and are flushed, so that a phone that dies takes only the last of them along.
let access, size = 0;

const tasks = {
  async open({ name, file, head }) {
    let dir = await navigator.storage.getDirectory();
    for (const part of ["sessions", name]) dir = await dir.getDirectoryHandle(part, { create: true });
    access = await (await dir.getFileHandle(file, { create: true })).createSyncAccessHandle();
    size = access.getSize();
    write(head);
  },
  rows({ text }) { write(text); },
  close() { access?.close(); access = null; },
};

function write(text) {
  const bytes = new TextEncoder().encode(text);
  let n = 0;
  try {
    n = access.write(bytes, { at: size });
  } finally {
    if (n < bytes.length) access.truncate(size); // no half rows
  }
  if (n < bytes.length) throw new DOMException("", "QuotaExceededError");
  access.flush();
  size += n;
}

// One task after another: rows wait until their file is open.
let last = Promise.resolve();
onmessage = ({ data: { id, task, ...args } }) => {
  last = last.then(async () => {
    try {
      await tasks[task](args);
      postMessage({ id, size });
    } catch (e) {
      postMessage({ id, size, error: e.message || e.name, name: e.name });
    }
  });
};
