// The keypad of a weigh-in, and the round through many boards. Without script the same form is a plain form.
"use strict";

(() => {
  const section = document.querySelector("section.weigh");
  const form = section && section.querySelector("form.weigh-form");
  if (!form) return;
  const round = "round" in section.dataset, data = section.dataset, rows = [...document.querySelectorAll(".round > li")];
  const mass = form.elements.mass, unit = form.elements.unit, by = form.elements.by, sure = form.elements.sure;
  const since = form.querySelector(".since"), ask = form.querySelector(".ask"), done = form.querySelector(".done");
  const go = form.querySelector("button.go:not([data-do])"), UNIT = "benchdry-unit", BY = "benchdry-by", ROUND = "benchdry-round";

  function remember(name, value, store = localStorage) { try { store.setItem(name, value); } catch { /* said when it keeps */ } }
  function remembered(name, store = localStorage) { try { return store.getItem(name) || ""; } catch { return ""; } }
  const number = (text) => (text === "" || text === undefined ? NaN : Number(text));
  const massKg = () => number(mass.value.trim().replace(",", ".")) / (unit.value === "kg" ? 1 : 1000);
  const shown = (kg) => (kg >= 10 || (unit.value === "kg" && kg >= 0.1) ? `${kg.toFixed(2)} kg` : `${(kg * 1000).toFixed(kg < 1 ? 1 : 0)} g`);
  const day = () => data.last.split(" on ")[1];

  // --- what is seen while it is typed ---

  function unlike(kg) { return kg < number(data.askLowKg) || kg > number(data.askHighKg); }

  function change(kg) {
    const last = number(data.lastKg), by_ = Math.abs(kg - last);
    if (!(kg > 0) || !(last > 0)) return "";
    const dry = [data.dryHighKg, data.dryKg, data.dryLowKg].map((one) => (by_ / number(one) * 100).toFixed(1));
    const of = number(data.dryKg) > 0 && !unlike(kg) ? `, ${dry[1]} %MC (${dry[0]}–${dry[2]})` : "";
    const beside = kg < number(data.lowKg) ? " Lighter than expected." : kg > number(data.highKg) ? " Heavier than expected." : "";
    return `That is ${shown(by_)} ${kg < last ? "less" : "more"} than on ${day()}${of}.${beside}`;
  }

  function look() {
    since.textContent = change(massKg());
    ask.hidden = true;
    for (const one of form.querySelectorAll("[data-unit]")) one.setAttribute("aria-pressed", String(one.dataset.unit === unit.value));
  }

  function question(kg) {
    const last = number(data.lastKg), other = unit.value === "kg" ? "g" : "kg", swapped = unit.value === "kg" ? kg / 1000 : kg * 1000;
    const than = last > 0 ? `${shown(Math.abs(kg - last))} ${kg < last ? "lighter" : "heavier"} than on ${day()}` : `${shown(kg)}, more or less than wood of this size weighs`;
    return `That is ${than}. ${unlike(swapped) ? "Is this the right board? Weigh it again." : `Was it ${other}?`}`;
  }

  function setUnit(to) {
    unit.value = to;
    look();
  }

  function press(key) {
    if (key === "back") mass.value = mass.value.slice(0, -1);
    else if (key !== "." || !/[.,]/.test(mass.value)) mass.value += key;
    look();
  }

  // --- entering ---

  function typed() {
    const { csrf, by: who, ...rest } = Object.fromEntries(new FormData(form));
    if (!rest.true_at) rest.true_at = Math.round(Queue.now());
    return rest;
  }

  function tell(sentence, entry) {
    done.textContent = sentence;
    if (!entry || !entry.id || entry.act === "undo") return;
    const back = document.createElement("button");
    back.type = "button";
    back.className = "plain";
    back.textContent = "Take it back";
    back.addEventListener("click", async () => {
      back.disabled = true;
      try {
        const undo = await Queue.enter("undo", "", by.value, { kind: entry.kind, id: String(entry.id) }, `${entry.code}: take back`);
        tell(undo.came === "entered" ? undo.entry.sentence : "It is taken back when there is signal.");
        if (undo.came === "entered") mark(entry.code, "");
      } catch (error) { tell(error.message); }
    });
    done.append(" ", back);
  }

  async function enter() {
    const code = data.code, figure = shown(massKg());
    remember(UNIT, unit.value);
    remember(BY, by.value);
    go.disabled = true;
    let kept = null;
    try {
      const { came, entry } = await Queue.enter("weigh-in", code, by.value, typed(), `${data.name}: ${mass.value} ${unit.value}`, {
        say: !round,
        kept: (one) => {
          kept = one;
          tell(`Kept in this phone: ${one.told}.`);
          if (round) { mark(code, figure); next(); }
        },
      });
      if (!kept && round && came === "entered") { mark(code, figure); next(); }
      if (came === "entered" && !round) { location.reload(); return; }
      if (came === "entered") tell(entry.sentence, entry);
      if (came === "refused" && round) mark(code, "to be looked at, above");
      if (came === "refused" && !round) { Queue.drop(entry); Queue.show(); form.dataset.plain = "yes"; form.requestSubmit(); return; }
      if (came !== "entered" && came !== "refused" && !round) { mass.value = ""; look(); }
      if (came === "refused") tell(`Not entered: ${entry.sentence}`);
    } catch (error) { tell(error.message); }
    sure.checked = false;
    go.disabled = false;
  }

  form.addEventListener("submit", (event) => {
    if (form.dataset.plain) return;
    event.preventDefault();
    if (go.disabled) return;
    const kg = massKg();
    if (!(kg > 0)) { tell("The mass has to be a number above nought."); return; }
    if (unlike(kg) && !sure.checked && !form.elements.true_at.value) {
      ask.querySelector("p").textContent = question(kg);
      ask.hidden = false;
      ask.querySelector("[data-do=change]").focus();
      return;
    }
    enter();
  });

  form.addEventListener("click", (event) => {
    const { key, unit: to, do: what } = (event.target.closest("button") || { dataset: {} }).dataset;
    if (key) press(key);
    if (to) setUnit(to);
    if (what === "right") { sure.checked = true; ask.hidden = true; enter(); }
    if (what === "change") { ask.hidden = true; mass.select(); mass.focus(); }
    if (what === "skip") next();
  });
  mass.addEventListener("input", look);

  // A keyboard, or a scale that types like one, fills the field wherever the page stands.
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.target.closest("input, select, textarea, [contenteditable]")) return;
    if (/^[0-9.,]$/.test(event.key)) { event.preventDefault(); mass.focus(); press(event.key === "," ? "." : event.key); }
    if (event.key === "Enter" && mass.value && event.target === document.body) form.requestSubmit();
  });

  // --- the round ---

  const marks = () => JSON.parse(remembered(ROUND, sessionStorage) || "{}");

  function mark(code, told) {
    if (!round) return;
    const all = marks();
    if (told) all[code] = told; else delete all[code];
    remember(ROUND, JSON.stringify(all), sessionStorage);
    tally();
  }

  function tally() {
    const all = marks(), open = rows.filter((row) => !row.hidden);
    for (const row of open) {
      const told = all[row.dataset.code];
      row.classList.toggle("entered", Boolean(told));
      row.querySelector(".got").textContent = told ? `✓ ${told}` : row.dataset.last || "never weighed";
    }
    const count = open.filter((row) => all[row.dataset.code]).length;
    document.querySelector(".tally").textContent = `${count} of ${open.length} done`;
  }

  function choose(row) {
    for (const one of rows) one.removeAttribute("aria-current");
    row.setAttribute("aria-current", "true");
    Object.assign(data, row.dataset);
    const texts = {
      title: data.name, place: [data.where, data.species, data.code].filter(Boolean).join(" · "),
      has: data.last ? "Last" : "", last: data.last || "Never weighed", age: data.age,
    };
    for (const [name, text] of Object.entries(texts)) section.querySelector(`[data-show=${name}]`).textContent = text;
    const expected = section.querySelector("[data-show=expected]");
    expected.hidden = !data.expected;
    expected.querySelector("b").textContent = data.expected;
    form.action = `/board/${encodeURIComponent(data.code)}/weigh-in`;
    mass.value = "";
    sure.checked = false;
    setUnit(remembered(UNIT) || data.unit);
  }

  function next() {
    const all = marks(), open = rows.filter((row) => !row.hidden), here = open.findIndex((row) => row.dataset.code === data.code);
    const order = [...open.slice(here + 1), ...open.slice(0, here + 1)];
    const row = order.find((one) => !all[one.dataset.code]);
    if (row) choose(row);
    else { mass.value = ""; look(); document.querySelector(".tally").textContent = `all ${open.length} done`; }
    section.scrollIntoView({ block: "start" });
  }

  function begin() {
    const asked = new URLSearchParams(location.search);
    for (const row of rows) row.hidden = ["stack", "set", "board"].some((one) => asked.get(one) && asked.get(one).toLowerCase() !== row.dataset[one === "board" ? "code" : one].toLowerCase());
    for (const row of rows) {
      row.querySelector("a").addEventListener("click", (event) => { event.preventDefault(); choose(row); section.scrollIntoView({ block: "start" }); });
    }
    form.querySelector("[data-do=skip]").hidden = false;
    go.textContent = "Enter and next";
    tally();
    choose(rows.find((row) => !row.hidden && !marks()[row.dataset.code]) || rows.find((row) => !row.hidden) || rows[0]);
  }

  form.classList.add("padded");
  form.querySelector(".pad").hidden = false;
  mass.inputMode = "none";
  if (!by.value) by.value = remembered(BY);
  if (round) begin(); else setUnit(mass.value ? unit.value : remembered(UNIT) || data.unit);
})();
