// Benchward's own page behaviour. No framework, no inline script, nothing a page can't do without: each page works with
// JavaScript off, only less comfortably. What a page asks for, it asks by attribute:
//
//   data-copy="TEXT"        button: copies TEXT
//   data-key="3"            button, link, label: pressed by that key while no field is being typed in
//   data-key-label="WORDS"  words for the list of keys, if the element's own text won't do
//   data-scan               input: takes a scanner; focused on load, Enter or Tab submits, a scan replaces what is there
//   data-find               the search input that "/" goes to (in the header)
//   data-guard              form: asks before the page is left with unsaved typing
//   data-keep-draft="NAME"  form: unsent typing is kept in this tab, for this person, until it is sent or they sign out
//   data-not-saved          on a page that answers a form without saving it: what was typed stays kept
//   data-sign-out           form: forgets all that was kept
//   data-ago="ISO"          element: its words ("3 minutes ago") stay fresh
//   data-toggle="ID"        button: opens and shuts the element with that id
//   data-fold               details: shut on a phone as long as the address narrows nothing
//   data-fold="phone"       details: shut on a phone as long as nothing in it was refused; open on paper
//   data-focus              element: takes the focus on load (the summary of a refused form)

const all = (selector, root = document) => [...root.querySelectorAll(selector)];

// ---- htmx ----

document.addEventListener("htmx:configRequest", (event) => {
  const token = document.querySelector('meta[name="csrf-token"]');
  if (token) event.detail.headers["X-CSRFToken"] = token.content;
});

// ---- theme: light, dark, chosen by hand and kept ----

function turnTheme() {
  const root = document.documentElement;
  const dark = root.dataset.theme
    ? root.dataset.theme === "dark"
    : matchMedia("(prefers-color-scheme: dark)").matches;
  root.dataset.theme = dark ? "light" : "dark";
  keep(() => localStorage.setItem("theme", root.dataset.theme));
}

// A browser may refuse storage; the page then works without remembering.
function keep(act) {
  try {
    return act();
  } catch {
    return null;
  }
}

// What a round keeps on a phone is there for the person who is signed in, and for nobody after.
if (!document.body.dataset.person) self.caches?.delete("rounds");

// ---- clicks ----

async function copy(button) {
  await navigator.clipboard.writeText(button.dataset.copy);
  const label = button.getAttribute("aria-label");
  button.classList.add("copied");
  button.setAttribute("aria-label", "Copied");
  setTimeout(() => {
    button.classList.remove("copied");
    button.setAttribute("aria-label", label);
  }, 1500);
}

function toggle(button) {
  const open = document.getElementById(button.dataset.toggle).classList.toggle("open");
  button.setAttribute("aria-expanded", String(open));
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.dataset.copy) copy(button);
  if (button.dataset.toggle) toggle(button);
  if ("themeToggle" in button.dataset) turnTheme();
  if ("showKeys" in button.dataset) showKeys();
});

// ---- keys ----

const typing = (element) => element.matches("input:not([type=radio], [type=checkbox]), select, textarea, [contenteditable]");

function showKeys() {
  const dialog = document.getElementById("keys");
  if (!dialog) return;
  const list = dialog.querySelector("[data-keys-list]");
  all("[data-page-key]", list).forEach((row) => row.remove());
  for (const element of all("[data-key]")) {
    const row = document.createElement("div");
    row.dataset.pageKey = "";
    const key = document.createElement("dt");
    key.append(Object.assign(document.createElement("kbd"), { textContent: element.dataset.key }));
    const words = document.createElement("dd");
    const label = element.querySelector("span")?.textContent ?? element.textContent;
    words.textContent = element.dataset.keyLabel ?? label.trim();
    row.append(key, words);
    list.append(row);
  }
  dialog.showModal();
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || typing(event.target)) return;
  if (document.querySelector("dialog[open]")) return;
  const target = document.querySelector(`[data-key="${CSS.escape(event.key)}"]`);
  if (event.key === "/") document.querySelector("[data-find]")?.select();
  else if (event.key === "?") showKeys();
  else if (target) target.click();
  else return;
  event.preventDefault();
});

// ---- scanners: they type fast and end with Enter or Tab ----

document.addEventListener("keydown", (event) => {
  const field = event.target;
  if (!field.matches("input[data-scan]") || event.shiftKey || event.key !== "Tab" || !field.value) return;
  event.preventDefault();
  field.form.requestSubmit();
});

document.addEventListener("focusin", (event) => {
  if (event.target.matches("input[data-scan]")) event.target.select();
});

function focusFirst() {
  const first = document.querySelector("[data-focus]") ?? document.querySelector("[data-scan]");
  first?.focus();
}

// ---- forms: sent once, kept until sent ----

const changed = new WeakSet();
const draftKey = (form) => `draft:${document.body.dataset.person}:${form.dataset.keepDraft}`;
const draftKeys = () => keep(() => Object.keys(sessionStorage).filter((key) => key.startsWith("draft:"))) ?? [];
const keepable = (field) => field.name && !["hidden", "password", "file", "submit", "button"].includes(field.type);

function saveDraft(form) {
  const values = [...new FormData(form)].filter(([name]) => {
    const field = form.elements[name];
    return keepable(field instanceof RadioNodeList ? field[0] : field);
  });
  writeDraft(draftKey(form), { values, sent: false });
}

function writeDraft(key, draft) {
  keep(() => sessionStorage.setItem(key, JSON.stringify(draft)));
}

function readDraft(key) {
  return JSON.parse(keep(() => sessionStorage.getItem(key)) ?? "null");
}

function markSent(form, sent) {
  const draft = form.dataset.keepDraft && readDraft(draftKey(form));
  if (draft) writeDraft(draftKey(form), { ...draft, sent });
}

function dropDraft(key) {
  keep(() => sessionStorage.removeItem(key));
}

function fill(form, values) {
  for (const field of form.elements) {
    if (!keepable(field)) continue;
    const given = values.filter(([name]) => name === field.name).map(([, value]) => value);
    if (field.type === "radio" || field.type === "checkbox") field.checked = given.includes(field.value);
    else if (given.length) field.value = given[0];
  }
}

// A draft that was sent is answered by whatever page comes next; only "back" or "reload" means that it was not.
function answered(draft) {
  return draft.sent && performance.getEntriesByType("navigation")[0]?.type === "navigate";
}

function restoreDraft(form) {
  const draft = readDraft(draftKey(form));
  if (!draft) return;
  if (form.querySelector(".field-wrong")) {
    dropDraft(draftKey(form)); // the server has given it back, with what is wrong beside it
    return;
  }
  fill(form, draft.values);
  changed.add(form);
  form.prepend(draftNote(form));
}

function draftNote(form) {
  const note = Object.assign(document.createElement("p"), { className: "message screen-only", textContent: "Your unsent typing was put back. " });
  const button = Object.assign(document.createElement("button"), { className: "quiet", type: "button", textContent: "Start afresh" });
  button.addEventListener("click", () => {
    dropDraft(draftKey(form));
    changed.delete(form);
    form.reset();
    note.remove();
  });
  note.append(button);
  return note;
}

document.addEventListener("input", (event) => {
  const form = event.target.form;
  if (!form) return;
  changed.add(form);
  if (form.dataset.keepDraft) saveDraft(form);
});

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post") return;
  if (form.dataset.sending) {
    event.preventDefault();
    return;
  }
  form.dataset.sending = "yes";
  changed.delete(form);
  if ("signOut" in form.dataset) draftKeys().forEach(dropDraft);
  markSent(form, true);
  sendButtons(form).forEach((button) => button.setAttribute("aria-busy", "true"));
});

const sendButtons = (form) => [...form.elements].filter((element) => element.type === "submit");

function readyAgain(form) {
  delete form.dataset.sending;
  sendButtons(form).forEach((button) => button.removeAttribute("aria-busy"));
}

addEventListener("pageshow", (event) => {
  if (event.persisted) all("form[data-sending]").forEach(readyAgain);
});

document.addEventListener("htmx:afterRequest", (event) => {
  const form = event.detail.elt.closest("form[data-sending]");
  if (!form) return;
  readyAgain(form);
  if (event.detail.successful) dropDraft(draftKey(form));
  else markSent(form, false);
});

addEventListener("beforeunload", (event) => {
  if (all("form[data-guard]").some((form) => changed.has(form))) event.preventDefault();
});

// ---- "3 minutes ago", in the same words as fleet/web/phrases.py ----

const SPANS = [[14, 1, "day"], [56, 7, "week"], [730, 30.4375, "month"], [Infinity, 365.25, "year"]];

function say(count, name, future) {
  const words = `${count} ${name}${count === 1 ? "" : "s"}`;
  return future ? `in ${words}` : `${words} ago`;
}

function daysAgo(then, now) {
  const midnight = (value) => Date.UTC(value.getFullYear(), value.getMonth(), value.getDate());
  const days = Math.round((midnight(then) - midnight(now)) / 86400000);
  if (Math.abs(days) < 2) return ["yesterday", "today", "tomorrow"][days + 1];
  const [, length, name] = SPANS.find(([limit]) => Math.abs(days) < limit);
  return say(Math.floor(Math.abs(days) / length), name, days > 0);
}

function agoWords(iso, now) {
  if (iso.length === 10) return daysAgo(new Date(`${iso}T00:00`), now);
  const seconds = (new Date(iso) - now) / 1000;
  const size = Math.abs(seconds);
  if (size < 60) return "just now";
  if (size < 3600) return say(Math.floor(size / 60), "minute", seconds > 0);
  if (size < 86400) return say(Math.floor(size / 3600), "hour", seconds > 0);
  return daysAgo(new Date(iso), now);
}

function refreshAgo() {
  const now = new Date();
  for (const element of all("[data-ago]")) element.textContent = agoWords(element.dataset.ago, now);
}

// ---- what would push the list off a phone's screen ----

const narrow = matchMedia("(max-width: 47.99em)");

function fold(details) {
  const asked = new URLSearchParams(location.search);
  const wanted =
    details.dataset.fold === "phone"
      ? details.querySelector("[role=alert], .field-wrong") !== null
      : all("input:not([type=hidden]), select", details).some(({ name, value }) => value && asked.has(name));
  details.open = wanted || !narrow.matches;
}

const foldAll = () => all("details[data-fold]").forEach(fold);

// ---- start ----

foldAll();
narrow.addEventListener("change", foldAll);
document.addEventListener("htmx:load", ({ detail: { elt } }) => {
  for (const details of all("details[data-fold]")) if (elt.contains(details)) fold(details);
});
// On paper nothing that belongs there stays shut.
addEventListener("beforeprint", () => all("details[data-fold]").forEach((details) => (details.open = true)));
addEventListener("afterprint", foldAll);

function settleDrafts() {
  const saved = !document.querySelector("[data-not-saved]");
  for (const key of draftKeys()) {
    const draft = readDraft(key);
    if (!saved) writeDraft(key, { ...draft, sent: false });
    else if (answered(draft)) dropDraft(key);
  }
}

settleDrafts();
all("form[data-keep-draft]").forEach(restoreDraft);
focusFirst();
setInterval(refreshAgo, 60000);

// Only the answer to something sent may move the focus; a part that refreshes itself never takes it from a hand at work.
document.addEventListener("htmx:afterSettle", (event) => {
  if (event.detail.requestConfig?.verb === "post") focusFirst();
});
