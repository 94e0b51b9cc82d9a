"use strict";
// The traces of one run: one chart for each unit, zoomed together.

(() => {
  const root = document.getElementById("charts");
  const holder = document.getElementById("panels");
  const status = document.getElementById("window");
  const rows = (selector) => [...document.querySelectorAll(selector)].map((row) => row.dataset);
  const steps = rows("#steps tr[data-from]").map((row) => ({ name: row.step, from: +row.from, to: +row.to }));
  const events = rows("#events tr[data-at]").map((row) => ({ name: row.event, at: +row.at }));
  let shown = null, charts = [], asked = 0;

  async function show(from, to) {
    const order = ++asked;
    const query = from === null ? "" : `?from_s=${from.toFixed(3)}&to_s=${to.toFixed(3)}`;
    const answer = await fetch(root.dataset.source + query).catch(() => null);
    if (order !== asked) return;
    if (!answer) { status.textContent = "The pages' server does not answer. Nothing is lost; try again."; return; }
    const found = await answer.json();
    if (!answer.ok) { status.textContent = `${found.what}, at ${found.where}. ${found.mend} [${found.code}]`; return; }
    shown = found;
    draw();
  }

  function draw() {
    charts.forEach((chart) => chart.destroy());
    holder.replaceChildren();
    charts = shown.panels.map(panel);
    const part = shown.from_s <= 0 && shown.to_s >= shown.duration_s ? "the whole run" : "a part";
    const kept = shown.whole ? "every recorded sample" : "the highest and lowest samples of each stretch; go closer to see all";
    status.textContent = `Shown: ${shown.from_s.toFixed(1)} s to ${shown.to_s.toFixed(1)} s of ${shown.duration_s.toFixed(1)} s (${part}), ${kept}.`;
  }

  function extremes(curve) {
    const inside = (time) => time >= shown.from_s && time <= shown.to_s;
    const values = curve.values.filter((value, at) => value !== null && inside(curve.time_s[at]));
    if (!values.length) return curve.values.length ? curve.name : `${curve.name}: no reading`;
    return `${curve.name} ${tidy(Math.min(...values))} to ${tidy(Math.max(...values))} ${curve.unit}`;
  }

  function tidy(value) {
    return String(Number(value.toPrecision(4))).replace("-", "−");
  }

  function panel(found, place) {
    const names = found.curves.map((curve) => curve.name);
    const words = found.curves.map(extremes).join("; ");
    const title = make("h3", {}, `${found.name}, ${found.unit}`);
    found.curves.forEach((curve, index) => {
      title.append(make("span", { class: "key" }, keySample(index), extremes(curve)));
    });
    const canvas = make("div", { role: "img", "aria-label": `${found.name} over time: ${words}` });
    const box = make("div", { class: "panel" }, title, canvas);
    holder.append(box);
    const data = uPlot.join(found.curves.map((curve) => [curve.time_s, curve.values]), found.curves.map(() => [0, 1]));
    const options = chartOptions({
      width: canvas.clientWidth, height: place === 0 ? 300 : names.length > 1 ? 190 : 140, unit: found.unit, names,
      steps, events, onSelect: show, sync: "run", named: place === 0,
    });
    options.scales.x = { time: false, range: () => [shown.from_s, shown.to_s] };
    return new uPlot(options, data, canvas);
  }

  function move(kind, button) {
    const [from, to] = [shown.from_s, shown.to_s], span = to - from;
    if (kind === "whole") return show(null, null);
    if (kind === "step") return show(+button.dataset.from, +button.dataset.to);
    if (kind === "closer") return show(from + span / 4, to - span / 4);
    if (kind === "wider") return show(Math.max(0, from - span / 2), Math.min(shown.duration_s, to + span / 2));
    const by = kind === "earlier" ? -Math.min(span / 2, from) : Math.min(span / 2, shown.duration_s - to);
    return show(from + by, to + by);
  }

  root.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-zoom]");
    if (button && shown) move(button.dataset.zoom, button);
  });
  onLookChange(holder, () => shown && draw());
  show(null, null);
})();
