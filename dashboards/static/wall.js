// The wall view: goes round by itself, takes what is new at once, and never shows an old word as if it were fresh.
// Without this script the page goes round by its own refresh.
"use strict";

(() => {
  const SILENT_MS = 3 * 60 * 1000; // so long without an answer, and the word is covered
  const PATIENCE_MS = 10 * 1000; // for one answer
  const LOOK_EVERY_MS = 500;
  let answeredAt = Date.now();
  let shownAt = Date.now();
  let asked = 0;

  const face = () => document.getElementById("page");

  function cover() {
    const silent = Date.now() - answeredAt > SILENT_MS;
    const over = document.getElementById("cover");
    if (silent && over.hidden) {
      const since = new Date(answeredAt);
      const two = (number) => String(number).padStart(2, "0");
      document.getElementById("cover-since").textContent = `${two(since.getHours())}:${two(since.getMinutes())}`;
    }
    over.hidden = !silent;
    face().hidden = silent;
  }

  function put(fresh, title) {
    const held = document.activeElement && document.activeElement.className;
    face().replaceWith(document.adoptNode(fresh));
    document.title = title;
    if (held) face().querySelector(`a.${CSS.escape(held)}`)?.focus();
  }

  async function show(path) {
    const mine = ++asked;
    shownAt = Date.now();
    let text;
    try {
      const answer = await fetch(path, { cache: "no-store", signal: AbortSignal.timeout(PATIENCE_MS) });
      if (!answer.ok) throw new Error(answer.statusText);
      text = await answer.text();
    } catch {
      document.getElementById("offline").hidden = false;
      return;
    }
    if (mine !== asked) return;
    const read = new DOMParser().parseFromString(text, "text/html");
    const fresh = read.querySelector("main#page[data-next]");
    if (!fresh) { location.reload(); return; } // signed out meanwhile, or the thing is gone
    answeredAt = Date.now();
    put(fresh, read.title);
    history.replaceState(null, "", path);
    document.getElementById("offline").textContent = read.getElementById("offline").textContent;
    document.getElementById("offline").hidden = true;
    cover();
  }

  // What was hung up dark is looked at anew as soon as somebody wakes it, before anything on it is believed.
  function woken() {
    if (document.hidden) return;
    cover();
    stayAwake();
    show(face().dataset.path);
  }

  // Only over HTTPS or on this machine may a page ask for that; elsewhere the tablet's own setting decides.
  function stayAwake() {
    navigator.wakeLock?.request("screen").catch(() => {});
  }

  document.body.addEventListener("news", () => show(face().dataset.path));
  document.addEventListener("visibilitychange", woken);
  window.addEventListener("pageshow", (event) => { if (event.persisted) woken(); });
  window.addEventListener("online", woken);
  document.addEventListener("click", (event) => {
    stayAwake();
    const onward = event.target.closest("a.onward");
    if (!onward) return;
    event.preventDefault();
    show(onward.getAttribute("href"));
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "ArrowRight") document.querySelector("a.onward")?.click();
  });
  setInterval(() => {
    cover();
    if (!document.hidden && Date.now() - shownAt >= 1000 * Number(face().dataset.eachS)) show(face().dataset.next);
  }, LOOK_EVERY_MS);
  stayAwake();
})();
