// Keeps an open page up to date and draws its charts. Everything here is a convenience: the page is
// complete without it.
"use strict";

const plotlyAddress = document.currentScript.dataset.plotly;
let plotly = null;

function loadPlotly() {
  if (!plotly) {
    plotly = new Promise((done, failed) => {
      const script = document.createElement("script");
      script.src = plotlyAddress;
      script.onload = () => done(window.Plotly);
      script.onerror = failed;
      document.head.append(script);
    });
  }
  return plotly;
}

async function draw(frame) {
  const revision = frame.dataset.src + " " + frame.dataset.revision;
  if (frame.drawn === revision) return;
  frame.drawn = revision;
  const answer = await fetch(frame.dataset.src);
  if (!answer.ok) return;
  const [figure, Plotly] = await Promise.all([answer.json(), loadPlotly()]);
  await Plotly.react(frame.querySelector(".chart"), figure.data, figure.layout, figure.config);
}

const inView = new IntersectionObserver((entries) => {
  for (const entry of entries) {
    entry.target.seen = entry.isIntersecting;
    if (entry.isIntersecting) draw(entry.target);
  }
}, { rootMargin: "300px" });

function watchCharts() {
  for (const frame of document.querySelectorAll("figure[data-src]")) {
    if (!frame.watched) {
      frame.watched = true;
      inView.observe(frame);
    } else if (frame.seen) {
      draw(frame);
    }
  }
}

// What an address names may lie folded away, in a fold within a fold: all of them open.
function openNamed() {
  const named = location.hash.length > 1 && document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (!named) return;
  let opened = false;
  for (let fold = named.closest("details"); fold; fold = fold.parentElement.closest("details")) {
    opened = opened || !fold.open;
    fold.open = true;
  }
  if (opened) named.scrollIntoView();
}

// The same address again is no change of address, and its fold may have been closed since.
document.addEventListener("click", (event) => {
  const link = event.target.closest("a[href^='#']");
  if (link && link.hash === location.hash) openNamed();
});

const PATIENCE_MS = 1200; // a busy yard has news many times a second; the server shares one reading for a second
let stream = null;
let told = ""; // what the stream last said; the page carries what it has been made from
let waiting = 0;

function catchUp() {
  waiting = 0;
  if (!told || told === document.getElementById("page").dataset.beat) return;
  document.body.dispatchEvent(new Event("news"));
  waiting = setTimeout(catchUp, PATIENCE_MS);
}

function listen() {
  const page = document.getElementById("page");
  if (!page || !page.dataset.beat || stream) return;
  stream = new EventSource("/live");
  stream.addEventListener("news", (event) => {
    document.getElementById("offline").hidden = true;
    told = event.data;
    if (!waiting) catchUp();
  });
  stream.onerror = () => { document.getElementById("offline").hidden = false; };
  stream.onopen = () => { document.getElementById("offline").hidden = true; };
}

function silence() {
  if (stream) stream.close();
  stream = null;
}

// Browsers allow few streams to one host: leave none behind, not even of pages kept for going back.
window.addEventListener("pagehide", silence);
window.addEventListener("pageshow", listen);
window.addEventListener("hashchange", openNamed);
// A page that is read anew shows the newest profile; where another was chosen, ask for that again.
function keepMoment() {
  const chosen = document.querySelector("input[data-scrub]");
  const shown = document.getElementById("through");
  if (chosen && shown && chosen.value !== shown.dataset.moment) chosen.dispatchEvent(new Event("change"));
}

document.addEventListener("htmx:after:swap", () => { watchCharts(); keepMoment(); });
document.addEventListener("DOMContentLoaded", () => { watchCharts(); openNamed(); listen(); });
// Paper cannot be unfolded: what is not a form is printed open. Newer browsers do so by the style sheet alone.
const unfolded = [];
window.addEventListener("beforeprint", () => {
  for (const chart of document.querySelectorAll(".js-plotly-plot")) {
    chart.legendAt = chart.layout.legend && chart.layout.legend.y;
    // Lower on paper, so that dates of two lines and the names below them keep apart.
    const low = chart.closest(".fan") ? { height: 255, "legend.y": -0.6 } : { height: 300, "legend.y": -0.75 };
    window.Plotly.relayout(chart, { width: chart.closest(".folds") ? 320 : 660, ...low });
  }
  if (CSS.supports("selector(::details-content)")) return;
  for (const fold of document.querySelectorAll("main details:not([open], .form, .undo)")) {
    if (fold.closest(".forms, #weighing")) continue;
    fold.open = true;
    unfolded.push(fold);
  }
});
window.addEventListener("afterprint", () => {
  for (const chart of document.querySelectorAll(".js-plotly-plot")) {
    window.Plotly.relayout(chart, { width: null, height: null, "legend.y": chart.legendAt });
  }
  for (const fold of unfolded.splice(0)) fold.open = false;
});
