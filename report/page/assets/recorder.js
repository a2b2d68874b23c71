// The worker that writes what is recorded: every second's rows go to the file
// and are flushed, so that a phone that dies takes only the last of them along.
import { folder, serve } from "./files.js";

let access, size = 0;

serve({
  async open({ name, file, head }) {
    access = await (await (await folder(`sessions/${name}`, true)).getFileHandle(file, { create: true })).createSyncAccessHandle();
    size = access.getSize();
    return write(head);
  },
  rows({ text }) { return write(text); },
  close() { access?.close(); access = null; return {}; },
});

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
  return { size };
}
