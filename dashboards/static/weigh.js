// The keypad of a weigh-in, and the round through many boards. Without script the same form is a plain form.
"use strict";

(() => {
  const section = document.querySelector("section.weigh"), form = section && section.querySelector(".weigh-form");
  if (!form) return;
  const data = section.dataset, round = "round" in data, rows = [...document.querySelectorAll(".round > li")];
  const { mass, unit, by, sure, true_at: when } = form.elements, one = (selector) => form.querySelector(selector);
  const since = one(".since"), ask = one(".ask"), lacks = one(".lacks"), done = one(".done"), go = one("button.go:not([type])"), title = section.querySelector("h2");
  const UNIT = "benchdry-unit-", BY = "benchdry-by", ROUND = "benchdry-round-" + new Date().toDateString();

  const over = () => section.classList.contains("over");
  const number = (text) => Number(text || NaN);
  const massKg = () => number(mass.value.trim().replace(",", ".")) / (unit.value === "kg" ? 1 : 1000);
  const shown = (kg) => (unit.value === "kg" && kg >= 1 ? `${kg.toFixed(2)} kg` : `${(kg * 1000).toFixed(data.lastKg < 1 ? 1 : 0)} g`);
  const unlike = (kg) => kg < number(data.askLowKg) || kg > number(data.askHighKg);
  const doubtful = (kg) => unlike(kg) || kg < number(data.doubtLowKg) || kg > number(data.doubtHighKg);

  // In %MC only where it is more than the scale leaves open; the band is the scale's and the oven-dry mass's.
  function change(kg) {
    const off = Math.abs(kg - number(data.lastKg)), open = number(data.changeErrorKg);
    if (!(kg > 0) || !(off >= 0)) return "";
    const ends = [(off - open) / data.dryHighKg, off / data.dryKg, (off + open) / data.dryLowKg];
    const [low, middle, high] = ends.map((share) => (share * 100).toFixed(1));
    const water = data.dryKg && off >= open && !unlike(kg) ? `, ${middle} %MC (${low}–${high})` : "";
    return `${shown(off)} ${kg < number(data.lastKg) ? "less" : "more"} than on ${data.last.split(" on ")[1]}${water}.`;
  }

  function compared(kg) {
    const how = kg < number(data.lowKg) ? "Lighter than" : kg > number(data.highKg) ? "Heavier than" : "As";
    return [change(kg), kg > 0 && data.expected && `${how} expected (${data.expected}).`].filter(Boolean).join(" ");
  }

  function look() {
    since.textContent = compared(massKg());
    since.parentNode.classList.toggle("typed", Boolean(since.textContent));
    ask.hidden = true;
    for (const key of form.querySelectorAll("[data-unit]")) key.setAttribute("aria-pressed", key.dataset.unit === unit.value);
  }

  // A figure that was not taken: the next key begins anew, and ⌫ mends it.
  const stands = (on) => mass.classList.toggle("stands", on);

  function refuse(sentence, at) {
    lacks.textContent = sentence;
    stands(Boolean(mass.value));
    at.ariaInvalid = "true";
    at.setAttribute("aria-describedby", lacks.id);
    at.focus();
  }

  function typed(event) {
    const field = event.target;
    lacks.textContent = "";
    field.ariaInvalid = null;
    if (field !== mass) return;
    stands(false);
    look();
  }

  // What was likely meant, where it would fit this board.
  function slip(kg) {
    const is = unit.value, other = is === "kg" ? "g" : "kg";
    const swapped = is === "g" ? kg * 1000 : kg / 1000;
    const tries = [[swapped, other, ""], [kg / 10, is, "Ten times too much? "], [kg * 10, is, "Ten times too little? "]];
    return unlike(kg) ? tries.find(([meant]) => !unlike(meant)) : undefined;
  }

  // The black button is the careful one: a scale that types Enter presses that.
  function question(kg) {
    const [told, put, again] = ask.children, [meant, to, asked] = slip(kg) || [];
    const figure = Number((meant * (to === "kg" ? 1 : 1000)).toPrecision(6)), off = (to ? change(kg) : compared(kg)) || "No wood of this size weighs that.";
    told.textContent = `${off} ${to ? `${asked}Did you mean ${figure} ${to}?` : "Is this the right board? Weigh it again."}`;
    put.textContent = `Yes, ${figure} ${to}`;
    Object.assign(put.dataset, { figure, to });
    put.hidden = !to;
    again.className = to ? "plain" : "go";
    since.textContent = "";
    (to ? put : again).focus();
  }

  function press(key) {
    if (mass.classList.contains("stands") && key !== "back") mass.value = "";
    if (key === "back") mass.value = mass.value.slice(0, -1);
    else if (key !== "." || !/[.,]/.test(mass.value)) mass.value += key;
    typed({ target: mass });
  }

  function setUnit(to) {
    unit.value = to;
    look();
  }

  function takeBack({ code, kind, id }) {
    return Queue.button("Take it back", async (back) => {
      back.disabled = true;
      try {
        const { came, entry } = await Queue.enter("undo", "", by.value, { kind, id: String(id) }, `${code}: take it back`);
        tell(entry.sentence || "It is taken back when there is signal.");
        if (came === "refused") return;
        mark(code);
        if (over()) next();
      } catch (error) { tell(error.message); }
    });
  }

  function tell(sentence, entry) {
    done.textContent = sentence;
    if (entry && entry.id) done.append(takeBack(entry));
  }

  function enter(kept) {
    const { csrf, by: who, ...all } = Object.fromEntries(new FormData(form));
    if (!all.true_at) all.true_at = Queue.now();
    return Queue.enter("weigh-in", data.code, who, all, `${data.name}: ${mass.value} ${unit.value}`, kept, !round);
  }

  async function enterAndNext() {
    const code = data.code, got = { told: `${mass.value} ${unit.value}`, off: compared(massKg()) || "Its first weight." };
    const on = (entry) => { tell(`Kept in this phone: ${entry.told}.`); mark(code, { ...got, key: entry.key }); next(); };
    let moved = false;
    try {
      const { came, entry } = await enter((kept) => { moved = true; on(kept); });
      if (!moved && !came) on(entry);
      if (came === "refused") tell(`${entry.told}: not entered. ${entry.sentence}`);
      if (!came) { mark(code, { kind: entry.kind, id: entry.id }); tell(entry.sentence, entry); }
    } catch (error) { tell(error.message); stands(true); }
  }

  function start() {
    Queue.remember(UNIT + data.unit, unit.value);
    Queue.remember(BY, by.value);
    known();
    if (round) enterAndNext(); else Queue.sent(form, () => enter(), (told) => { look(); tell(told); });
  }

  // Once the name is known it stands out of the way.
  function known() {
    const field = by.closest(".field");
    if (by.value && field.nextElementSibling !== one(".other")) one(".other").before(field);
  }

  form.addEventListener("submit", (event) => {
    if (form.dataset.plain) return;
    event.preventDefault();
    const kg = massKg();
    if (go.disabled) return;
    if (!(kg > 0)) { refuse("The mass is a number above 0.", mass); return; }
    if (!by.value.trim()) { refuse("Your name is missing.", by); return; }
    const longAgo = when.value && Queue.now() - new Date(when.value) > 86400000; // what was expected holds for now
    ask.hidden = !doubtful(kg) || sure.checked || longAgo;
    if (ask.hidden) start(); else question(kg);
  });
  form.addEventListener("click", (event) => {
    const { key, unit: to, do: what, figure, to: meant } = (event.target.closest("button") || form).dataset;
    if (key) press(key);
    if (to) setUnit(to);
    if (what === "right") { sure.checked = true; ask.hidden = true; start(); }
    if (what === "put") { mass.value = figure; setUnit(meant); stands(false); go.focus(); }
    if (what === "change") { look(); mass.focus(); mass.select(); stands(true); }
    if (what === "skip") next();
  });
  form.addEventListener("input", typed);

  // A keyboard, or a scale that types like one, fills the field wherever the page stands.
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.target.closest("input, select, textarea")) return;
    if (over()) return;
    if (/^[0-9.,]$/.test(event.key)) {
      event.preventDefault();
      section.closest("details")?.setAttribute("open", "");
      mass.focus();
      press(event.key.replace(",", "."));
    }
    if (event.key === "Enter" && mass.value && event.target === document.body) form.requestSubmit();
  });

  // What this round has entered, by board; a reload keeps it, so that it can be taken back.
  let marks = {};
  try { marks = JSON.parse(sessionStorage.getItem(ROUND) || "{}"); } catch { /* a round without memory */ }

  function mark(code, told) {
    if (told) marks[code] = { ...marks[code], ...told, code }; else delete marks[code];
    try { sessionStorage.setItem(ROUND, JSON.stringify(marks)); } catch { /* it lasts as long as the page */ }
    tally();
  }

  function tally() {
    const refused = new Map(Queue.waiting().map((entry) => [entry.key, Boolean(entry.refused)]));
    const did = rows.filter((row) => {
      const told = marks[row.dataset.code], waits = told && refused.get(told.key);
      row.classList.toggle("entered", Boolean(told));
      row.querySelector(".got").textContent = !told ? row.dataset.last || "never weighed"
        : waits ? `${told.told} not entered: see above` : `✓ ${told.told}${waits === false ? ", waits in this phone" : ""}`;
      row.querySelector(".after")?.remove();
      if (told) row.append(Object.assign(Queue.make("div", "", Queue.make("span", told.off), told.id ? takeBack(told) : ""), { className: "after" }));
      return told && !waits;
    });
    const count = `${did.length} of ${rows.length} done`;
    document.querySelector(".tally").textContent = count;
    if (over()) title.textContent = count;
  }

  document.addEventListener("benchdry-queue", ({ detail: { sent = [], words, thrown } }) => {
    if (!round) return;
    for (const entry of [...sent, thrown].filter(Boolean)) {
      const held = Object.values(marks).find((one) => one.key === entry.key), told = entry.told.split(": ").pop();
      if (held) mark(held.code, entry !== thrown && { kind: entry.kind, id: entry.id, told, off: held.told === told ? held.off : "" });
    }
    if (words) tell(words, sent[1] ? undefined : sent[0]);
    tally();
  });

  function choose(row) {
    section.classList.remove("over");
    for (const other of rows) other.toggleAttribute("aria-current", other === row);
    Object.assign(data, row.dataset);
    const { name, where, species, code, last, age, heavy, expected } = data, place = [where, species, code].filter(Boolean).join(" · ");
    const texts = { title: name, place, has: last && "Last", last: last || "Never weighed", age, heavy, expected };
    for (const [at, text] of Object.entries(texts)) section.querySelector(`[data-show=${at}]`).textContent = text;
    section.querySelector(".weigh-expected").hidden = !expected;
    form.action = `/board/${encodeURIComponent(code)}/weigh-in`;
    mass.value = lacks.textContent = "";
    sure.checked = false;
    stands(false);
    setUnit(Queue.remembered(UNIT + data.unit) || data.unit);
  }

  function finish() {
    section.classList.add("over");
    for (const row of rows) row.removeAttribute("aria-current");
    tally();
    title.focus({ preventScroll: true });
  }

  function next() {
    const here = rows.findIndex((row) => row.dataset.code === data.code);
    const left = [...rows.slice(here + 1), ...rows.slice(0, here + 1)].filter((row) => !marks[row.dataset.code]);
    if (left[0]) choose(left[0]); else finish();
    section.scrollIntoView();
  }

  function begin() {
    for (const row of rows) row.querySelector("a").onclick = (event) => { event.preventDefault(); choose(row); section.scrollIntoView(); };
    go.textContent = "Enter and next";
    const first = rows.find((row) => !marks[row.dataset.code]);
    choose(first || rows[0]);
    tally();
    if (!first) finish();
  }

  form.classList.add("padded");
  form.noValidate = true;
  mass.inputMode = "none";
  by.value = by.value || Queue.remembered(BY);
  known();
  stands(Boolean(mass.value));
  if (round) begin(); else setUnit(mass.value ? unit.value : Queue.remembered(UNIT + data.unit) || data.unit);
})();
