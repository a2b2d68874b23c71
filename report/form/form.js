// What is wrong with a form stands beside its fields.
const PAUSE_MS = 300; // of typing, before it is checked

/** Shows problems; of fields that were never filled in only after hurry. */
export function beside(form, problems, hurry) {
  for (const f of form.elements) {
    if (!f.id?.startsWith("f-")) continue;
    const name = f.name || f.id.slice(2).replace("-", "."); // a fieldset is an entry of a list
    let text = problems.find((p) => p.field === name)?.text ?? "";
    const at = f.name ? document.getElementById(`${f.id}-e`) : f.querySelector(":scope > .wrong");
    if (f.name && !hurry && !f.value && !at) text = "";
    if (f.name) f.toggleAttribute("aria-invalid", false);
    if (!text) {
      at?.remove();
      continue;
    }
    const says = at ?? Object.assign(document.createElement("strong"), { className: "wrong", id: `${f.id}-e` });
    says.textContent = text;
    if (f.name) {
      f.setAttribute("aria-invalid", "true");
      const about = (f.getAttribute("aria-describedby") ?? "").split(" ");
      if (!about.includes(says.id)) f.setAttribute("aria-describedby", [says.id, ...about].join(" ").trim());
    }
    if (!at) (f.name ? f : f.querySelector("legend")).after(says);
    f.closest("details").open = true;
  }
}

/** Checks a form as one types: check answers with what beside takes. */
export function live(form, check) {
  let typed;
  form.addEventListener("input", () => {
    clearTimeout(typed);
    typed = setTimeout(async () => {
      const found = await check();
      if (found) beside(form, found);
    }, PAUSE_MS);
  });
}
