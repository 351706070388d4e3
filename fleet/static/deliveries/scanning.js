// Scans one after another, as fast as a hand can hold the scanner: each goes into a queue that lives in this tab, for this
// person, until the server has answered it. A dropped connection or an expired sign-in loses none: they wait and are sent
// when the page comes back. Without this script each scan is sent by itself and the page comes anew.

const queueForm = document.querySelector("form[data-scan-queue]");

function kept(act) {
  try {
    return act();
  } catch {
    return null; // a browser may refuse storage; the queue then lives as long as the page
  }
}

if (queueForm) startQueue(queueForm);

function startQueue(form) {
  const key = `scans:${document.body.dataset.person}:${form.dataset.scanQueue}`;
  const field = form.elements.code;
  const note = form.querySelector("[data-unsent]");
  const queue = JSON.parse(kept(() => sessionStorage.getItem(key)) ?? "[]");
  let sending = false;

  const save = () => kept(() => sessionStorage.setItem(key, JSON.stringify(queue)));

  function say(words) {
    note.textContent = words;
    note.hidden = !words;
  }

  async function sendNext() {
    const data = new FormData(form);
    data.set("code", queue[0]);
    const answer = await fetch(form.action, { method: "POST", body: data, headers: { "X-Requested-With": "scan-queue" } });
    if (answer.redirected) location.assign(answer.url); // the sign-in page, which leads back here
    if (answer.redirected || !answer.ok) throw new Error(String(answer.status));
    const part = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("#so-far");
    queue.shift();
    save();
    document.querySelector("#so-far").replaceWith(part);
    sound(part.querySelector("[data-heard]")?.dataset.heard);
  }

  async function send() {
    if (sending) return;
    sending = true;
    try {
      while (queue.length) await sendNext();
      say("");
    } catch {
      say(`${queue.length} not sent yet: ${queue.join(", ")}. They are kept, and sent with the next scan or when the page is opened again.`);
    }
    sending = false;
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    event.stopPropagation();
    const code = field.value.trim();
    field.value = "";
    field.focus();
    if (!code) return;
    queue.push(code);
    save();
    send();
  });

  addEventListener("online", send);
  soundButton(form.querySelector("[data-sound]"));
  send();
}

// ---- a sound for each answer, if somebody wants it: high for added, two low for already here, one long low for unreadable ----

const TONES = { added: [[880, 0.09]], here: [[330, 0.12], [330, 0.12]], unreadable: [[196, 0.45]], type_unknown: [[440, 0.2], [554, 0.2]] };
let speaker = null;

function soundButton(button) {
  const show = () => {
    button.textContent = wantsSound() ? "Sound is on" : "Sound is off";
    button.setAttribute("aria-pressed", String(wantsSound()));
  };
  button.hidden = !("AudioContext" in window);
  button.addEventListener("click", () => {
    kept(() => localStorage.setItem("scan-sound", wantsSound() ? "off" : "on"));
    show();
    sound("added");
  });
  show();
}

function wantsSound() {
  return kept(() => localStorage.getItem("scan-sound")) === "on";
}

function sound(heard) {
  if (!heard || !wantsSound()) return;
  speaker ??= new AudioContext();
  let at = speaker.currentTime;
  for (const [pitch, seconds] of TONES[heard] ?? []) {
    const tone = new OscillatorNode(speaker, { frequency: pitch });
    const volume = new GainNode(speaker, { gain: 0.15 });
    tone.connect(volume).connect(speaker.destination);
    tone.start(at);
    tone.stop(at + seconds);
    at += seconds + 0.06;
  }
}
