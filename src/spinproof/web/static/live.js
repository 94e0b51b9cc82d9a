"use strict";
// One stream of server-sent events: what the recorder has written, as soon as it is written.

(() => {
  const root = document.getElementById("live");
  const rolling = document.getElementById("rolling");
  const put = (id, text) => { const e = document.getElementById(id); if (e.textContent !== text) e.textContent = text; };
  const clock = (s) => `${Math.floor(Math.max(0, s) / 60)}:${String(Math.floor(Math.max(0, s) % 60)).padStart(2, "0")}`;
  const WINDOW_S = 120;
  let charts = new Map(), kept = new Map(), run = null, newest = null, dirty = false;
  let state = root.dataset.state, heard = performance.now(), ageThen = null;
  let words = document.getElementById("words").textContent;

  // One chart for each trace: what is expected lies as a band behind what was read.
  function panelOf(trace) {
    const canvas = make("div", { role: "img", "aria-label": `${trace.name} in ${trace.unit} over the last two minutes, with its expected band; what leaves the band is said in words above` });
    const key = make("span", { class: "key" }, make("span", { class: "expected" }), "expected");
    rolling.append(make("div", { class: "panel" }, make("h3", {}, `${trace.name}, ${trace.unit}, last 120 s`, key), canvas));
    return canvas;
  }

  function chartOf(trace, canvas) {
    const options = chartOptions({ width: canvas.clientWidth, height: 190, unit: trace.unit, names: [trace.name], steps: [], events: [] });
    options.scales = {
      x: { time: false, range: (_, low, high) => [Math.max(0, (high || 0) - WINDOW_S), Math.max(WINDOW_S, high || 0)] },
      y: { range: (_, low, high) => [Math.min(0, low || 0), Math.max(1e-3, (high || 0) * 1.1)] },
    };
    const edge = { stroke: colour("edge"), width: 1, dash: [2, 4], points: { show: false }, spanGaps: false };
    options.series.splice(1, 0, { label: "highest expected", ...edge }, { label: "lowest expected", ...edge });
    options.bands = [{ series: [1, 2], fill: colour("line") }];
    return new uPlot(options, data(trace), canvas);
  }

  const data = (trace) => [trace.time, trace.high, trace.low, trace.values];

  function draw() {
    for (const chart of charts.values()) chart.destroy();
    charts = new Map();
    rolling.replaceChildren();
    const speedFirst = [...kept].sort(([one], [other]) => other.startsWith("speed ") - one.startsWith("speed "));
    const placed = speedFirst.map(([key, trace]) => [key, trace, panelOf(trace)]);
    for (const [key, trace, canvas] of placed) charts.set(key, chartOf(trace, canvas));
  }

  function keep(traces, fresh) {
    if (fresh) kept = new Map();
    for (const now of traces) {
      if (!kept.has(now.key)) kept.set(now.key, { name: now.name, unit: now.unit, time: [], values: [], low: [], high: [] });
      const trace = kept.get(now.key);
      trace.time.push(...now.time_s); trace.values.push(...now.values); trace.low.push(...now.low); trace.high.push(...now.high);
      const first = trace.time.findIndex((at) => at >= trace.time[trace.time.length - 1] - WINDOW_S - 1);
      for (const list of [trace.time, trace.values, trace.low, trace.high]) list.splice(0, first);
    }
    if (kept.size !== charts.size || [...kept.keys()].some((key) => !charts.has(key))) draw();
    if (dirty || !traces.length) return;
    dirty = true;  // many messages may come before the next frame: drawn once
    requestAnimationFrame((at) => {
      dirty = false;
      for (const [key, chart] of charts) chart.setData(data(kept.get(key)));
      root.dispatchEvent(new CustomEvent("painted", { detail: { at, newest } }));
    });
  }

  function tellChain(chain, out) {
    const wrong = chain ? chain.wrong.map((text) => `Order of the stop: ${text}.`) : [];
    const said = [...out, ...wrong], place = document.getElementById("out");
    document.getElementById("warned").hidden = !said.length;
    if (place.textContent !== said.join("")) place.replaceChildren(...said.map((text) => make("p", {}, text)));
    document.getElementById("chain").hidden = !chain;
    if (!chain) return;
    const links = chain.links.map((link) => make("li", link.after_s === null ? {} : { class: "reached" },
      link.words + " ", make("b", {}, link.after_s === null ? "not yet" : `${link.after_s.toFixed(1)} s`)));
    const list = document.getElementById("links");
    if (list.textContent !== links.map((link) => link.textContent).join("")) list.replaceChildren(...links);
  }

  function readings(list) {
    const rows = list.map((r) => make("div", {}, make("dt", {}, r.name), make("dd", {}, r.text)));
    document.getElementById("readings").replaceChildren(...rows);
  }

  function take(now) {
    heard = performance.now();
    ageThen = now.age_s;
    state = now.state;
    words = now.words;
    run = now.run;
    newest = now.newest_s;
    keep(now.traces, now.fresh);
    tellChain(now.chain, now.out);
    put("next", now.next);
    put("basis", now.basis);
    if (marker) marker.querySelector("button").disabled = state !== "recording" || newest === null;
    put("step", now.step);
    put("left", now.left_s === null ? "–" : clock(now.left_s));
    put("speed", now.speed_rpm === null ? (now.run ? "no pulse" : "–") : now.speed_rpm.toFixed(0));
    put("run", now.run || "none");
    put("recipe", now.recipe || "–");
    put("count", now.count);
    readings(now.readings);
    const banner = document.querySelector("body > .simulated");
    document.getElementById("live-simulated").hidden = Boolean(banner) || !now.simulated;
    const link = document.getElementById("ended");
    link.hidden = state !== "ended" || !now.run;
    if (now.run) { link.href = "/runs/" + encodeURIComponent(now.run); put("ended-run", now.run); }
    tell();
  }

  // Says how old the newest samples are, even when the server itself has fallen silent.
  function tell() {
    const silence = (performance.now() - heard) / 1000;
    const age = ageThen === null ? null : ageThen + silence;
    const unheard = silence > 5;
    const late = state === "recording" && age !== null && age > 3;
    document.getElementById("freshness").className = "age " + (late || unheard ? "silent" : state);
    root.className = late || unheard ? "old" : state;
    if (unheard) { put("words", "The pages' server does not answer; the recording does not depend on it."); put("age", ""); }
    else if (late) { put("words", "No data"); put("age", `since ${age.toFixed(0)} s. What was recorded is kept.`); }
    else { put("words", words); put("age", age === null ? "" : `Newest samples ${age.toFixed(0)} s old.`); }
  }

  // One touch keeps the moment; the words may follow in the same form, or stay away.
  const marker = document.getElementById("marker");
  let unsent = null;
  const keyOf = () => [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");

  async function send(mark) {
    const fields = new URLSearchParams({ ...mark, "form-token": marker.querySelector("[name=form-token]").value });
    try {
      const answer = await fetch(marker.action, { method: "POST", body: fields, headers: { accept: "application/json" } });
      const said = await answer.json();
      if (!answer.ok) { put("marked", `Not kept: ${said.what}. ${said.mend}`); unsent = null; return; }
    } catch { unsent = mark; put("marked", `Marked ${Number(mark.time_s).toFixed(1)} s; it waits for the network.`); return; }
    unsent = null;
    put("marked", `Kept: ${Number(mark.time_s).toFixed(1)} s of ${mark.run}.`);
    document.getElementById("notedpart").hidden = false;
    document.getElementById("notes").prepend(make("li", {}, `Moment marked at ${Number(mark.time_s).toFixed(1)} s of run ${mark.run}${mark.text ? ": " + mark.text : "."}`));
  }

  marker?.addEventListener("submit", (event) => {
    event.preventDefault();
    if (newest === null || !run) return;
    const field = marker.querySelector("[name=text]");
    send({ run, time_s: newest, text: field.value, "form-key": keyOf() });
    field.value = "";
  });
  setInterval(() => { if (unsent) send(unsent); }, 3000);

  onLookChange(rolling, draw);
  setInterval(tell, 500);
  const stream = new EventSource(root.dataset.source);
  stream.addEventListener("now", (event) => take(JSON.parse(event.data)));
  stream.addEventListener("fault", (event) => {
    const fault = JSON.parse(event.data);
    words = `${fault.what}, at ${fault.where}. ${fault.mend} [${fault.code}]`;
    tell();
  });
})();
