// Keeps the status page fresh: the page is read again when something has changed, figures are filled in as they come.
"use strict";
const page = document.getElementById("page");
const away = document.getElementById("away");
let due = null;
let asking = false;

async function again() {
  due = null;
  if (asking) { soon(200); return; }
  asking = true;
  try {
    const answer = await fetch("/", { cache: "no-store", signal: AbortSignal.timeout(10000) });
    if (answer.redirected) { location.reload(); return; }
    if (!answer.ok) throw new Error(answer.status);
    const read = new DOMParser().parseFromString(await answer.text(), "text/html");
    const focused = document.activeElement && document.activeElement.id;
    page.replaceChildren(...read.getElementById("page").childNodes);
    document.title = read.title;
    if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
    away.hidden = true;
  } catch {
    away.hidden = false;
  } finally {
    asking = false;
  }
}

function soon(wait) {
  if (due === null) due = setTimeout(again, wait);
}

function listen() {
  const stream = new EventSource("/api/stream");
  let heard = Date.now();
  const alive = () => { heard = Date.now(); away.hidden = true; };
  stream.onopen = () => { alive(); soon(0); };
  stream.onerror = () => { // as after an hour, when it begins anew; silence is told of below
    if (stream.readyState === EventSource.CLOSED) soon(0); // refused: the page itself says why, such as a session's end
  };
  const spread = () => 50 + 350 * Math.random(); // so that not all who look on ask at once
  for (const kind of ["state", "carrying", "event"]) stream.addEventListener(kind, () => { alive(); soon(spread()); });
  stream.addEventListener("figures", (message) => {
    alive();
    for (const { key, delay, loss } of JSON.parse(message.data)) {
      for (const [name, text] of [["delay", delay], ["loss", loss]]) {
        const cell = document.querySelector(`[data-${name}="${CSS.escape(key)}"]`);
        if (cell) cell.textContent = text;
      }
    }
  });
  const watching = setInterval(() => {
    if (Date.now() - heard > 6000) away.hidden = false;
    if (Date.now() - heard < 10000) return;
    clearInterval(watching);
    stream.close();
    listen();
  }, 1000);
}

listen();
setInterval(() => soon(0), 60000);
