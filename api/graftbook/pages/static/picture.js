"use strict";
// Zoom, move, and light the reasons of what one points at. Without this file the picture scrolls.

const holder = document.querySelector(".picture");
const svg = holder.querySelector("svg");
const whole = svg.viewBox.baseVal;
const all = { x: 0, y: 0, width: whole.width, height: whole.height };
let view = { ...all };

function apply() {
  svg.setAttribute("viewBox", [view.x, view.y, view.width, view.height].map((part) => part.toFixed(1)).join(" "));
}

function zoom(factor, x = view.x + view.width / 2, y = view.y + view.height / 2) {
  const width = Math.min(all.width * 1.5, Math.max(240, view.width * factor));
  const by = width / view.width;
  view = { x: x - (x - view.x) * by, y: y - (y - view.y) * by, width, height: view.height * by };
  apply();
}

function place(event) {
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  return [point.x, point.y];
}

holder.classList.add("live");
const controls = document.querySelector(".controls");
controls.hidden = false;
controls.addEventListener("click", (event) => {
  const how = event.target.dataset.zoom;
  if (how === "in") zoom(0.8);
  if (how === "out") zoom(1.25);
  if (how === "all") { view = { ...all }; apply(); }
});
holder.addEventListener("wheel", (event) => {
  if (!event.ctrlKey && !event.metaKey && Math.abs(event.deltaY) < 4) return;
  event.preventDefault();
  zoom(event.deltaY > 0 ? 1.12 : 0.89, ...place(event));
}, { passive: false });
holder.addEventListener("keydown", (event) => {
  const step = view.width / 10;
  const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
  if (moves[event.key]) {
    event.preventDefault();
    view.x += moves[event.key][0];
    view.y += moves[event.key][1];
    apply();
  } else if (event.key === "+" || event.key === "=") zoom(0.8);
  else if (event.key === "-") zoom(1.25);
  else if (event.key === "0") { view = { ...all }; apply(); }
});

let held = null;
const fingers = new Map();
let spread = 0;
holder.addEventListener("pointerdown", (event) => {
  fingers.set(event.pointerId, event);
  held = { x: event.clientX, y: event.clientY, moved: false };
});
holder.addEventListener("pointermove", (event) => {
  if (!fingers.has(event.pointerId)) return;
  fingers.set(event.pointerId, event);
  const [one, two] = [...fingers.values()];
  if (two) {
    const now = Math.hypot(one.clientX - two.clientX, one.clientY - two.clientY);
    if (spread) zoom(spread / now, ...place({ clientX: (one.clientX + two.clientX) / 2, clientY: (one.clientY + two.clientY) / 2 }));
    spread = now;
    return;
  }
  const scale = view.width / svg.clientWidth;
  const [x, y] = [event.clientX - held.x, event.clientY - held.y];
  if (!held.moved && Math.hypot(x, y) < 5) return;
  if (!held.moved) holder.setPointerCapture(event.pointerId);
  view.x -= x * scale;
  view.y -= y * scale;
  held = { x: event.clientX, y: event.clientY, moved: true };
  apply();
});
const release = (event) => { fingers.delete(event.pointerId); spread = 0; };
holder.addEventListener("pointerup", release);
holder.addEventListener("pointercancel", release);
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
