// The page at the bench: sends photos to the computer it came from, and shows what that answers. It talks to nobody else.
"use strict";

const $ = id => document.getElementById(id);
const wait = ms => new Promise(done => setTimeout(done, ms));
const queue = [];
let version = "0", mine = "", isSending = false, asked = new AbortController(), announced = 0, done = 0;

// A sentence on the page, or none.
function say(id, text) {
  const place = $(id);
  if (place.textContent !== text) place.textContent = text;
  place.hidden = !text;
}

function refuse(answer) {
  say("refused", `${answer.what} ${answer.do}`);
}

// Puts in the sections that have changed. What has the focus keeps it.
function show(state) {
  version = String(state.version);
  for (const [id, html] of Object.entries(state.sections)) {
    const place = $(id);
    if (place.dataset.html === html) continue;
    const focus = place.contains(document.activeElement) ? document.activeElement : null;
    const opened = [...place.querySelectorAll("details")].map(details => details.open);
    place.dataset.html = html;
    place.innerHTML = html;
    if (id !== "shot") [...place.querySelectorAll("details")].forEach((details, i) => { details.open = !!opened[i]; });
    const again = focus && (focus.id ? $(focus.id) : [...place.querySelectorAll("button, summary, a")].find(e => e.textContent === focus.textContent));
    if (again) again.focus({ preventScroll: true });
  }
  const now = [...$("main").querySelectorAll(":scope > section")].map(section => section.id);
  if (now.join() !== state.order.join()) {
    for (const id of [...state.order].reverse()) $("main").prepend($(id));
    scrollTo(0, 0);
  }
  $("next").textContent = state.next;
}

// Asks for the state, which the computer answers as soon as there is something new.
async function watch() {
  for (;;) {
    asked = new AbortController();
    try {
      const answer = await fetch(`state/${version}/${mine}`, { cache: "no-store", signal: asked.signal });
      if (answer.status === 200) show(await answer.json());
      else if (answer.status !== 204) throw new Error(String(answer.status));
      $("offline").hidden = true;
    } catch (error) {
      if (error.name === "AbortError") continue;
      $("offline").hidden = false;
      await wait(2000);
    }
  }
}

// An order to the computer. Gives its answer, or null after a refusal was shown.
async function order(act, body) {
  try {
    const answer = await fetch(act, { method: "POST", headers: { "x-bench": "1" }, body });
    const reply = await answer.json();
    if (answer.ok) { say("refused", ""); return reply; }
    refuse(reply);
  } catch {
    refuse({ what: "The computer doesn't answer.", do: "Press again when it does." });
  }
  return null;
}

// Sends one photo as it is; gives status and answer, or throws when the connection broke.
function send(file) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("POST", "photo");
    request.setRequestHeader("x-bench", "1");
    request.setRequestHeader("x-name", encodeURIComponent(file.name.slice(-200)));
    request.upload.onprogress = e => {
      const part = e.lengthComputable ? Math.round(100 * e.loaded / e.total) : 0;
      say("sending", part < 100 ? `Sending ${done + 1} of ${announced}: ${part} %` : `Looking at ${done + 1} of ${announced} ...`);
    };
    request.onload = () => {
      try { resolve({ status: request.status, answer: JSON.parse(request.responseText) }); } catch (error) { reject(error); }
    };
    request.onerror = request.onabort = () => reject(new Error("broken"));
    request.send(file);
  });
}

// Sends what is in the queue, one after the other, and again what did not get through.
async function sendAll() {
  if (isSending) return;
  isSending = true;
  let tries = 0;
  while (queue.length > 0) {
    say("sending", `Sending ${done + 1} of ${announced} ...`);
    try {
      const { status, answer } = await send(queue[0]);
      // Others are sending as well: it comes through in a moment.
      if (status === 503) { await wait(1500); continue; }
      // What came while the photo was on its way showed the one before: asked for from the start, it comes at once.
      if (status === 200) { mine = answer.key; version = "0"; say("refused", ""); asked.abort(); scrollTo(0, 0); }
      else refuse(answer);
      queue.shift();
      done += 1;
      tries = 0;
    } catch {
      tries += 1;
      if (tries > 2) say("sending", "The photo did not get through yet. It is sent again and again; stay near the network.");
      await wait(Math.min(1000 * tries, 5000));
    }
  }
  [isSending, announced, done] = [false, 0, 0];
  say("sending", "");
}

async function take(files) {
  const photos = [...files];
  if (photos.length === 0) return;
  const sizes = photos.map(file => file.size);
  const answer = await order("announce", JSON.stringify({ photos: photos.length, largest: Math.max(...sizes) }));
  if (!answer) return;
  announced += photos.length;
  queue.push(...photos);
  sendAll();
}

for (const id of ["shoot", "pick"]) {
  $(id).addEventListener("change", event => {
    const files = [...event.target.files];
    // The same photo may be chosen again.
    event.target.value = "";
    take(files);
  });
}

document.addEventListener("click", async event => {
  const button = event.target.closest("button[data-act]");
  if (!button) return;
  button.disabled = true;
  const words = button.textContent;
  if (button.dataset.then) button.textContent = "One moment ...";
  const answer = await order(button.dataset.act, button.dataset.body || "");
  button.disabled = false;
  button.textContent = words;
  asked.abort();
  if (answer && button.dataset.then) location.href = button.dataset.then;
  else if (answer) scrollTo(0, 0);
});

document.addEventListener("change", async event => {
  const box = event.target.closest("input[data-tick]");
  if (!box) return;
  const answer = await order("tick", `${box.dataset.tick} ${box.checked ? 1 : 0}`);
  if (!answer) box.checked = !box.checked;
  asked.abort();
});

watch();
