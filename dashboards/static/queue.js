// Entries made where there is no signal: kept in this phone, each under a random key made at that moment, and sent
// until the yard has answered. The yard enters a key once, however often it comes (see dashboards/kept_entries.py).
"use strict";

const Queue = (() => {
  const WAITS = "benchdry-waits-", CLOCK = "benchdry-clock-ms", PAGES = "benchdry-pages";
  const FIELDS = { mass: "Mass", mc_pct: "Meter shows, %", depth_mm: "Depth of the pins, mm", true_at: "When" };
  const PATIENCE_MS = 15000, AGAIN_MS = 30000;
  let token = "", note = "", sending = null, strip = null;

  function make(tag, words, parts = []) {
    const made = document.createElement(tag);
    made.textContent = words;
    made.append(...parts);
    return made;
  }

  function button(words, act) {
    const made = make("button", words);
    made.type = "button";
    made.className = "plain";
    made.addEventListener("click", act);
    return made;
  }

  // --- what waits, each under a name of its own, so that two pages never write over each other ---

  function waiting() {
    const found = [];
    try {
      for (let at = 0; at < localStorage.length; at += 1) {
        const name = localStorage.key(at);
        if (name.startsWith(WAITS)) found.push(JSON.parse(localStorage.getItem(name)));
      }
    } catch { note = "This browser does not let the page see what it has kept."; }
    return found.sort((a, b) => a.made_ms - b.made_ms);
  }

  function keep(entry) { localStorage.setItem(WAITS + entry.key, JSON.stringify(entry)); }
  const held = (entry) => localStorage.getItem(WAITS + entry.key) !== null;
  function drop(entry) { localStorage.removeItem(WAITS + entry.key); }

  // crypto.randomUUID is missing on plain HTTP
  const fresh = () => [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");

  // --- the yard's clock: a phone's own may be wrong ---

  function clock(yardMs) {
    const ahead = Date.now() - yardMs;
    try { localStorage.setItem(CLOCK, String(Math.abs(ahead) > AGAIN_MS ? ahead : 0)); } catch { /* said when it keeps */ }
  }
  function aheadMs() { try { return Number(localStorage.getItem(CLOCK)) || 0; } catch { return 0; } }
  const now = () => Date.now() - aheadMs();

  // --- sending ---

  async function ask(path, how = {}) {
    const stop = new AbortController(), timer = setTimeout(() => stop.abort(), PATIENCE_MS);
    try {
      return await fetch(path, { ...how, redirect: "manual", cache: "no-store", signal: stop.signal });
    } finally { clearTimeout(timer); }
  }

  const signedOut = (answer) => answer.type === "opaqueredirect" || answer.status === 401;

  async function session() {
    const answer = await ask("/weigh/session");
    if (signedOut(answer)) return false;
    const told = await answer.json();
    clock(told.now_ms);
    token = told.token;
    return true;
  }

  // "entered", "refused", "sign in", or "waits"; what was told of it stands in the entry.
  async function send(entry, again = true) {
    try {
      if (!token && !await session()) return "sign in";
      const { key, act, code, by, typed } = entry, headers = { "content-type": "application/json", "x-benchdry-token": token };
      if (entry.say) headers["x-benchdry-say"] = "yes";
      entry.tried = true;
      if (held(entry)) keep(entry);
      const answer = await ask("/weigh/enter", { method: "POST", headers, body: JSON.stringify({ key, act, code, by, typed }) });
      if (signedOut(answer)) { token = ""; return "sign in"; }
      if (answer.status === 403 && again) { token = ""; return send(entry, false); }
      if (answer.status !== 200 && ![403, 413, 422].includes(answer.status)) return "waits";
      const told = await answer.json().catch(() => null);
      if (!told && answer.status === 200) return "waits"; // not our answer
      Object.assign(entry, told || { sentence: "You may not enter this: sign in with the password for entering." });
      if (answer.status === 200) { drop(entry); return "entered"; }
      entry.refused = true;
      if (held(entry)) keep(entry);
      return "refused";
    } catch { return "waits"; }
  }

  async function sendAll() {
    let came = "";
    for (const entry of waiting()) {
      if (entry.refused) continue;
      came = await send(entry);
      if (came === "entered") said(`Sent: ${entry.sentence}`);
      if (came === "sign in" || came === "waits") break;
    }
    note = came === "sign in" ? "sign in" : came === "waits" ? "No signal. They are sent when there is some." : "";
    show();
  }

  // One at a time; two pages may both send, which enters nothing twice.
  function sendNow() {
    if (!sending) sending = sendAll().finally(() => { sending = null; });
    return sending;
  }

  // Keeps an entry, then sends it; kept: called between the two. Throws where the phone keeps nothing: whoever calls
  // has it on the screen still. say: tell it on the next page.
  async function enter(act, code, by, typed, told, { kept = () => {}, say = false } = {}) {
    const entry = { key: fresh(), act, code, by, typed, told, say, made_ms: now() };
    try {
      keep(entry);
      if (!held(entry)) throw new Error();
    } catch {
      const came = await send(entry);
      if (came === "entered" || came === "refused") return { came, entry };
      throw new Error("This phone keeps nothing for the page (its storage is full or forbidden), and there is no signal: write the figure down, or leave this page open.");
    }
    kept(entry);
    show();
    if (sending) await sending;
    const came = held(entry) ? await send(entry) : "entered";
    note = came === "sign in" ? "sign in" : came === "waits" ? "No signal. They are sent when there is some." : note;
    show();
    return { came, entry };
  }

  // --- the strip on every page ---

  function said(sentence) {
    if (!strip) return;
    strip.querySelector(".queue-said").textContent = sentence;
    strip.hidden = false;
  }

  function mend(entry, line) {
    const form = make("form", "");
    form.className = "queue-mend";
    const asked = { code: entry.code, ...entry.typed };
    const inputs = Object.entries({ code: "Board", ...FIELDS }).filter(([name]) => name in asked).map(([name, label]) => {
      const input = make("input", "");
      const stamp = name === "true_at" && typeof asked[name] === "number";
      if (name === "true_at") input.type = "datetime-local";
      input.name = name;
      input.value = stamp ? new Date(asked[name] - new Date(asked[name]).getTimezoneOffset() * 60000).toISOString().slice(0, 16) : asked[name];
      input.dataset.was = input.value;
      form.append(make("label", `${label}${name === "mass" ? `, ${entry.typed.unit}` : ""} `, [input]));
      return input;
    });
    form.append(make("button", "Send it"));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      for (const input of inputs.filter((one) => one.value !== one.dataset.was)) {
        if (input.name === "code") entry.code = input.value.trim();
        else entry.typed[input.name] = input.name === "true_at" && input.value ? new Date(input.value).getTime() : input.value;
      }
      const figure = entry.typed.mass || entry.typed.mc_pct || "";
      entry.told = `${entry.code}: ${figure} ${entry.typed.unit || ""}`.trim();
      anew(entry);
    });
    line.append(form);
    inputs[0].focus();
  }

  function anew(entry) {
    entry.refused = false;
    keep(entry);
    sendNow();
  }

  function lineOf(entry) {
    const when = new Date(entry.made_ms).toLocaleString([], { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
    const line = make("li", "", [make("b", entry.told), make("span", ` ${when}, ${entry.by} `)]);
    if (entry.refused) line.append(make("p", `Not entered: ${entry.sentence}`));
    if (entry.refused && entry.sure) line.append(button("It is right, enter it", () => { entry.typed.sure = "yes"; anew(entry); }));
    line.append(button("Change", (event) => { event.target.disabled = true; mend(entry, line); }));
    line.append(button("Throw away", (event) => {
      if (event.target.dataset.asked) { drop(entry); show(); }
      event.target.dataset.asked = "yes";
      event.target.textContent = entry.tried && !entry.refused ? "Yes, throw it away, if it has not arrived" : "Yes, throw it away";
    }));
    return line;
  }

  function show() {
    if (!strip) return;
    const items = waiting(), refused = items.filter((one) => one.refused).length, ahead = Math.round(aheadMs() / 60000);
    const told = items.length === 1 ? "1 entry waits in this phone" : `${items.length} entries wait in this phone`;
    strip.hidden = !items.length && !note.startsWith("This") && !strip.querySelector(".queue-said").textContent;
    strip.querySelector("summary").textContent = refused ? `${told}, ${refused} to be looked at` : told;
    strip.querySelector("details").hidden = !items.length;
    if (refused) strip.querySelector("details").open = true;
    if (!strip.querySelector(".queue-mend")) strip.querySelector("ol").replaceChildren(...items.map(lineOf));
    const below = strip.querySelector(".queue-note");
    below.textContent = items.length && note !== "sign in" ? note : "";
    if (Math.abs(ahead) >= 2) below.append(` This phone's clock is ${Math.abs(ahead)} min ${ahead > 0 ? "ahead of" : "behind"} the yard's: the yard's time is entered.`);
    const link = make("a", "Sign in, and they are sent.");
    link.href = "/sign-in";
    if (items.length && note === "sign in") below.append(link);
    strip.querySelector(".queue-send").hidden = items.length === refused;
  }

  function start() {
    const send = button("Send now", sendNow), quiet = make("p", "");
    send.classList.add("queue-send");
    quiet.className = "queue-note";
    const heard = make("p", "");
    heard.className = "queue-said";
    heard.setAttribute("role", "status");
    strip = make("aside", "", [make("details", "", [make("summary", ""), make("ol", "")]), send, quiet, heard]);
    strip.className = "queue";
    strip.setAttribute("aria-label", "Entries that wait in this phone");
    document.querySelector("main").before(strip);
    const read = document.querySelector("[data-read-ms]");
    if (read && !document.documentElement.dataset.kept) clock(Number(read.dataset.readMs));
    show();
    if (waiting().some((one) => !one.refused)) sendNow();
  }

  document.addEventListener("DOMContentLoaded", start);
  window.addEventListener("storage", show);
  window.addEventListener("online", sendNow);
  window.addEventListener("pageshow", (event) => { if (event.persisted) sendNow(); });
  setInterval(() => { if (waiting().some((one) => !one.refused)) sendNow(); }, AGAIN_MS);

  // Pin readings and what was found on a board, on the board's own page.
  document.addEventListener("submit", async (event) => {
    const form = event.target, what = /^\/board\/([^/]+)\/(pin|outcome)$/.exec(form.getAttribute("action") || "");
    if (!what || form.dataset.plain) return;
    event.preventDefault();
    const { csrf, by, ...typed } = Object.fromEntries(new FormData(form)), code = decodeURIComponent(what[1]);
    if (!typed.true_at) typed.true_at = Math.round(now());
    form.querySelector("button").disabled = true;
    try {
      const { came, entry } = await enter(what[2], code, by, typed, `${code}: ${typed.mc_pct || typed.found || ""}`, { say: true });
      if (came === "entered") { location.reload(); return; }
      if (came === "refused") { drop(entry); form.dataset.plain = "yes"; form.requestSubmit(); return; } // to be told at its field
      form.reset();
      said(`Kept in this phone: ${entry.told}.`);
    } catch (error) { said(error.message); }
    form.querySelector("button").disabled = false;
  });

  // Opening the page Weigh without signal, where the browser allows it: over HTTPS, or on the machine itself.
  if (window.isSecureContext && navigator.serviceWorker) navigator.serviceWorker.register("/sw.js").catch(() => {});
  document.addEventListener("submit", (event) => {
    if (event.target.getAttribute("action") === "/sign-out" && window.caches) caches.delete(PAGES);
  });

  return { enter, drop, now, said, sendNow, show, waiting };
})();
