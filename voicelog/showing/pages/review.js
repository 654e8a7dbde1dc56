// The review page. The list is filtered whole and drawn in slices, so that thousands of lines stay quick.
"use strict";
const key = document.querySelector("meta[name=key]").content;
const at = (id) => document.getElementById(id);
const SLICE = 120;
const SIGNED = "✓ signed off";
let rows = [], shown = [], drawn = 0, hand = null, units = {}, signed = new Set(), asked = null;
const player = new Audio();

// ------------------------------------------------------------------ talking to the program

function address(path) { return path + "?key=" + encodeURIComponent(key); }

async function load(keep) {
  const listed = await (await fetch(address("/rows"))).json();
  rows = listed.rows; units = listed.units; signed = new Set(listed.signed_off);
  for (const row of rows) row.text = [row.name, row.quantity, row.value, row.heard, row.number].join(" ").toLowerCase();
  put("head", "journal entry " + listed.head_number + ", " + listed.head_digest.slice(0, 12) + "…");
  fillPlaces();
  filter(keep);
}

async function send(path, body) {
  const options = { method: "POST", headers: { "content-type": "application/json", "x-voicelog-key": key }, body: JSON.stringify(body) };
  try {
    const response = await fetch(path, options);
    const told = await response.json();
    if (response.status === 409) await load(hand && hand.number);
    return response.ok ? { entry: told.entry } : { why: told.why };
  } catch (error) {
    return { why: "Not kept: the program does not answer." };
  }
}

// ------------------------------------------------------------------ the list

function fillPlaces() {
  const chosen = at("f-place").value, seen = new Map();
  for (const row of rows) if (row.place_key) seen.set(row.place_key, row.name);
  const options = [...seen].sort((a, b) => a[0].localeCompare(b[0], undefined, { numeric: true }));
  at("f-place").replaceChildren(new Option("all", ""), ...options.map(([place, name]) => new Option(name + (signed.has(place) ? " (signed off)" : ""), place)));
  at("f-place").value = seen.has(chosen) ? chosen : "";
}

function filter(keep) {
  const place = at("f-place").value, outcome = at("f-outcome").value, words = at("f-words").value.trim().toLowerCase();
  const listen = at("f-listen").checked, unsettled = at("f-unsettled").checked, corrected = at("f-corrected").checked;
  shown = rows.filter((row) =>
    (!place || row.place_key === place) && (!outcome || (row.kind === "reading" && row.outcome === outcome)) &&
    (!listen || row.listen.length) && (!unsettled || (!row.settled && !row.gone)) && (!corrected || row.corrected) &&
    (!words || row.text.includes(words)));
  if (at("f-order").value === "ear") shown = shown.slice().sort((a, b) => a.rank - b.rank || a.number - b.number);
  drawn = 0;
  at("list").replaceChildren();
  at("list").scrollTop = 0;
  draw();
  const ears = rows.filter((row) => row.listen.length).length;
  put("count", shown.length + " of " + rows.length + " lines; " + ears + (ears === 1 ? " needs" : " need") + " an ear");
  const again = keep ? shown.findIndex((row) => row.number === keep) : 0;
  take(Math.max(again, 0), false);
}

function draw() {
  const slice = shown.slice(drawn, drawn + SLICE);
  at("list").append(...slice.map((row, i) => item(row, drawn + i)));
  drawn += slice.length;
}

function item(row, index) {
  const node = document.createElement("li");
  node.id = "row-" + index;
  node.className = row.gone ? "gone" : "";
  node.setAttribute("role", "option");
  node.setAttribute("aria-selected", "false");
  node.setAttribute("aria-setsize", String(shown.length));
  node.setAttribute("aria-posinset", String(index + 1));
  node.append(span("t", row.time), span("p", row.place), span("q", row.quantity), span("val", (row.value + " " + row.unit_print).trim()));
  node.append(row.verdict ? span("badge v-" + row.outcome, (row.sign + " " + row.verdict).trim()) : span("", ""));
  const ear = row.listen.length ? row.listen.join("; ") : row.gone ? row.standing : "";
  if (ear) node.append(span(row.listen.length ? "ear" : "ear gone-words", ear));
  return node;
}

function span(css, words) {
  const node = document.createElement("span");
  if (css) node.className = css;
  node.textContent = words;
  return node;
}

function put(id, words) { at(id).textContent = words; }

function take(index, scroll = true) {
  if (!shown.length) { hand = null; at("one").hidden = true; at("list").removeAttribute("aria-activedescendant"); return; }
  index = Math.min(Math.max(index, 0), shown.length - 1);
  while (drawn <= index) draw();
  const before = at("list").querySelector("[aria-selected=true]");
  if (before) before.setAttribute("aria-selected", "false");
  const node = at("row-" + index);
  node.setAttribute("aria-selected", "true");
  at("list").setAttribute("aria-activedescendant", node.id);
  if (scroll) node.scrollIntoView({ block: "nearest" });
  if (!hand || hand !== shown[index]) tell(shown[index]);
}

function move(step) { take(shown.indexOf(hand) + step); }

// ------------------------------------------------------------------ the line in hand

function tell(row) {
  hand = row;
  quiet();
  at("one").hidden = false;
  at("one").classList.toggle("gone", row.gone);
  put("o-title", "Line " + row.number + (row.name ? ": " + row.name : ""));
  put("o-what", row.quantity);
  put("o-value", (row.value + " " + row.unit_print).trim());
  at("o-badge").className = "badge v-" + row.outcome;
  at("o-badge").hidden = !row.verdict;
  put("o-badge", (row.sign + " " + row.verdict).trim());
  put("o-limit", row.limit); put("o-source", row.source);
  at("o-caution").hidden = !row.caution; put("o-caution", "Caution: " + row.caution);
  at("o-listen").hidden = !row.listen.length; put("o-listen", "Needs an ear: " + row.listen.join("; ") + ".");
  put("o-heard", row.heard ? "“" + row.heard + "”" : "by hand"); put("o-back", row.said_back); put("o-standing", row.standing);
  put("o-rival", row.second_guess ? row.second_guess + " (margin " + row.margin.toFixed(1) + ")" : row.margin === null ? "none" : "none near (margin " + row.margin.toFixed(1) + ")");
  put("o-speaker", row.speaker || "not told apart");
  at("o-story").replaceChildren(...row.story.map((words) => { const li = document.createElement("li"); li.textContent = words; return li; }));
  for (const button of document.querySelectorAll("[data-act]")) button.disabled = !may(button.dataset.act, row);
  put("sign-place", row.place_key + (signed.has(row.place_key) ? " (" + SIGNED + ")" : ""));
  put("told", "");
  sound(row);
}

function may(act, row) {
  if (act === "words") return true;
  if (act === "sign") return row.kind === "reading" && !signed.has(row.place_key);
  if (row.kind !== "reading" || row.gone) return false;
  return act !== "affirm" || row.standing !== "affirmed";
}

// ------------------------------------------------------------------ sound

function sound(row) {
  at("hear").hidden = !row.sound;
  put("o-sound", row.sound ? "" : row.no_sound.charAt(0).toUpperCase() + row.no_sound.slice(1) + ".");
  at("wave-path").setAttribute("d", "");
  cursor(0);
  if (row.sound) outline(row);
}

async function outline(row) {
  const response = await fetch(address("/outline/" + row.number));
  if (row !== hand) return;
  const told = await response.json();
  if (!response.ok) { at("hear").hidden = true; put("o-sound", "The sound cannot be heard: " + told.why + "."); return; }
  const bars = told.peaks.map((peak, i) => { const h = Math.max(1, peak * 0.58); return `M${i} ${30 - h / 2}h.7v${h}h-.7z`; });
  at("wave-path").setAttribute("d", bars.join(""));
  at("wave").setAttribute("aria-label", "Outline of the sound, " + told.seconds.toFixed(1) + " seconds");
}

function quiet() {
  player.pause();
  at("play").setAttribute("aria-pressed", "false");
  put("play-mark", "▶"); put("play-words", "Play");
}

async function play() {
  if (!hand || !hand.sound) return;
  if (!player.paused) { quiet(); return; }
  const src = address("/sound/" + hand.number);
  if (player.dataset.src !== src) { player.src = src; player.dataset.src = src; }
  else if (player.ended) player.currentTime = 0;
  player.defaultPlaybackRate = player.playbackRate = Number(at("speed").value);
  at("play").setAttribute("aria-pressed", "true");
  put("play-mark", "■"); put("play-words", "Stop");
  try { await player.play(); } catch (error) { quiet(); if (error.name !== "AbortError") put("o-sound", "The sound cannot be played."); }
}

function cursor(share) {
  at("wave-at").setAttribute("x1", String(share * 240));
  at("wave-at").setAttribute("x2", String(share * 240));
  at("seek").value = String(Math.round(share * 100));
}

function speed(step) {
  const choice = at("speed");
  choice.selectedIndex = Math.min(Math.max(choice.selectedIndex + step, 0), choice.options.length - 1);
  player.playbackRate = Number(choice.value);
}

player.addEventListener("timeupdate", () => { if (player.duration) cursor(player.currentTime / player.duration); });
player.addEventListener("ended", quiet);
player.addEventListener("error", () => { if (player.error && hand && hand.sound) { quiet(); put("o-sound", "The sound cannot be played."); } });

// ------------------------------------------------------------------ what the reviewer does

const TITLES = { change: "Change the value of line ", withdraw: "Withdraw line ", words: "Add words to line " };

function act(name) {
  if (!hand || !may(name, hand)) return;
  if (name === "affirm") keep("/answer", { line: hand.number, answer: "affirm" });
  else if (name === "sign") keep("/sign-off", { place: hand.place_key });
  else ask(name);
}

function ask(name) {
  asked = name;
  put("ask-title", TITLES[name] + hand.number);
  put("ask-was", [hand.name, hand.quantity, (hand.value + " " + hand.unit_print).trim()].filter(Boolean).join(", "));
  at("ask-value-row").hidden = name !== "change";
  at("ask-text-row").hidden = name !== "words";
  at("ask-unit").replaceChildren(...(units[hand.quantity_key] || []).map(([symbol, print]) => new Option(print || "none", symbol)));
  if (hand.unit) at("ask-unit").value = hand.unit;
  at("ask-value").value = name === "change" ? hand.value : "";
  at("ask-text").value = at("ask-reason").value = "";
  put("ask-why", "");
  at("ask").showModal();
  const first = at(name === "change" ? "ask-value" : name === "words" ? "ask-text" : "ask-reason");
  first.focus();
  if (first.select) first.select();
}

async function answered(event) {
  event.preventDefault();
  const reason = at("ask-reason").value, line = hand.number, value = at("ask-value").value;
  const unit = /\d/.test(value) ? at("ask-unit").value : "";
  const wish = { change: ["/change", { line, value, unit, reason }], withdraw: ["/answer", { line, answer: "withdraw", reason }], words: ["/words", { line, text: at("ask-text").value, reason }] }[asked];
  const told = await send(...wish);
  if (told.why) { put("ask-why", told.why); return; }
  at("ask").close();
  await kept(told.entry, asked === "change" ? told.entry : line);
}

async function keep(path, body) {
  const line = hand.number, told = await send(path, body);
  if (told.why) put("told", told.why);
  else await kept(told.entry, line);
}

async function kept(entry, line) {
  await load(line);
  put("told", "Kept as entry " + entry + ".");
  at("list").focus();
}

at("ask-form").addEventListener("submit", answered);
at("ask-cancel").addEventListener("click", () => at("ask").close());
at("help-open").addEventListener("click", () => at("help").showModal());
at("help-close").addEventListener("click", () => at("help").close());
for (const button of document.querySelectorAll("[data-act]")) button.addEventListener("click", () => act(button.dataset.act));
at("play").addEventListener("click", play);
at("speed").addEventListener("change", () => speed(0));
at("seek").addEventListener("input", () => { if (player.duration) player.currentTime = player.duration * at("seek").value / 100; });
at("filters").addEventListener("input", () => filter(hand && hand.number));
at("filters").addEventListener("submit", (event) => event.preventDefault());
at("list").addEventListener("click", (event) => {
  const node = event.target.closest("li");
  if (node) take(Number(node.id.slice(4)), false);
});
at("list").addEventListener("scroll", () => {
  const list = at("list");
  if (drawn < shown.length && list.scrollTop + list.clientHeight > list.scrollHeight - 600) draw();
});

const KEYS = {
  ArrowDown: () => move(1), j: () => move(1), ArrowUp: () => move(-1), k: () => move(-1), " ": play,
  Home: () => take(0), End: () => take(shown.length - 1), PageDown: () => move(12), PageUp: () => move(-12),
  "[": () => speed(-1), "]": () => speed(1), a: () => act("affirm"), c: () => act("change"), w: () => act("withdraw"),
  n: () => act("words"), s: () => act("sign"), "/": () => at("f-words").focus(), "?": () => at("help").showModal(),
};
addEventListener("keydown", (event) => {
  if (document.querySelector("dialog[open]") || event.ctrlKey || event.metaKey || event.altKey) return;
  const inField = event.target.closest("input, select, textarea"), onButton = event.target.closest("button, a, summary");
  if (event.key === "Escape" && inField) { at("list").focus(); return; }
  if (inField || (onButton && [" ", "Enter"].includes(event.key))) return;
  const single = event.key.length === 1 && event.key !== " ";
  if (!KEYS[event.key] || (single && !at("keys-on").checked)) return;
  event.preventDefault();
  KEYS[event.key]();
});
load().then(() => at("list").focus());
