"use strict";
// What the run's page and the live page share: charts in the colours of the page.

const DASHES = [[], [8, 4], [2, 3], [10, 4, 2, 4]];

function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
}

function make(tag, attributes, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

// A sample of a curve's colour and dash, for the key above its chart.
function keySample(index) {
  const space = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(space, "svg");
  const line = document.createElementNS(space, "path");
  svg.setAttribute("viewBox", "0 0 36 10");
  svg.setAttribute("aria-hidden", "true");
  line.setAttribute("d", "M0 5H36");
  line.setAttribute("stroke", colour("curve" + (index % DASHES.length + 1)));
  line.setAttribute("stroke-width", "3");
  line.setAttribute("stroke-dasharray", DASHES[index % DASHES.length].join(" "));
  svg.append(line);
  return svg;
}

// Shades every second step and draws a line at each event.
function background(steps, events) {
  return (chart) => {
    const { ctx, bbox } = chart;
    const right = bbox.left + bbox.width;
    const place = (time) => Math.min(right, Math.max(bbox.left, chart.valToPos(time, "x", true)));
    ctx.save();
    ctx.fillStyle = colour("band");
    steps.forEach((step, index) => {
      const from = place(step.from);
      if (index % 2 === 0) ctx.fillRect(from, bbox.top, place(step.to) - from, bbox.height);
    });
    ctx.strokeStyle = colour("muted");
    ctx.setLineDash([3, 5]);
    ctx.beginPath();
    for (const event of events) {
      const at = chart.valToPos(event.at, "x", true);
      if (at < bbox.left || at > right) continue;
      ctx.moveTo(at, bbox.top);
      ctx.lineTo(at, bbox.top + bbox.height);
    }
    ctx.stroke();
    ctx.restore();
  };
}

// Names the steps above their bands, and the events above their lines, each in a row that is free.
const NAME_ROW = 17;

function names(steps, events) {
  return (chart) => {
    const { ctx, bbox } = chart, ratio = devicePixelRatio, right = bbox.left + bbox.width;
    const free = [];
    const inside = (time) => chart.valToPos(time, "x", true);
    ctx.save();
    ctx.font = `${13 * ratio}px system-ui, sans-serif`;
    ctx.fillStyle = colour("ink");
    ctx.textAlign = "left";
    ctx.textBaseline = "bottom";
    const put = (text, at, rows) => {
      const width = ctx.measureText(text).width + 8 * ratio;
      const start = Math.min(at, right - width);
      const row = rows.find((candidate) => (free[candidate] || 0) <= start);
      if (row === undefined) return;
      free[row] = start + width;
      ctx.fillText(text, start, bbox.top - (2 + row * NAME_ROW) * ratio);
    };
    for (const step of steps) {
      const from = Math.max(bbox.left, inside(step.from));
      if (from < right && inside(step.to) > bbox.left) put(step.name, from, [0]);
    }
    ctx.fillStyle = colour("muted");
    for (const event of events) {
      const at = inside(event.at);
      if (at >= bbox.left && at <= right) put(event.name, at, [1, 2, 3, 4]);
    }
    ctx.restore();
  };
}

function chartOptions({ width, height, unit, names: series, steps, events, onSelect, sync, named }) {
  const axis = () => ({
    stroke: colour("muted"), font: "15px system-ui, sans-serif",
    grid: { stroke: colour("grid"), width: 1 }, ticks: { stroke: colour("grid"), width: 1 },
  });
  return {
    width, height,
    padding: [named ? 5 * NAME_ROW + 6 : 10, 12, 0, 0],
    legend: { show: false },
    scales: { x: { time: false } },
    cursor: { drag: { x: Boolean(onSelect), y: false, setScale: false }, y: false, sync: sync ? { key: sync } : undefined },
    axes: [
      { ...axis(), size: 36, values: (_, ticks) => ticks.map((tick) => tick + " s") },
      { ...axis(), size: 74, values: (_, ticks) => ticks.map((tick) => String(tick).replace("-", "−")) },
    ],
    series: [
      { label: "time (s)" },
      ...series.map((name, index) => ({
        label: `${name} (${unit})`, stroke: colour("curve" + (index % DASHES.length + 1)), width: 2,
        dash: DASHES[index % DASHES.length], points: { show: false }, spanGaps: false,
      })),
    ],
    hooks: {
      drawClear: [background(steps, events)],
      draw: named ? [names(steps, events)] : [],
      setSelect: onSelect ? [(chart) => {
        if (chart.select.width < 8) return;
        onSelect(chart.posToVal(chart.select.left, "x"), chart.posToVal(chart.select.left + chart.select.width, "x"));
      }] : [],
    },
  };
}

// Calls back when the colours of the page or the width of an element change.
function onLookChange(element, redraw) {
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  let width = element.clientWidth;
  new ResizeObserver(() => {
    if (element.clientWidth !== width) { width = element.clientWidth; redraw(); }
  }).observe(element);
}
