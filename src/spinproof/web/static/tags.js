// Tags: a camera that fills a field, a scanner that types without a field, a button that prints.
// Without any of this the fields and forms work as they stand.
"use strict";

const FAST_MS = 60; // a scanner types faster than a person

function take(field, text) {
  field.value = text;
  field.dispatchEvent(new Event("input", { bubbles: true }));
  if (field.dataset.scan === "go") field.form.requestSubmit();
  else field.focus();
}

async function read(field, button, said) {
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  } catch {
    said.textContent = "The camera did not open: allow it in the browser, or type the tag.";
    return;
  }
  const detector = new BarcodeDetector({ formats: ["qr_code"] });
  const video = document.createElement("video");
  video.className = "camera";
  video.setAttribute("playsinline", "");
  video.muted = true;
  video.srcObject = stream;
  button.after(video);
  button.textContent = "Close the camera";
  said.textContent = "Hold the code before the camera.";
  let open = true;
  const close = (words) => {
    open = false;
    for (const track of stream.getTracks()) track.stop();
    video.remove();
    button.textContent = "Scan with the camera";
    said.textContent = words;
    button.onclick = () => read(field, button, said);
  };
  button.onclick = () => close("");
  await video.play();
  while (open) {
    const codes = await detector.detect(video).catch(() => []);
    if (open && codes.length) {
      close("Read.");
      take(field, codes[0].rawValue);
    }
    await new Promise((done) => setTimeout(done, 150));
  }
}

async function offerCamera() {
  if (!("BarcodeDetector" in window) || !navigator.mediaDevices) return;
  const formats = await BarcodeDetector.getSupportedFormats().catch(() => []);
  if (!formats.includes("qr_code")) return;
  for (const field of document.querySelectorAll("input[data-scan], [data-scan=fill] input")) {
    const button = document.createElement("button");
    const said = document.createElement("p");
    button.type = "button";
    button.className = "button";
    button.textContent = "Scan with the camera";
    said.className = "note";
    said.setAttribute("role", "status");
    button.onclick = () => read(field, button, said);
    (field.closest(".entry") || field).after(button, said);
  }
}

// A scanner that plays keyboard: quick characters and Enter, while no field has the focus.
function listenToScanner() {
  const field = document.querySelector("input[data-scan=go]");
  if (!field) return;
  let typed = "";
  let last = 0;
  document.addEventListener("keydown", (event) => {
    if (event.target.closest("input, textarea, select, [contenteditable]")) return;
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.timeStamp - last > FAST_MS) typed = "";
    last = event.timeStamp;
    if (event.key === "Enter" && typed.length > 4) {
      event.preventDefault();
      take(field, typed);
    } else if (event.key.length === 1) typed += event.key;
  });
}

for (const button of document.querySelectorAll("[data-print]")) button.onclick = () => window.print();
offerCamera();
listenToScanner();
