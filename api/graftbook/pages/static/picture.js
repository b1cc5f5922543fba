"use strict";
// Larger and smaller, move with the mouse, and light the reasons of what one points at. The page scrolls past the
// picture, by wheel and by finger; only with ctrl does the wheel zoom. Without this file it is there in its own size.

const holder = document.querySelector(".picture");
const svg = holder.querySelector("svg");
const [width, height] = ["width", "height"].map((name) => Number(svg.getAttribute(name)));
const READABLE = 0.85;  // the small words are 12 pixels high at 1
let scale = 1;

function room() {
  return holder.clientWidth / width;
}

// What stood at a place of the holder, its middle unless told, stands there afterwards too.
function zoom(to, across = holder.clientWidth / 2) {
  const at = (holder.scrollLeft + across) / scale;
  scale = Math.min(3, Math.max(Math.min(room(), 0.3), to));
  if (Math.abs(svg.clientWidth - width * scale) < 1) return;
  svg.classList.add("zoomed");
  svg.setAttribute("width", (width * scale).toFixed());
  svg.setAttribute("height", (height * scale).toFixed());
  holder.scrollLeft = at * scale - across;
}

const controls = document.querySelector(".controls");
controls.hidden = false;
zoom(Math.min(1, Math.max(READABLE, room())));
controls.addEventListener("click", (event) => {
  const how = event.target.dataset.zoom;
  if (how === "in") zoom(scale * 1.25);
  if (how === "out") zoom(scale * 0.8);
  if (how === "all") zoom(room());
});
holder.addEventListener("wheel", (event) => {
  if (!event.ctrlKey && !event.metaKey) return;
  event.preventDefault();
  zoom(scale * (event.deltaY > 0 ? 0.89 : 1.12), event.clientX - holder.getBoundingClientRect().left);
}, { passive: false });
holder.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === "+" || event.key === "=") zoom(scale * 1.25);
  else if (event.key === "-") zoom(scale * 0.8);
  else if (event.key === "0") zoom(room());
});

// A mouse drags; fingers scroll and pinch as everywhere.
let held = null;
holder.addEventListener("pointerdown", (event) => {
  if (event.pointerType === "mouse" && event.button === 0) held = { x: event.clientX, y: event.clientY, moved: false };
});
holder.addEventListener("pointermove", (event) => {
  if (!held || held.done) return;
  const [x, y] = [event.clientX - held.x, event.clientY - held.y];
  if (!held.moved && Math.hypot(x, y) < 5) return;
  if (!held.moved) holder.setPointerCapture(event.pointerId);
  holder.scrollLeft -= x;
  window.scrollBy(0, -y);
  held = { x: event.clientX, y: event.clientY, moved: true };
});
const release = () => { if (held) held.done = true; };
holder.addEventListener("pointerup", release);
holder.addEventListener("pointercancel", release);
holder.addEventListener("dragstart", (event) => event.preventDefault());
holder.addEventListener("click", (event) => { if (held && held.moved) event.preventDefault(); }, true);

function light(box) {
  const lit = new Set();
  const walk = (id) => {
    if (lit.has(id)) return;
    lit.add(id);
    const origins = document.getElementById(id).dataset.origins;
    if (origins) origins.split(" ").forEach(walk);
  };
  walk(box.id);
  svg.classList.add("lit-some");
  svg.querySelectorAll(".box").forEach((one) => one.classList.toggle("lit", lit.has(one.id)));
  svg.querySelectorAll(".lines path").forEach((line) => line.classList.toggle("lit", lit.has(line.dataset.start) && lit.has(line.dataset.end)));
}

function dim() {
  svg.classList.remove("lit-some");
  svg.querySelectorAll(".lit").forEach((one) => one.classList.remove("lit"));
}

svg.querySelectorAll(".box").forEach((box) => {
  box.addEventListener("pointerenter", () => light(box));
  box.addEventListener("pointerleave", dim);
  box.addEventListener("focus", () => light(box));
  box.addEventListener("blur", dim);
});
