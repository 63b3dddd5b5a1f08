// The page at the bench: sends photos to the computer it came from, and shows what that answers. It talks to nobody else.
"use strict";

const $ = id => document.getElementById(id);
const wait = ms => new Promise(done => setTimeout(done, ms));
// Silence after which the page says that the computer doesn't answer, how often and how long it is asked, and after
// which a photo that was on its way when it fell silent is sent anew, ms.
const SILENCE = 5000, ASKED_EVERY = 2000, ASKED_FOR = 4000, GIVEN_UP = 10000;
// Photos that wait, the first of them on its way; what was refused of those chosen together.
const queue = [], trouble = [];
let version = "0", mine = "", isSending = false, asked = new AbortController(), announced = 0, done = 0;
let heard = Date.now(), ticked = heard, isSilent = false, sending = "", upload = null, moved = 0;
// Whether the sections may change their order with the next news, and the order that waits for a press.
let mayResort = true, waiting = null;

// A sentence on the page, or none.
function say(id, text) {
  const place = $(id);
  if (place.textContent !== text) place.textContent = text;
  place.hidden = !text;
}

function refuse(answer) {
  say("refused", `${answer.what} ${answer.do}`);
}

function saySending(text) {
  sending = text;
  say("sending", isSilent && text ? "Kept on the phone: sent as soon as the computer answers." : text);
}

// The computer gave a sign of life.
function hear() {
  heard = Date.now();
  if (!isSilent) return;
  isSilent = false;
  $("offline").hidden = true;
  saySending(sending);
  // What was asked or sent before may never be answered.
  asked.abort();
  const given = upload;
  if (given) setTimeout(() => { if (upload === given && Date.now() - moved >= GIVEN_UP) given.abort(); }, GIVEN_UP);
}

function fallSilent() {
  if (isSilent) return;
  isSilent = true;
  $("offline").hidden = false;
  saySending(sending);
}

async function ask() {
  for (;;) {
    const limit = new AbortController();
    const timer = setTimeout(() => limit.abort(), ASKED_FOR);
    try {
      const answer = await fetch("alive", { cache: "no-store", signal: limit.signal });
      if (answer.ok) hear();
    } catch (error) {
      if (error.name !== "AbortError") fallSilent();
    }
    clearTimeout(timer);
    await wait(ASKED_EVERY);
  }
}

setInterval(() => {
  const now = Date.now();
  // The page itself slept, as it does behind the camera: nobody was asked meanwhile.
  if (now - ticked > 3000) heard = now;
  ticked = now;
  if (now - heard > SILENCE) fallSilent();
}, 1000);

// Sections in another order, from the top.
function resort(order) {
  for (const id of [...order].reverse()) $("main").prepend($(id));
  waiting = null;
  $("resort").hidden = true;
  scrollTo(0, 0);
}

// What somebody reads or is about to press stays where it is: another order waits for a press.
function inOrder(order) {
  const now = [...$("main").querySelectorAll(":scope > section")].map(section => section.id);
  const isOther = now.join() !== order.join();
  if (isOther && (mayResort || mine === "" && scrollY < 100)) resort(order);
  else {
    waiting = isOther ? order : null;
    $("resort").hidden = !isOther;
    const words = { steps: "Measured: show what to do", evenings: "Measured: show what became of the steps" };
    $("resort").textContent = words[order[0]] || "Show what comes next";
  }
  mayResort = false;
}

// Puts in the sections that have changed. What has the focus keeps it, and what was opened stays open.
function show(state) {
  version = String(state.version);
  for (const [id, html] of Object.entries(state.sections)) {
    const place = $(id);
    if (place.dataset.html === html) continue;
    const focus = place.contains(document.activeElement) ? document.activeElement : null;
    const name = (details, i) => details.dataset.key || String(i);
    const opened = new Map([...place.querySelectorAll("details")].map((details, i) => [name(details, i), details.open]));
    place.dataset.html = html;
    place.innerHTML = html;
    if (id !== "shot") [...place.querySelectorAll("details")].forEach((details, i) => { details.open = opened.get(name(details, i)) ?? details.open; });
    const again = focus && (focus.id ? $(focus.id) : [...place.querySelectorAll("button, summary, a")].find(e => e.textContent === focus.textContent));
    if (again) again.focus({ preventScroll: true });
  }
  inOrder(state.order);
  $("next").textContent = state.next;
}

// The whole page anew, in the order that fits now.
function showAnew() {
  version = "0";
  mayResort = true;
  asked.abort();
}

// Asks for the state, which the computer answers as soon as there is something new.
async function watch() {
  for (;;) {
    asked = new AbortController();
    const { signal } = asked;
    try {
      const answer = await fetch(`state/${version}/${mine}`, { cache: "no-store", signal });
      if (answer.status !== 200 && answer.status !== 204) throw new Error(String(answer.status));
      const state = answer.status === 200 ? await answer.json() : null;
      // Asked anew meanwhile: this is of before.
      if (signal.aborted) continue;
      if (state) show(state);
      hear();
    } catch (error) {
      if (error.name === "AbortError") continue;
      fallSilent();
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

// Says what is going to be sent. Gives the refusal, or null; a computer that doesn't answer refuses nothing.
async function announce(photos) {
  const limit = new AbortController();
  const timer = setTimeout(() => limit.abort(), ASKED_FOR);
  const body = JSON.stringify({ photos: photos.length, largest: Math.max(...photos.map(photo => photo.file.size)) });
  try {
    const answer = await fetch("announce", { method: "POST", headers: { "x-bench": "1" }, body, signal: limit.signal });
    return answer.ok ? null : await answer.json();
  } catch {
    return null;
  } finally {
    clearTimeout(timer);
  }
}

// The names of what waits outlive the page: after it is loaded again it says what was not sent.
function remember() {
  try { sessionStorage.setItem("waiting", JSON.stringify(queue.map(photo => photo.file.name))); } catch { /* not on this phone */ }
}

function recall() {
  try {
    const names = JSON.parse(sessionStorage.getItem("waiting") || "[]");
    const some = names.slice(0, 4).join(", ") + (names.length > 4 ? ", ..." : "");
    const were = names.length === 1 ? "1 photo was" : `${names.length} photos were`;
    if (names.length > 0) say("lost", `${were} not sent: choose again (${some}).`);
  } catch { /* not on this phone */ }
}

function drop(photo) {
  const at = queue.indexOf(photo);
  if (at >= 0) queue.splice(at, 1);
  remember();
}

// Sends one photo as it is; gives status and answer, or throws when the connection broke.
function send(file) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    upload = request;
    moved = Date.now();
    const over = () => { if (upload === request) upload = null; };
    request.open("POST", "photo");
    request.setRequestHeader("x-bench", "1");
    request.setRequestHeader("x-name", encodeURIComponent(file.name.slice(-200)));
    request.upload.onprogress = e => {
      moved = Date.now();
      const part = e.lengthComputable ? Math.round(100 * e.loaded / e.total) : 0;
      saySending(part < 100 ? `Sending ${done + 1} of ${announced}: ${part} %` : `Looking at ${done + 1} of ${announced} ...`);
    };
    request.onload = () => {
      over();
      try { resolve({ status: request.status, answer: JSON.parse(request.responseText) }); } catch (error) { reject(error); }
    };
    request.onerror = request.onabort = () => { over(); reject(new Error("broken")); };
    request.send(file);
  });
}

// Takes up what a photo was answered.
function answered(photo, status, answer) {
  if (status === 200) {
    mine = answer.key;
    if (answer.again && !photo.isSentAgain) trouble.push("Already here: this photo counts once.");
  } else {
    // No older photo's answer is shown for this one.
    mine = "none";
    trouble.push(announced > 1 ? `${photo.file.name}: ${answer.what} ${answer.do}` : `${answer.what} ${answer.do}`);
  }
  say("refused", [...new Set(trouble)].join(" "));
  // What came while the photo was on its way showed the one before: asked for from the start, it comes at once.
  showAnew();
  scrollTo(0, 0);
}

// Sends what is in the queue, one after the other, and again what did not get through.
async function sendAll() {
  if (isSending) return;
  isSending = true;
  let tries = 0;
  while (queue.length > 0) {
    const photo = queue[0];
    saySending(`Sending ${done + 1} of ${announced} ...`);
    try {
      const { status, answer } = await send(photo.file);
      hear();
      // Others are sending as well, or half of it came: the same photo counts once, however often it is sent.
      if (status === 503 || status === 408) { photo.isSentAgain = true; await wait(1500); continue; }
      answered(photo, status, answer);
      drop(photo);
      done += 1;
      tries = 0;
    } catch {
      tries += 1;
      photo.isSentAgain = true;
      if (tries > 2) saySending("The photo did not get through yet. It is sent again and again; stay near the network.");
      await wait(Math.min(1000 * tries, 5000));
    }
  }
  [isSending, announced, done] = [false, 0, 0];
  saySending("");
}

async function take(files) {
  const photos = files.map(file => ({ file, isSentAgain: false }));
  if (photos.length === 0) return;
  trouble.length = 0;
  say("refused", "");
  say("lost", "");
  queue.push(...photos);
  announced += photos.length;
  remember();
  if (!isSending) saySending(`Sending ${done + 1} of ${announced} ...`);
  const refusal = await announce(photos);
  if (!refusal) { sendAll(); return; }
  announced -= photos.filter(photo => queue.includes(photo)).length;
  photos.forEach(drop);
  refuse(refusal);
  if (!isSending) saySending("");
}

for (const id of ["shoot", "pick"]) {
  $(id).addEventListener("change", event => {
    const files = [...event.target.files];
    // The same photo may be chosen again.
    event.target.value = "";
    take(files);
  });
}

// A press that is asked back does something only when it is repeated. Gives whether it is to be done now.
function isMeant(button) {
  if (!button.dataset.ask) return true;
  const first = Number(button.dataset.first || 0), words = button.dataset.words || button.textContent;
  const back = () => { button.textContent = words; delete button.dataset.first; };
  // Two presses in one go are one.
  if (first && Date.now() - first < 400) return false;
  if (first) { back(); return true; }
  button.dataset.words = words;
  button.dataset.first = String(Date.now());
  button.textContent = button.dataset.ask;
  setTimeout(() => { if (button.dataset.first) back(); }, 15000);
  return false;
}

document.addEventListener("click", async event => {
  const button = event.target.closest("button");
  if (button && button.id === "resort") { if (waiting) resort(waiting); return; }
  if (!button || !button.dataset.act || !isMeant(button)) return;
  button.disabled = true;
  const words = button.textContent;
  if (button.dataset.then) button.textContent = "One moment ...";
  const answer = await order(button.dataset.act, button.dataset.body || "");
  button.disabled = false;
  button.textContent = words;
  if (answer) showAnew();
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

// Photos that wait are gone with the page.
addEventListener("beforeunload", event => {
  if (queue.length === 0) return;
  event.preventDefault();
  event.returnValue = "";
});

recall();
watch();
ask();
