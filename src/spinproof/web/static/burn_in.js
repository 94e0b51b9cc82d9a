"use strict";
// Loads the page anew when its burn-in has gone on, unless somebody is typing.

(() => {
  const root = document.getElementById("burn-in");
  const typing = () => document.activeElement?.matches("input, textarea, select") || document.querySelector("details[open] form");
  setInterval(async () => {
    if (document.hidden) return;
    try {
      const answer = await fetch(root.dataset.source);
      if (!answer.ok) return;
      const { stage } = await answer.json();
      if (stage !== root.dataset.stage && !typing()) location.reload();
    } catch { /* the next look may reach the server again */ }
  }, 1000);
})();
