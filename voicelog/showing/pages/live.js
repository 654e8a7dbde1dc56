// Follows the session. After a sleep the page asks for what it missed; it never guesses.
"use strict";
const key = document.querySelector("meta[name=key]").content;
const SILENT_MS = 25000; // more than two missed signs of life: the connection is gone
const LONG = 160; // signs of a limit's sentence beyond which it is set smaller, so that the answers stay in sight
const at = (id) => document.getElementById(id);
let stream = null, lastSeen = "", heardAt = 0, awaits = 0, shown = 0, ended = false;

function connect() {
  if (stream) stream.close();
  const after = lastSeen ? "&after=" + encodeURIComponent(lastSeen) : "";
  stream = new EventSource("/events?key=" + encodeURIComponent(key) + after);
  stream.onopen = alive;
  stream.onmessage = (event) => { lastSeen = event.lastEventId; alive(); show(JSON.parse(event.data)); };
  stream.addEventListener("beat", alive);
  stream.onerror = () => link("away", "connection lost, trying again");
}

function alive() { heardAt = Date.now(); link("here", "connected"); }
function link(state, words) {
  const line = at("link");
  if (line.textContent !== words) { line.textContent = words; line.dataset.state = state; }
}
function look() { if (ended) return; if (!stream || stream.readyState === EventSource.CLOSED || Date.now() - heardAt > SILENT_MS) connect(); }
setInterval(look, 3000);
for (const name of ["pageshow", "online", "focus"]) addEventListener(name, look);
document.addEventListener("visibilitychange", () => { if (!document.hidden) look(); });

function put(id, text) { const node = at(id); if (node.textContent !== text) node.textContent = text; }

function show(state) {
  if (state.ended) { ended = true; stream.close(); link("ended", "the session has ended"); }
  put("awaiting", state.ended ? "The session has ended." : "Awaiting " + state.awaiting + ".");
  at("notice").hidden = !state.notice;
  put("notice", state.notice);
  if (state.now) showNow(state.now);
  at("last").replaceChildren(...state.last.map(row));
  put("left-count", String(state.left_count));
  at("left").replaceChildren(...state.left.map((words) => item("li", "", words)));
  if (awaits !== state.awaits) put("tapped", "");
  awaits = state.awaits;
  for (const button of document.querySelectorAll("[data-answer]")) button.disabled = !awaits;
}

function showNow(line) {
  const card = at("now");
  card.className = "now v-" + line.outcome;
  put("place", line.place); put("name", line.name); put("quantity", line.quantity);
  put("value", line.value); put("unit", line.unit); put("sign", line.sign);
  put("verdict", line.verdict); put("standing", line.standing); put("limit", line.limit);
  card.querySelector(".value").classList.toggle("words", !line.unit && /[a-z]{3}/i.test(line.value));
  at("limit").classList.toggle("long", line.limit.length > LONG);
  at("caution").hidden = !line.caution; put("caution", line.caution);
  if (line.number !== shown) { card.classList.add("fresh"); setTimeout(() => card.classList.remove("fresh"), 600); }
  shown = line.number;
}

function item(tag, css, words) {
  const node = document.createElement(tag);
  if (css) node.className = css;
  node.textContent = words;
  return node;
}

function row(line) {
  const gone = line.standing === "replaced" || line.standing === "withdrawn";
  const node = item("li", gone ? "gone" : "", "");
  node.append(item("span", "", line.place + (line.name ? ", " + line.name : "")));
  node.append(item("span", "v", (line.value + " " + line.unit).trim()));
  node.append(item("span", "tail", [line.symbol, (line.sign + " " + line.verdict).trim(), line.standing, line.time].filter(Boolean).join(" · ")));
  return node;
}

async function answer(button) {
  const line = awaits;
  for (const each of document.querySelectorAll("[data-answer]")) each.disabled = true;
  try {
    const response = await fetch("/answer", {
      method: "POST",
      headers: { "content-type": "application/json", "x-voicelog-key": key },
      body: JSON.stringify({ answer: button.dataset.answer, line: line }),
    });
    const told = await response.json();
    put("tapped", response.ok ? "Sent: " + told.taken : told.why);
  } catch (error) {
    put("tapped", "Not sent: no connection.");
    for (const each of document.querySelectorAll("[data-answer]")) each.disabled = !awaits;
  }
}
for (const button of document.querySelectorAll("[data-answer]")) button.addEventListener("click", () => answer(button));
connect();
