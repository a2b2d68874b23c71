// What the pages do where script runs; all of it works without.
import { live } from "/form.js";

const form = document.querySelector("form[data-check]");
if (form) {
  live(form, async () => {
    const body = new URLSearchParams([...new FormData(form)].filter(([, v]) => typeof v === "string"));
    const reply = await fetch(form.dataset.check, { method: "POST", body }).catch(() => null);
    return reply?.ok ? (await reply.json()) ?? [] : null;
  });
}

const stage = document.getElementById("stage");
if (stage) {
  const news = new EventSource(location.href);
  const again = (ms) => { news.close(); setTimeout(() => location.reload(), ms); };
  news.onmessage = (e) => { stage.textContent = e.data; };
  news.addEventListener("done", () => again(0));
  news.onerror = () => again(2000);
}
