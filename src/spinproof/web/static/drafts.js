// Long forms are kept on this device until the server has them: form[data-remember].
"use strict";
(() => {
  const PREFIX = "draft:";
  const SETTLE_MS = 400;
  const clock = (ms) => new Date(ms).toTimeString().slice(0, 8);
  for (const sent of document.querySelectorAll("[data-sent]")) {
    localStorage.removeItem(PREFIX + sent.dataset.sent);
  }
  const line = document.querySelector("[data-kept]");
  const say = (at) => {
    if (line) line.textContent = `Kept on this device ${clock(at)}, not taken in yet`;
  };
  const fieldsOf = (form) => {
    const typed = [...form.elements].filter((e) => e.name && e.type !== "hidden" && e.type !== "file");
    return typed.filter((e) => e.type !== "radio" || e.checked);
  };
  const keep = (form) => {
    const at = Date.now();
    const fields = Object.fromEntries(fieldsOf(form).map((e) => [e.name, e.value]));
    localStorage.setItem(PREFIX + form.dataset.remember, JSON.stringify({ fields, at }));
    say(at);
  };
  const takeUp = (form) => {
    let draft = null;
    try {
      draft = JSON.parse(localStorage.getItem(PREFIX + form.dataset.remember));
    } catch {
      return;
    }
    if (!draft || form.querySelector(".wrong, .fault")) return;  // what came back is the newer
    for (const field of fieldsOf(form)) {
      const value = draft.fields[field.name];
      const options = field.options ? [...field.options].map((o) => o.value) : [value];
      if (value !== undefined && options.includes(value)) field.value = value;
    }
    say(draft.at);
  };
  for (const form of document.querySelectorAll("form[data-remember]")) {
    let settling = 0;
    takeUp(form);
    form.addEventListener("input", () => {
      clearTimeout(settling);
      settling = setTimeout(keep, SETTLE_MS, form);
    });
    form.addEventListener("submit", () => keep(form));
  }
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-set-all]");
    if (!button) return;
    for (const field of document.querySelectorAll("form[data-remember] select")) {
      const offers = [...field.options].map((o) => o.value);
      if (field.selectedIndex === 0 && offers.includes(button.dataset.setAll)) {
        field.value = button.dataset.setAll;
      }
    }
    const form = document.querySelector("form[data-remember]");
    keep(form);
  });
})();
