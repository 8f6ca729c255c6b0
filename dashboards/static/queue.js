// Entries made where there is no signal: kept in this phone, each under a random key made at that moment, and sent
// until the yard has answered. The yard enters a key once, however often it comes (dashboards/kept_entries.py).
"use strict";

const Queue = (() => {
  const WAITS = "benchdry-waits-", CLOCK = "benchdry-clock-ms";
  const LABELS = { code: "Board", mass: "Mass", mc_pct: "Meter shows", true_at: "Other time" };
  const NO_SIGNAL = "No signal. They are sent when there is some.", SIGN_IN = "Sign in, and they are sent.";
  const gone = new Map(); // what this page has sent, with what was answered
  let token = "", note = "", sending = null, strip = null;

  const news = (detail) => document.dispatchEvent(new CustomEvent("benchdry-queue", { detail }));

  function make(tag, words, ...parts) {
    const made = document.createElement(tag);
    made.textContent = words;
    made.append(...parts);
    return made;
  }
  function button(words, act) {
    const made = Object.assign(make("button", words), { type: "button", className: "plain" });
    made.addEventListener("click", () => act(made));
    return made;
  }
  function remember(name, value) { try { localStorage.setItem(name, value); } catch { /* enter() tells */ } }
  function remembered(name) { try { return localStorage.getItem(name) || ""; } catch { return ""; } }

  // What waits: each under a name of its own, so that two pages never write over each other.
  const keep = (entry) => localStorage.setItem(WAITS + entry.key, JSON.stringify(entry));
  const held = (entry) => remembered(WAITS + entry.key) !== "";
  const drop = (entry) => { localStorage.removeItem(WAITS + entry.key); show(); };
  function waiting() {
    let names = [];
    try { names = Object.keys(localStorage).filter((name) => name.startsWith(WAITS)); } catch { /* none */ }
    return names.map((name) => JSON.parse(remembered(name) || "null")).filter(Boolean).sort((a, b) => a.made_ms - b.made_ms);
  }
  const unsent = () => waiting().filter((entry) => !entry.refused);

  // The yard's clock: a phone's own may be wrong.
  const aheadMs = () => Number(remembered(CLOCK));
  const now = () => Math.round(Date.now() - aheadMs());
  function clock(yardMs) {
    const ahead = Date.now() - yardMs;
    remember(CLOCK, Math.abs(ahead) > 30000 ? ahead : 0);
  }

  const ask = (path, how) => fetch(path, { redirect: "manual", cache: "no-store", signal: AbortSignal.timeout(15000), ...how });
  const signedOut = (answer) => answer.type === "opaqueredirect" || answer.status === 401;

  async function session() {
    const answer = await ask("/weigh/session");
    if (signedOut(answer)) return false;
    const told = await answer.json();
    clock(told.now_ms);
    token = told.token;
    return true;
  }

  // Returns "" when it was entered, "refused", or why it still waits; what was told stands in the entry.
  async function send(entry, again = true) {
    const { key, act, code, by, typed } = entry;
    try {
      if (!token && !await session()) return SIGN_IN;
      const headers = { "content-type": "application/json", "x-benchdry-token": token };
      if (entry.say) headers["x-benchdry-say"] = "yes";
      entry.tried = true;
      if (held(entry)) keep(entry);
      const answer = await ask("/weigh/enter", { method: "POST", headers, body: JSON.stringify({ key, act, code, by, typed }) });
      if (signedOut(answer) || answer.status === 403) token = "";
      if (signedOut(answer)) return SIGN_IN;
      if (answer.status === 403 && again) return send(entry, false);
      if (![200, 403, 413, 422].includes(answer.status)) return NO_SIGNAL;
      const told = await answer.json().catch(() => null);
      if (!told && answer.status === 200) return NO_SIGNAL; // not from the yard
      Object.assign(entry, told || { sentence: "Your sign-in does not let you enter." });
      entry.refused = answer.status !== 200;
      if (!entry.refused) gone.set(key, entry);
      if (!entry.refused) drop(entry); else if (held(entry)) keep(entry);
      return entry.refused ? "refused" : "";
    } catch { return NO_SIGNAL; }
  }

  async function sendAll() {
    const sent = [];
    for (const entry of unsent()) {
      const came = await send(entry);
      note = came === "refused" ? "" : came;
      if (!came) sent.push(entry);
      if (note) break;
    }
    if (sent[0]) heard(sent);
    show();
  }

  function heard(sent) {
    const all = sent.map((entry) => entry.told.replace(": ", " ")).join(", ");
    const words = sent[1] ? `${sent.length} sent: ${all}.` : `Sent: ${sent[0].sentence}`;
    say(words);
    news({ sent, words });
  }

  // One at a time in a page; should two pages send, nothing is entered twice.
  function sendNow() {
    if (!sending) sending = sendAll().finally(() => { sending = null; });
    return sending;
  }

  // Keeps an entry, calls `kept`, and sends it; `say`: the next page is to tell it. Throws where it is neither kept nor
  // sent: whoever calls has it on the screen still.
  async function enter(act, code, by, typed, told, kept = () => {}, say = false) {
    // crypto.randomUUID is missing on plain HTTP
    const key = [...crypto.getRandomValues(new Uint8Array(16))].map((one) => one.toString(16).padStart(2, "0")).join("");
    const entry = { key, act, code, by, typed, told, say, made_ms: now() };
    try { keep(entry); } catch { /* seen below */ }
    const safe = held(entry);
    if (safe) kept(entry);
    show();
    if (sending) await sending;
    const came = gone.has(key) ? "" : await send(entry);
    if (gone.has(key)) Object.assign(entry, gone.get(key));
    if (!safe && came && came !== "refused") {
      throw new Error("Neither entered nor kept: no signal, and this phone's storage is full or forbidden. Write it down.");
    }
    if (came !== "refused") note = came;
    show();
    return { came, entry };
  }

  function say(sentence) {
    strip.lastChild.textContent = sentence;
    show();
  }

  function anew(entry) {
    entry.refused = false;
    keep(entry);
    sendNow();
  }

  function mend(entry, line) {
    const form = make("form", ""), asked = { ...entry.typed, code: entry.code, true_at: "" };
    form.className = "queue-mend";
    for (const name of Object.keys(LABELS).filter((one) => one in asked)) {
      const input = Object.assign(make("input", ""), { name, type: name === "true_at" ? "datetime-local" : "text", value: asked[name] });
      form.append(make("label", LABELS[name], input));
    }
    form.append(make("button", "Send it"));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const { code, true_at: when, ...typed } = Object.fromEntries(new FormData(form));
      Object.assign(entry.typed, typed, when ? { true_at: new Date(when).getTime() } : {});
      entry.code = code;
      entry.told = `${code}: ${typed.mass || typed.mc_pct || ""} ${entry.typed.unit || ""}`;
      form.remove();
      anew(entry);
    });
    line.append(form);
    form.querySelector("input").focus();
  }

  function lineOf(entry) {
    const when = new Date(entry.made_ms).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
    const line = make("li", "", make("b", entry.told), make("span", `${when}, ${entry.by}`));
    if (entry.refused) line.append(make("p", `Not entered: ${entry.sentence}`));
    if (entry.refused && entry.sure) line.append(button("It is right, enter it", () => { entry.typed.sure = "yes"; anew(entry); }));
    line.append(button("Change", (pressed) => { pressed.remove(); mend(entry, line); }));
    line.append(button("Throw away", (pressed) => {
      const doubt = entry.tried && !entry.refused ? ", if it has not arrived" : "";
      pressed.replaceWith(button(`Yes, throw it away${doubt}`, () => { drop(entry); news({ thrown: entry }); }));
    }));
    return line;
  }

  function show() {
    if (!strip) return;
    news({});
    const [details, send, below, heard] = strip.children, items = waiting(), refused = items.length - unsent().length;
    const minutes = Math.round(aheadMs() / 60000), off = `${Math.abs(minutes)} min ${minutes > 0 ? "ahead" : "behind"}`;
    strip.hidden = !items.length && !heard.textContent;
    details.hidden = !items.length;
    details.open = details.open || refused > 0;
    details.firstChild.textContent = `${items[1] ? items.length + " wait" : "1 waits"} in this phone${refused ? `, ${refused} to be looked at` : ""}`;
    if (!strip.querySelector(".queue-mend")) details.lastChild.replaceChildren(...items.map(lineOf));
    send.hidden = items.length === refused;
    below.textContent = items.length ? note : "";
    if (items.length && note === SIGN_IN) below.replaceChildren(Object.assign(make("a", note), { href: "/sign-in" }));
    if (items.length && minutes) below.append(` This phone's clock is ${off}: the yard's time is entered.`);
  }

  document.addEventListener("DOMContentLoaded", () => {
    strip = make("aside", "", make("details", "", make("summary", ""), make("ol", "")), button("Send now", sendNow), make("p", ""), make("p", ""));
    strip.className = "queue";
    strip.ariaLabel = "What waits in this phone";
    strip.lastChild.role = "status";
    document.querySelector("main").before(strip);
    const read = document.querySelector("[data-read-ms]");
    if (read && !document.documentElement.dataset.kept) clock(Number(read.dataset.readMs));
    show();
    sendNow();
  });
  window.addEventListener("storage", show);
  window.addEventListener("online", sendNow);
  window.addEventListener("pageshow", (event) => { if (event.persisted) sendNow(); });
  setInterval(sendNow, 30000);

  // Pin readings and what was found on a board, on the board's own page.
  document.addEventListener("submit", async (event) => {
    const form = event.target, what = /^\/board\/([^/]+)\/(pin|outcome)$/.exec(form.getAttribute("action"));
    if (!what || form.dataset.plain) return;
    event.preventDefault();
    const { csrf, by, ...typed } = Object.fromEntries(new FormData(form)), code = decodeURIComponent(what[1]);
    if (!typed.true_at) typed.true_at = now();
    await sent(form, () => enter(what[2], code, by, typed, `${code}: ${typed.mc_pct || typed.found || ""}`, () => {}, true), say);
  });

  // From its top, where the word may have changed.
  function fromTop() {
    history.scrollRestoration = "manual";
    history.replaceState(null, "", location.pathname);
    location.reload();
  }

  // Sends a form of a board's page: told on the page read anew, at the field that is wrong, or that it is kept.
  async function sent(form, entering, tell) {
    const go = form.querySelector("button.go:not([type])");
    go.disabled = true;
    try {
      const { came, entry } = await entering();
      if (!came) return fromTop();
      if (came === "refused") { drop(entry); form.dataset.plain = "yes"; form.requestSubmit(); return; }
      form.reset();
      tell(`Kept in this phone: ${entry.told}.`);
    } catch (error) { tell(error.message); }
    go.disabled = false;
  }

  // Browsers allow this over HTTPS, or on the machine itself.
  if (window.isSecureContext && navigator.serviceWorker) navigator.serviceWorker.register("/sw.js").catch(() => {});

  return { enter, sent, now, remember, remembered, make, button, waiting };
})();
