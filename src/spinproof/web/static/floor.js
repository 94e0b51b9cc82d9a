// Checks on the shop floor: drafts of every field, answers kept until the server has them, undo.
// Everything here is an addition: without it the forms of the page do the same, one page at a time.
"use strict";
(() => {
  const DRAFT = "floor:draft:";
  const QUEUE = "floor:queue";
  const GLOVES = "floor:gloves";
  const RETRY_MS = 5000;
  const UNDO_MS = 10000;
  const SETTLE_MS = 400;
  const root = document.documentElement;
  const page = document.querySelector("[data-floor]");

  const load = (key, otherwise) => {
    try {
      return JSON.parse(localStorage.getItem(key)) ?? otherwise;
    } catch {
      return otherwise;
    }
  };
  const save = (key, value) => localStorage.setItem(key, JSON.stringify(value));
  const clock = (ms) => new Date(ms).toTimeString().slice(0, 8);

  /* gloves: larger targets, kept on this device */
  const wear = (on) => {
    root.classList.toggle("gloved", on);
    for (const button of document.querySelectorAll("[data-gloves]")) {
      button.setAttribute("aria-pressed", String(on));
    }
  };
  wear(load(GLOVES, false));
  document.addEventListener("click", (event) => {
    if (!event.target.closest("[data-gloves]")) return;
    const on = !load(GLOVES, false);
    save(GLOVES, on);
    wear(on);
  });
  if (!page) return;

  const who = page.dataset.floor;
  const sync = document.getElementById("sync");
  const undo = document.getElementById("undo");
  const cardOf = (form) => form.closest("[data-card]");
  const isKept = (form) => form instanceof HTMLFormElement && form.matches("[data-keep]");
  const stateOf = (card) => card.querySelector("[data-kept]");
  const say = (card, text) => {
    const line = stateOf(card);
    if (line && line.textContent !== text) line.textContent = text;
  };

  /* numbers: comma and point, shown back with their unit before they are stored */
  const NUMBER = /^[+-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?$/;
  const THOUSANDS = /^[+-]?[1-9][0-9]{0,2},[0-9]{3}$/;
  const readNumber = (text) => {
    const tidy = text.trim().replace("\u2212", "-");
    if (!NUMBER.test(tidy) || THOUSANDS.test(tidy)) return null;
    const value = Number(tidy.replace(",", "."));
    return Number.isFinite(value) ? value : null;
  };
  const showBack = (form) => {
    const field = form.querySelector("[data-number]");
    if (!field) return;
    const value = readNumber(field.value);
    const confirmed = form.elements.namedItem("confirmed");
    confirmed.value = value === null ? "" : `${value} ${field.dataset.number}`.trim();
    const back = form.querySelector("[data-back]");
    const unit = field.dataset.unit;
    const typed = field.value.trim();
    let text = "";
    if (value !== null) text = `Reads as ${String(value).replace("-", "\u2212")} ${unit}`;
    else if (THOUSANDS.test(typed)) text = "A comma before three digits can mean two things: write a point, or no mark.";
    else if (typed) text = "This is no plain number; it is shown back by the server before it is stored.";
    back.textContent = text;
    form.querySelector("[data-store]").textContent = value === null ? "Look at it" : `Store ${String(value).replace("-", "\u2212")} ${unit}`;
  };

  /* drafts: each field, within half a second, on this device */
  const draftKey = (form) => `${DRAFT}${who}:${form.getAttribute("action")}#${cardOf(form).id}`;
  const fieldsOf = (form, submitter) => {
    const fields = Object.fromEntries(new FormData(form, submitter));
    delete fields["form-token"];
    return fields;
  };
  const keepDraft = (form) => {
    const at = Date.now();
    save(draftKey(form), { fields: fieldsOf(form), at });
    say(cardOf(form), `Kept on this device ${clock(at)}, not stored yet`);
  };
  const fill = (form, fields) => {
    for (const [name, value] of Object.entries(fields)) {
      const field = form.elements.namedItem(name);
      if (field instanceof HTMLElement && field.type !== "submit" && name !== "form-key") field.value = value;
    }
    showBack(form);
  };
  const takeUp = (scope) => {
    for (const form of scope.querySelectorAll("form[data-draft]")) {
      showBack(form);
      const draft = load(draftKey(form), null);
      if (!draft) continue;
      fill(form, draft.fields);
      if (draft.problem) refuse(form, draft.problem);
      say(cardOf(form), `Kept on this device ${clock(draft.at)}, not stored yet`);
    }
  };
  const settling = new WeakMap();
  document.addEventListener("input", (event) => {
    const form = event.target.form;
    if (!isKept(form) || !form.matches("[data-draft]")) return;
    showBack(form);
    clearTimeout(settling.get(form));
    settling.set(form, setTimeout(() => keepDraft(form), SETTLE_MS));
  });

  /* the queue: an answer stays here until the server has it; its key lets it have one effect */
  const waiting = () => load(QUEUE, []);
  const forget = (key) => save(QUEUE, waiting().filter((item) => item.key !== key));
  const tell = () => {
    const all = waiting();
    const own = all.filter((item) => item.who === who);
    const others = [...new Set(all.filter((item) => item.who !== who).map((item) => item.who))];
    const parts = [];
    if (own.length) parts.push(`${own.length} not sent yet: kept on this device, sent when the network is back.`);
    if (others.length) parts.push(`Not sent yet, from ${others.join(", ")}: sent when they sign in here.`);
    sync.textContent = parts.join(" ");
    sync.hidden = !parts.length;
    for (const item of own) {
      const card = document.getElementById(item.card);
      if (!card || item.page !== location.pathname) continue;
      say(card, `Not sent yet, kept on this device ${clock(item.pressed)}`);
      card.setAttribute("aria-busy", "true");
      for (const button of card.querySelectorAll("button")) button.disabled = true;
    }
  };
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!isKept(form)) return;
    const number = form.querySelector("[data-number]");
    if (number && !form.elements.namedItem("confirmed").value) return;  // the server shows it back
    event.preventDefault();
    const fields = fieldsOf(form, event.submitter);
    const queue = waiting();
    if (queue.some((item) => item.key === fields["form-key"])) return;
    clearTimeout(settling.get(form));
    settling.delete(form);
    localStorage.removeItem(draftKey(form));
    queue.push({
      key: fields["form-key"],
      action: form.getAttribute("action"),
      card: cardOf(form).id,
      page: location.pathname,
      undo: form.matches("[data-undo]"),
      draft: form.matches("[data-draft]") ? draftKey(form) : null,
      pressed: Date.now(),
      fields,
      who,
    });
    save(QUEUE, queue);
    tell();
    send();
  });

  let sending = false;
  let retry = 0;
  const send = async () => {
    if (sending) return;
    sending = true;
    clearTimeout(retry);
    try {
      for (let item = next(); item; item = next()) if (!(await sendOne(item))) break;
    } finally {
      sending = false;
      tell();
      if (next()) retry = setTimeout(send, RETRY_MS);
    }
  };
  const next = () => waiting().find((item) => item.who === who);
  const post = (item) => {
    const body = new URLSearchParams(item.fields);
    body.set("form-token", document.querySelector("input[name=form-token]").value);
    body.set("age_s", String(Math.max(0, Date.now() - item.pressed) / 1000));
    return fetch(item.action, { method: "POST", headers: { Accept: "application/json" }, body });
  };
  const sendOne = async (item) => {
    let answer;
    try {
      answer = await post(item);
      if (answer.status === 403 && (await renew())) answer = await post(item);
    } catch {
      return false;  // no network
    }
    if (answer.status === 503 || answer.status === 401 || answer.status >= 500) {
      const fault = await answer.json().catch(() => null);
      if (fault) sync.textContent = `${fault.what}. ${fault.mend}`;
      return false;
    }
    if (answer.ok) {
      const { location: place } = await answer.json();
      forget(item.key);
      await refresh(item, place);
    } else {
      giveBack(item, await answer.json());
    }
    return true;
  };
  const fetchPage = async (path) => {
    const answer = await fetch(path, { headers: { Accept: "text/html" } });
    return answer.ok ? new DOMParser().parseFromString(await answer.text(), "text/html") : null;
  };
  const renew = async () => {  // the server was started anew, and forms have another token
    const fresh = await fetchPage(location.pathname);
    const token = fresh?.querySelector("input[name=form-token]")?.value;
    if (!token || fresh.querySelector("[data-floor]")?.dataset.floor !== who) return false;
    for (const field of document.querySelectorAll("input[name=form-token]")) field.value = token;
    return true;
  };
  const refresh = async (item, place) => {
    if (item.page !== location.pathname) return;
    const fresh = await fetchPage(place.split("#")[0]).catch(() => null);
    if (!fresh) {  // its form has done its work: no second answer may go out under its key
      say(document.getElementById(item.card), `Stored ${clock(Date.now())}. Open the page anew to go on here.`);
      return;
    }
    const others = new Set(waiting().filter((w) => w.page === item.page).map((w) => w.card));
    for (const part of document.querySelectorAll("[data-part]")) {
      const newer = fresh.getElementById(part.id);
      if (newer) part.replaceWith(newer);
    }
    for (const card of document.querySelectorAll("[data-card]")) {
      const newer = fresh.getElementById(card.id);
      if (newer && !others.has(card.id) && (card.id === item.card || !card.contains(document.activeElement))) {
        card.replaceWith(newer);
        takeUp(newer);
      }
    }
    const card = document.getElementById(item.card);
    if (!card) return;
    say(card, item.undo ? `Stored ${clock(Date.now())}` : `Taken back ${clock(Date.now())}`);
    offerUndo(item.undo ? card : null);
  };
  const refuse = (form, problem) => {
    const place = form.querySelector("[data-problem]");
    place.textContent = problem;
    place.hidden = false;
  };
  const giveBack = (item, fault) => {  // refused: what was typed goes back into its form
    forget(item.key);
    const said = Object.values(fault.fields ?? {});
    const problem = said.length ? said.join(" ") : `${fault.what}. ${fault.mend}`;
    if (item.draft) save(item.draft, { fields: item.fields, at: item.pressed, problem });
    if (item.page !== location.pathname) return;
    const card = document.getElementById(item.card);
    card.removeAttribute("aria-busy");
    for (const button of card.querySelectorAll("button")) button.disabled = false;
    const form = [...card.querySelectorAll("form")].find((f) => f.getAttribute("action") === item.action);
    fill(form, item.fields);
    refuse(form, problem);
    say(card, "Not stored");
  };

  /* undo: ten seconds in sight, and in the card for good */
  let undoing = 0;
  const offerUndo = (card) => {
    clearTimeout(undoing);
    const form = card?.querySelector("form[data-take-back]");
    undo.hidden = !form;
    if (!form) return;
    undo.querySelector("[data-what]").textContent = `Stored: ${card.dataset.card}.`;
    undo.querySelector("button").onclick = () => {
      undo.hidden = true;
      form.requestSubmit();
    };
    undoing = setTimeout(() => {
      undo.hidden = true;
    }, UNDO_MS);
  };

  window.addEventListener("online", send);
  window.addEventListener("pagehide", () => {
    for (const form of document.querySelectorAll("form[data-draft]")) {
      if (settling.has(form)) save(draftKey(form), { fields: fieldsOf(form), at: Date.now() });
    }
  });
  takeUp(document);
  tell();
  send();
})();
