// The keypad of a weigh-in, and the round through many boards. Without script the same form is a plain form.
"use strict";

(() => {
  const section = document.querySelector("section.weigh"), form = section && section.querySelector(".weigh-form");
  if (!form) return;
  const data = section.dataset, round = "round" in data, rows = [...document.querySelectorAll(".round > li")];
  const { mass, unit, by, sure, true_at: when } = form.elements, one = (selector) => form.querySelector(selector);
  const since = one(".since"), ask = one(".ask"), done = one(".done"), go = one("button.go:not([type])");
  const UNIT = "benchdry-unit", BY = "benchdry-by", ROUND = "round" + new Date().toDateString();

  const number = (text) => Number(text || NaN);
  const massKg = () => number(mass.value.trim().replace(",", ".")) / (unit.value === "kg" ? 1 : 1000);
  const shown = (kg) => (unit.value === "kg" ? `${kg.toFixed(kg < 10 ? 3 : 2)} kg` : `${(kg * 1000).toFixed(kg < 1 ? 1 : 0)} g`);
  const unlike = (kg) => kg < number(data.askLowKg) || kg > number(data.askHighKg);

  function change(kg) {
    const off = Math.abs(kg - number(data.lastKg));
    if (!(kg > 0) || !(off >= 0)) return "";
    const [low, middle, high] = [data.dryHighKg, data.dryKg, data.dryLowKg].map((dry) => (off / number(dry) * 100).toFixed(1));
    const water = data.dryKg && !unlike(kg) ? `, ${middle} %MC (${low}–${high})` : "";
    const beside = kg < number(data.lowKg) ? "Lighter" : kg > number(data.highKg) ? "Heavier" : "";
    const told = `That is ${shown(off)} ${kg < number(data.lastKg) ? "less" : "more"} than on ${data.last.split(" on ")[1]}${water}.`;
    return beside ? `${told} ${beside} than expected.` : told;
  }

  function look() {
    since.textContent = change(massKg());
    ask.hidden = true;
    for (const key of form.querySelectorAll("[data-unit]")) key.setAttribute("aria-pressed", key.dataset.unit === unit.value);
  }

  function question(kg) {
    const other = unit.value === "kg" ? "g" : "kg", asked = unlike(other === "g" ? kg / 1000 : kg * 1000);
    return `${change(kg) || "No wood of this size weighs that."} ${asked ? "Is this the right board? Weigh it again." : `Was it ${other}?`}`;
  }

  function press(key) {
    if (key === "back") mass.value = mass.value.slice(0, -1);
    else if (key !== "." || !/[.,]/.test(mass.value)) mass.value += key;
    look();
  }

  function setUnit(to) {
    unit.value = to;
    look();
  }

  function tell(sentence, entry) {
    done.textContent = sentence;
    if (!entry || !entry.id) return;
    done.append(Queue.button("Take it back", async (back) => {
      back.disabled = true;
      try {
        const undo = await Queue.enter("undo", "", by.value, { kind: entry.kind, id: String(entry.id) }, `${entry.code}: take it back`);
        tell(undo.came ? "It is taken back when there is signal." : undo.entry.sentence);
        mark(entry.code);
      } catch (error) { tell(error.message); }
    }));
  }

  function enter(kept) {
    const { csrf, by: who, ...typed } = Object.fromEntries(new FormData(form));
    if (!typed.true_at) typed.true_at = Queue.now();
    return Queue.enter("weigh-in", data.code, who, typed, `${data.name}: ${mass.value} ${unit.value}`, kept, !round);
  }

  async function enterAndNext() {
    const code = data.code, figure = shown(massKg());
    const on = (entry) => { tell(`Kept in this phone: ${entry.told}.`); mark(code, figure); next(); };
    let moved = false;
    try {
      const { came, entry } = await enter((kept) => { moved = true; on(kept); });
      if (!moved && !came) on(entry);
      if (came === "refused") { mark(code, "see above"); tell(`${entry.told}: not entered. ${entry.sentence}`); }
      if (!came) tell(entry.sentence || "Entered.", entry);
    } catch (error) { tell(error.message); }
  }

  function start() {
    Queue.remember(UNIT, unit.value);
    Queue.remember(BY, by.value);
    if (round) enterAndNext(); else Queue.sent(form, () => enter(), (told) => { look(); tell(told); });
  }

  form.addEventListener("submit", (event) => {
    if (form.dataset.plain) return;
    event.preventDefault();
    const kg = massKg();
    if (go.disabled) return;
    if (!(kg > 0)) { tell("The mass is a number above 0."); return; }
    ask.hidden = !unlike(kg) || sure.checked || Boolean(when.value);
    if (ask.hidden) { start(); return; }
    ask.firstElementChild.textContent = question(kg);
    one("[data-do=change]").focus();
  });
  form.addEventListener("click", (event) => {
    const { key, unit: to, do: what } = (event.target.closest("button") || form).dataset;
    if (key) press(key);
    if (to) setUnit(to);
    if (what === "right") { sure.checked = true; ask.hidden = true; start(); }
    if (what === "change") { ask.hidden = true; mass.focus(); mass.select(); }
    if (what === "skip") next();
  });
  mass.addEventListener("input", look);

  // A keyboard, or a scale that types like one, fills the field wherever the page stands.
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.target.closest("input, select, textarea")) return;
    if (/^[0-9.,]$/.test(event.key)) {
      event.preventDefault();
      section.closest("details")?.setAttribute("open", "");
      mass.focus();
      press(event.key.replace(",", "."));
    }
    if (event.key === "Enter" && mass.value && event.target === document.body) form.requestSubmit();
  });

  const entered = () => JSON.parse(sessionStorage.getItem(ROUND) || "{}");

  function mark(code, told = "") {
    if (!round) return;
    try { sessionStorage.setItem(ROUND, JSON.stringify({ ...entered(), [code]: told })); } catch { /* it forgets */ }
    tally();
  }

  function tally() {
    const all = entered(), count = rows.filter((row) => all[row.dataset.code]).length;
    for (const row of rows) {
      const told = all[row.dataset.code];
      row.classList.toggle("entered", Boolean(told));
      row.querySelector(".got").textContent = told ? `✓ ${told}` : row.dataset.last || "never weighed";
    }
    document.querySelector(".tally").textContent = `${count} of ${rows.length} done`;
  }

  function choose(row) {
    for (const other of rows) other.toggleAttribute("aria-current", other === row);
    Object.assign(data, row.dataset);
    const { name: title, where, species, code, last, age } = data, place = [where, species, code].filter(Boolean).join(" · ");
    const texts = { title, place, has: last && "Last", last: last || "Never weighed", age, expected: data.expected };
    for (const [name, text] of Object.entries(texts)) section.querySelector(`[data-show=${name}]`).textContent = text;
    section.querySelector(".weigh-expected").hidden = !data.expected;
    form.action = `/board/${encodeURIComponent(code)}/weigh-in`;
    mass.value = "";
    sure.checked = false;
    setUnit(Queue.remembered(UNIT) || data.unit);
  }

  function next() {
    const all = entered(), here = rows.findIndex((row) => row.dataset.code === data.code);
    const left = [...rows.slice(here + 1), ...rows.slice(0, here + 1)].filter((row) => !all[row.dataset.code]);
    choose(left[0] || rows[here]);
    section.scrollIntoView();
  }

  function begin() {
    for (const row of rows) row.onclick = (event) => { event.preventDefault(); choose(row); section.scrollIntoView(); };
    go.textContent = "Enter and next";
    tally();
    choose(rows.find((row) => !entered()[row.dataset.code]) || rows[0]);
  }

  form.classList.add("padded");
  mass.inputMode = "none";
  by.value = by.value || Queue.remembered(BY);
  if (round) begin(); else setUnit(mass.value ? unit.value : Queue.remembered(UNIT) || data.unit);
})();
