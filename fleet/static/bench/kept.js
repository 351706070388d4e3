// Answers are kept on this screen until the server has them. What a form with data-kept="WORDS" sends is first written to
// the browser's own database, then sent; it is taken out again only when the server says that it is saved. Without a connection
// it waits and is sent later, in the order it was typed, each once: its key makes the same answer sent twice one answer.
// After an expired sign-in it is offered to the person who typed it, and to nobody else. Without this script, or where the
// browser refuses its database, the form is sent as any other.

(() => {
  const notes = document.querySelector("[data-kept-notes]");
  if (!notes) return;
  const person = document.body.dataset.person;
  const TRY_AGAIN = 10000;
  const JUST_SAVED = "kept:saved";

  // ---- the browser's database ----

  function database() {
    return new Promise((done, failed) => {
      const asked = indexedDB.open("kept", 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore("answers", { keyPath: "id", autoIncrement: true });
      asked.onsuccess = () => done(asked.result);
      asked.onerror = () => failed(asked.error);
    });
  }

  // Resolves only when the browser says that the change is on its disk.
  async function within(mode, act) {
    const held = await database();
    return new Promise((done, failed) => {
      const change = held.transaction("answers", mode, { durability: "strict" });
      const asked = act(change.objectStore("answers"));
      change.oncomplete = () => {
        held.close();
        done(asked.result);
      };
      change.onabort = () => failed(change.error);
    });
  }

  const everything = () => within("readonly", (answers) => answers.getAll());
  const write = (entry) => within("readwrite", (answers) => answers.put(entry));
  const forget = (entry) => within("readwrite", (answers) => answers.delete(entry.id));

  // ---- what is said ----

  function say(words, kind = "") {
    const state = notes.querySelector("[data-kept-state]");
    state.textContent = words;
    state.className = `kept-state${kind && ` kept-${kind}`}`;
  }

  function button(words, act) {
    const made = Object.assign(document.createElement("button"), { type: "button", className: "quiet", textContent: words });
    made.addEventListener("click", act);
    return made;
  }

  const clockOf = (moment) => new Date(moment).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
  const typed = (entry) => `${entry.words}: ${entry.shown || "answer"}, typed at ${clockOf(entry.at)}`;

  function noteOf(entry) {
    const row = Object.assign(document.createElement("p"), { className: "kept-one" });
    if (entry.person !== person) row.append(`Kept on this screen, typed by ${entry.name}. ${typed(entry)}. It is saved only when they sign in here.`);
    else if (entry.state === "refused") row.append(`Not accepted. ${typed(entry)}. ${entry.why} `, ...choices(entry, "Try again"));
    else if (entry.state === "asks") row.append(`Kept on this screen from before you signed in. ${typed(entry)}. `, ...choices(entry, "Send it"));
    else row.append(`Kept on this screen. ${typed(entry)}.`);
    return row;
  }

  const choices = (entry, words) => [button(words, () => release(entry)), button("Drop it", () => drop(entry))];

  async function show() {
    const entries = await everything();
    for (const old of notes.querySelectorAll(".kept-one")) old.remove();
    notes.append(...entries.map(noteOf));
    return entries;
  }

  async function release(entry) {
    await write({ ...entry, state: "waiting", why: "" });
    await sendAll();
  }

  async function drop(entry) {
    await forget(entry);
    await show();
  }

  // ---- sending ----

  const token = () => document.querySelector('meta[name="csrf-token"]').content;

  async function post(entry) {
    const data = new FormData();
    for (const [name, value] of entry.values) data.append(name, value);
    data.set("csrfmiddlewaretoken", token());
    data.set("held", String(Math.max(0, Math.round((Date.now() - entry.at) / 1000))));
    let answer;
    try {
      answer = await fetch(entry.url, { method: "POST", body: data, headers: { "X-Kept": "1" }, redirect: "manual" });
    } catch {
      return { kind: "offline" };
    }
    if (answer.type === "opaqueredirect" || answer.status === 403) return { kind: "signed out" };
    if (!answer.ok) return answer.status === 404 ? { kind: "refused", why: "This order is not there for you." } : { kind: "offline" };
    const told = await answer.json();
    if (told.saved) return { kind: "saved", ...told };
    if (told.another) return { kind: "signed out" };
    const step = new DOMParser().parseFromString(told.page, "text/html").querySelector("#step");
    return { kind: "refused", step, why: reason(step) };
  }

  function reason(step) {
    if (step?.querySelector(".caution[role=alert]")) return "somebody answered it meanwhile; say below which counts";
    const said = step?.querySelector("[role=alert]")?.textContent ?? "the order has been closed or set aside";
    return said.replace(/\s+/g, " ").replace("Not saved yet.", "").trim();
  }

  const outcomes = new Map();
  let unconnected = false;
  let sending = Promise.resolve();
  const sendAll = () => (sending = sending.then(sendEach, sendEach));
  const waiting = async () => (await everything()).filter((entry) => entry.person === person && entry.state === "waiting");

  // One after another; what the server refuses is set apart and does not hold up the rest.
  async function sendEach() {
    let last = null;
    for (const entry of await waiting()) {
      last = { entry, ...(await post(entry)) };
      outcomes.set(entry.id, last);
      if (last.kind === "saved") await forget(entry);
      else if (last.kind === "refused") await write({ ...entry, state: "refused", why: last.why });
      else break;
    }
    unconnected = last ? last.kind === "offline" : unconnected;
    if (last?.kind === "signed out") await askLater();
    await show();
    if (last) tell(last, (await waiting()).length);
  }

  // After a sign-in these are offered, not sent unasked.
  async function askLater() {
    for (const entry of await waiting()) await write({ ...entry, state: "asks" });
  }

  function tell(last, left) {
    if (last.kind === "saved") say(`${last.entry.words}: saved at ${last.at}`, "saved");
    if (last.kind === "refused") say(`${last.entry.words}: not accepted`, "refused");
    if (last.kind === "signed out") {
      say("You are signed out. What you typed is kept on this screen. ", "kept");
      const way = `${notes.dataset.signIn}?next=${encodeURIComponent(location.pathname + location.search)}`;
      const link = Object.assign(document.createElement("a"), { href: way, textContent: "Sign in to send it" });
      notes.querySelector("[data-kept-state]").append(link);
    }
    if (last.kind === "offline") say(`No connection. ${left} kept on this screen, sent when the connection is back.`, "kept");
  }

  // ---- the form ----

  const shownOf = (form) => {
    const choice = form.querySelector("input[type=radio]:checked")?.closest("label")?.querySelector("span")?.textContent ?? "";
    const words = [form.elements.value?.value, form.elements.value?.value ? "" : choice, form.elements.file?.files[0]?.name, form.elements.note?.value];
    return words.filter(Boolean).join(", ");
  };

  function newKey() {
    return [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  function entryOf(form) {
    const data = new FormData(form);
    data.set("key", newKey());
    data.delete("csrfmiddlewaretoken");
    const { href } = new URL(form.action);
    return { person, name: notes.dataset.name, words: form.dataset.kept, shown: shownOf(form), url: href, values: [...data], at: Date.now(), state: "waiting", why: "" };
  }

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.dataset.kept || form.dataset.sending) return;
    event.preventDefault();
    keepAndSend(form);
  }, true);

  async function keepAndSend(form) {
    say("Saving…");
    const entry = entryOf(form);
    try {
      entry.id = await write(entry);
    } catch {
      form.submit();
      return;
    }
    dropDraft(draftKey(form));
    await sendAll();
    const outcome = outcomes.get(entry.id);
    if (outcome?.kind === "saved") goOn(form, outcome);
    else if (outcome?.step?.querySelector("form")) await giveBack(outcome);
    else letGo(form, unconnected);
  }

  function goOn(form, { entry, at, next }) {
    keep(() => sessionStorage.setItem(JUST_SAVED, `${entry.words}: saved at ${at}`));
    form.removeAttribute("data-guard");
    location.assign(next);
  }

  // The server gives back what was typed with what is wrong beside it, so it need not be kept here as well.
  async function giveBack({ entry, step, why }) {
    await forget(entry);
    document.querySelector("#step").replaceWith(step);
    await show();
    say(`${entry.words}: not accepted because: ${why}`, "refused");
    focusFirst();
  }

  // Without a connection the other steps come out of this page itself.
  function letGo(form, goesOn) {
    readyAgain(form);
    changed.delete(form);
    if (goesOn) turnTo(neighbour(1));
  }

  const left = new Map(); // steps that were on this page before, as they were left
  const templates = () => [...document.querySelectorAll("template[data-step-ahead]")];
  const shown = () => document.querySelector("#step");
  const here = () => Number(shown()?.dataset.position);

  function neighbour(by) {
    const all = [...new Set([...left.keys(), here(), ...templates().map((each) => Number(each.dataset.stepAhead))])];
    all.sort((one, other) => one - other);
    return all[all.indexOf(here()) + by];
  }

  function turnTo(position) {
    const ready = templates().find((each) => Number(each.dataset.stepAhead) === position);
    const step = left.get(position) ?? ready?.content.querySelector("#step").cloneNode(true);
    if (!step || position === here()) return false;
    left.set(here(), shown());
    shown().replaceWith(step);
    focusFirst();
    return true;
  }

  // While there is no connection the ways from step to step stay within this page, too.
  document.addEventListener("click", (event) => {
    const way = event.target.closest?.('a[href^="?step="]');
    if (!way || !(unconnected || !navigator.onLine)) return;
    const by = { prev: -1, next: 1 }[way.rel];
    if (turnTo(by ? neighbour(by) : Number(new URLSearchParams(way.search).get("step")))) event.preventDefault();
  });

  // ---- start ----

  async function start() {
    const just = keep(() => sessionStorage.getItem(JUST_SAVED));
    if (just) say(just, "saved");
    keep(() => sessionStorage.removeItem(JUST_SAVED));
    await show();
    await again();
  }

  async function again() {
    if ((await waiting()).length) await sendAll();
  }

  start().catch(() => {}); // without a database nothing is kept, and forms are sent as any other
  addEventListener("online", () => again().catch(() => {}));
  setInterval(() => again().catch(() => {}), TRY_AGAIN);
})();
