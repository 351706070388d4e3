// A round goes on without a connection, out of the list that its page has loaded: a scan or a tap finds the driver there and
// opens a card; answers are kept by look/kept.js and sent when the connection is back. A driver that is not on the list is
// kept under what was scanned, and looked up by the server when it is sent.

(() => {
  const template = document.querySelector("#walk-card");
  const place = document.querySelector("[data-walk-here]");
  if (!template || !place) return;
  const round = template.content.querySelector("form").getAttribute("action").replace(/answer\/$/, "");
  const listed = () => [...document.querySelectorAll("[data-walk]")];
  const unconnected = () => "unconnected" in document.body.dataset || !navigator.onLine;
  const bare = (text) => text.trim().toUpperCase();

  const named = (code) => listed().find((row) => [row.dataset.walk, row.dataset.walkSerial].map(bare).includes(bare(code)));

  // ---- the card ----

  function open(code) {
    const row = named(code);
    const card = template.content.firstElementChild.cloneNode(true);
    const number = row?.dataset.walk ?? code.trim();
    card.querySelector("#walk-title").textContent = number;
    card.querySelector("[name=code]").value = number;
    card.querySelector("form").dataset.kept = `Driver ${number}`;
    showWhatHolds(card, row);
    close();
    place.append(card);
    card.querySelector("#walk-title").focus();
    card.scrollIntoView({ block: "start" });
  }

  function showWhatHolds(card, row) {
    const quarantined = "walkQuarantined" in (row?.dataset ?? {});
    const load = row?.dataset.walkLoad ?? "";
    card.querySelector("[data-walk-load]").textContent = load;
    const out = "walkOutOfUse" in (row?.dataset ?? {});
    const astray = "walkAstray" in (row?.dataset ?? {});
    const shown = {
      "[data-walk-unlisted]": !row,
      "[data-walk-harm]": quarantined,
      "[data-walk-out]": out,
      "[data-walk-training]": astray,
      "[data-walk-ask]": !quarantined,
      "[value=taken]": !quarantined,
      "[value=done]": load,
      "[value=refused]": !out && !astray,
    };
    for (const [selector, holds] of Object.entries(shown)) {
      if (!holds) card.querySelector(selector).remove();
    }
    for (const each of row?.querySelectorAll("[data-walk-reason]") ?? []) {
      const line = document.createElement("li");
      line.append(...each.cloneNode(true).childNodes);
      card.querySelector("[data-walk-reasons]").append(line);
    }
  }

  // What the server had shown of a driver no longer holds once another answer is kept.
  function close() {
    document.querySelector("[data-kept-part=scan] .caution")?.remove();
    closeCards();
  }

  function closeCards() {
    place.replaceChildren();
    document.querySelector(".round-card[data-kept-part=card]")?.remove();
    document.querySelector(".actions [form=answer]")?.remove();
  }

  document.addEventListener("kept:waits", ({ detail: { form } }) => {
    if (form.id === "scan") {
      const code = form.elements.code.value;
      form.reset();
      form.elements.code.value = "";
      open(code);
      return;
    }
    close();
    document.querySelector("#code").focus();
  });

  // A number nobody knows must not stand above the card of the driver before.
  document.addEventListener("kept:refused", ({ detail: { form } }) => {
    if (form.id === "scan") closeCards();
  });

  document.addEventListener("click", (event) => {
    const row = event.target.closest?.("a.round-driver")?.closest("[data-walk]");
    if (!row || !unconnected()) return;
    event.preventDefault();
    open(row.dataset.walk);
  });

  // ---- what is kept, beside its driver ----

  const answerOf = (entry) => template.content.querySelector(`[value="${new Map(entry.values).get("what")}"]`)?.textContent.trim() ?? "Met";

  function codeOf(entry) {
    const code = new Map(entry.values).get("code");
    return code ?? decodeURIComponent(new URL(entry.url).pathname.replace(`${round}stop/`, "").replace(/\/$/, ""));
  }

  document.addEventListener("kept:shown", ({ detail: { entries } }) => {
    for (const old of document.querySelectorAll(".walk-kept")) old.remove();
    const asks = entries.some((entry) => entry.state !== "waiting");
    if (asks) document.querySelector(".walk-list").open = true;
    const ours = entries.filter((entry) => new URL(entry.url).pathname.startsWith(round) && entry.state !== "refused");
    const last = new Map(ours.map((entry) => [named(codeOf(entry)), answerOf(entry)]));
    last.delete(undefined);
    for (const [row, words] of last) {
      const mark = Object.assign(document.createElement("b"), { className: "walk-kept block", textContent: `${words}: kept, not sent yet` });
      row.querySelector("a").append(mark);
    }
  });

  // ---- the page itself, kept on this phone (templates/rounds/keeper.js) ----

  const { loadedAt } = document.body.dataset;
  if (loadedAt) {
    document.querySelector("[data-walk-loaded]").textContent = `at ${new Date(loadedAt).toLocaleString("en-GB", { dateStyle: "medium", timeStyle: "short" })}`;
    document.querySelector("[data-walk-old]").hidden = false;
    addEventListener("online", showAnew);
  }

  // Whoever rules over a page saw it come; the first page of all came before.
  async function keepPage() {
    const { controller } = navigator.serviceWorker;
    await navigator.serviceWorker.register(document.querySelector("[data-walk-keeper]").dataset.walkKeeper);
    if (controller) return;
    const files = [...document.querySelectorAll("link[rel=stylesheet], script[src]")].map((each) => each.href ?? each.src);
    await (await caches.open("rounds")).addAll([location.pathname, ...files]);
  }
  if (navigator.serviceWorker) keepPage().catch(() => {}); // without it the page is not kept, and works as any other

  // What was sent is shown as the server has it now, unless a hand is at work.
  document.addEventListener("kept:sent", showAnew);

  function showAnew() {
    if (place.childElementCount || document.querySelector("#code")?.value) return;
    const asked = new URLSearchParams(location.search);
    asked.delete("last");
    if (!document.querySelector(".round-card[data-kept-part=card]")) asked.delete("code");
    location.assign(`${location.pathname}${asked.size ? `?${asked}` : ""}`);
  }
})();
