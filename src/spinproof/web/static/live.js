"use strict";
// One stream of server-sent events: what the recorder has written, as soon as it is written.

(() => {
  const root = document.getElementById("live");
  const rolling = document.getElementById("rolling");
  const put = (id, text) => { const e = document.getElementById(id); if (e.textContent !== text) e.textContent = text; };
  const clock = (s) => `${Math.floor(Math.max(0, s) / 60)}:${String(Math.floor(Math.max(0, s) % 60)).padStart(2, "0")}`;
  const WINDOW_S = 120;
  let time = [], speed = [], chart = null, state = root.dataset.state, heard = performance.now(), ageThen = null;
  let words = document.getElementById("words").textContent;

  function draw() {
    if (chart) chart.destroy();
    rolling.replaceChildren();
    const canvas = make("div", { role: "img", "aria-label": "Speed in rpm over the last two minutes; the present value stands above as a number" });
    rolling.append(make("div", { class: "panel" }, make("h3", {}, "Speed (rpm), last 120 s"), canvas));
    const options = chartOptions({ width: canvas.clientWidth, height: 190, unit: "rpm", names: ["speed"], steps: [], events: [] });
    options.scales = {
      x: { time: false, range: (_, low, high) => [Math.max(0, (high || 0) - WINDOW_S), Math.max(WINDOW_S, high || 0)] },
      y: { range: (_, low, high) => [0, Math.max(100, (high || 0) * 1.1)] },
    };
    chart = new uPlot(options, [time, speed], canvas);
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
    if (now.fresh) { time = []; speed = []; }
    time.push(...now.curve.time_s);
    speed.push(...now.curve.values);
    while (time.length && time[time.length - 1] - time[0] > WINDOW_S + 5) { time.shift(); speed.shift(); }
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
    chart.setData([time, speed]);
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

  draw();
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
