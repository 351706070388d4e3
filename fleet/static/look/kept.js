// Answers are kept on this screen until the server has them. What a form with data-kept="WORDS" sends is first written to
// the browser's own database, then sent; it is taken out again only when the server says that it is saved. Without a connection
// it waits and is sent later, in the order it was typed, each once: its key makes the same answer sent twice one answer.
// After an expired sign-in it is offered to the person who typed it, and to nobody else. Without this script, or where the
// browser refuses its database, the form is sent as any other.
//
//   data-kept="WORDS"       form: what the answer is called
//   data-kept-part="NAME"   the part of the page around the form that a refusal gives back, with what is wrong
//   data-kept-why="WORDS"   in such a part: why it was not accepted, where that is no field's error
//   data-kept-drop          form: what waits may be dropped before it is sent
//   data-kept-told          form: the page says itself what became of it
//
// A page's own script hears "kept:waits" (a form was kept without a connection), "kept:refused" (its part was given back),
// "kept:shown" (what is kept for this person) and "kept:sent" (what had waited was sent). <body data-unconnected> tells that nothing could be sent when last tried.

(() => {
  const notes = document.querySelector("[data-kept-notes]");
  if (!notes) return;
  const person = document.body.dataset.person;
  const TRY_AGAIN = 10000;
  const PATIENCE = 20000; // for an answer of the server; what is sent again counts once
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
    else row.append(`Kept on this screen, not sent yet. ${typed(entry)}. `, ...(entry.drops ? [button("Drop it", () => drop(entry))] : []));
    return row;
  }

  const choices = (entry, words) => [button(words, () => release(entry)), button("Drop it", () => drop(entry))];

  async function show() {
    const entries = await everything();
    for (const old of notes.querySelectorAll(".kept-one")) old.remove();
    (notes.querySelector("[data-kept-list]") ?? notes).append(...entries.map(noteOf));
    tellPage("kept:shown", { entries: entries.filter((entry) => entry.person === person) });
    return entries;
  }

  const tellPage = (name, detail) => document.dispatchEvent(new CustomEvent(name, { detail }));

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
      answer = await fetch(entry.url, { method: "POST", body: data, headers: { "X-Kept": "1" }, redirect: "manual", signal: AbortSignal.timeout(PATIENCE) });
    } catch {
      return { kind: "offline" };
    }
    if (answer.type === "opaqueredirect" || answer.status === 403) return { kind: "signed out" };
    if (!answer.ok) return answer.status === 404 ? { kind: "refused", why: "It is not there for you any more." } : { kind: "offline" };
    const told = await answer.json();
    if (told.saved) return { kind: "saved", ...told };
    if (told.another) return { kind: "signed out" };
    const page = new DOMParser().parseFromString(told.page, "text/html");
    const part = page.querySelector(`[data-kept-part="${entry.part}"]`);
    return { kind: "refused", part, why: reason(part ?? page.querySelector("main")) };
  }

  function reason(part) {
    const why = part?.querySelector("[data-kept-why]")?.dataset.keptWhy;
    if (why) return why;
    const said = part?.querySelector("[role=alert]")?.textContent ?? "what it belongs to has been closed or set aside";
    return said.replace(/\s+/g, " ").replace("Not saved yet.", "").trim();
  }

  const outcomes = new Map();
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
    if (last) document.body.toggleAttribute("data-unconnected", last.kind === "offline");
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

  const shownOf = (form, button) => {
    const choice = form.querySelector("input[type=radio]:checked")?.closest("label")?.querySelector("span")?.textContent ?? "";
    const { value, code, file, note } = form.elements;
    const words = [value?.value || (code?.type === "hidden" ? "" : code?.value), value?.value ? "" : choice, button?.name && button.textContent.trim(), file?.files[0]?.name, note?.value];
    return words.filter(Boolean).join(", ");
  };

  function newKey() {
    return [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  function entryOf(form, button) {
    const data = new FormData(form, button);
    data.set("key", newKey());
    data.delete("csrfmiddlewaretoken");
    const { href } = new URL(form.action);
    const told = { person, name: notes.dataset.name, words: form.dataset.kept, shown: shownOf(form, button) };
    const part = form.closest("[data-kept-part]")?.dataset.keptPart ?? "";
    return { ...told, part, drops: "keptDrop" in form.dataset, url: href, values: [...data], at: Date.now(), state: "waiting", why: "" };
  }

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.dataset.kept || form.dataset.sending) return;
    event.preventDefault();
    keepAndSend(form, event.submitter);
  }, true);

  // Whoever taps on before the answer is saved goes where they tapped.
  let leftAt = 0;
  addEventListener("click", (event) => {
    const way = event.target.closest?.("a[href]");
    if (way && !event.defaultPrevented && !way.target && !way.getAttribute("href").startsWith("#")) leftAt = Date.now();
  });

  async function keepAndSend(form, button) {
    const since = Date.now();
    say("Saving…");
    const entry = entryOf(form, button);
    try {
      // Two answers to one step may wait here: the later corrects the earlier knowingly.
      if ((await waiting()).some((each) => each.url === entry.url)) entry.values.push(["knows_own", "1"]);
      entry.id = await write(entry);
    } catch {
      sendAsAnyOther(form, button);
      return;
    }
    dropDraft(draftKey(form));
    await sendAll();
    const outcome = outcomes.get(entry.id);
    if (outcome?.kind === "saved" && leftAt > since) return;
    if (outcome?.kind === "saved") goOn(form, outcome);
    else if (outcome?.part?.querySelector("form")) await giveBack(form, outcome);
    else letGo(form, entry);
  }

  function sendAsAnyOther(form, button) {
    delete form.dataset.kept;
    readyAgain(form);
    form.requestSubmit(button);
  }

  function goOn(form, { entry, at, next }) {
    if (!("keptTold" in form.dataset)) keep(() => sessionStorage.setItem(JUST_SAVED, `${entry.words}: saved at ${at}`));
    form.removeAttribute("data-guard");
    location.assign(next);
  }

  // The server gives back what was typed with what is wrong beside it, so it need not be kept here as well.
  async function giveBack(form, { entry, part, why }) {
    await forget(entry);
    form.closest("[data-kept-part]").replaceWith(part);
    await show();
    if ("keptTold" in form.dataset) say("");
    else say(`${entry.words}: not accepted because: ${why}`, "refused");
    tellPage("kept:refused", { form });
    focusFirst();
  }

  function letGo(form, entry) {
    readyAgain(form);
    changed.delete(form);
    tellPage("kept:waits", { form, entry });
  }

  // ---- start ----

  async function start() {
    const just = keep(() => sessionStorage.getItem(JUST_SAVED));
    if (just) say(just, "saved");
    keep(() => sessionStorage.removeItem(JUST_SAVED));
    await show();
    await again();
  }

  async function again() {
    if (!(await waiting()).length) return;
    await sendAll();
    if (!(await waiting()).length) tellPage("kept:sent", {});
  }

  start().catch(() => {}); // without a database nothing is kept, and forms are sent as any other
  addEventListener("online", () => again().catch(() => {}));
  setInterval(() => again().catch(() => {}), TRY_AGAIN);
})();
