"use strict";
// Suggestions as one types, and rows that can be added. Everything works without this file.

const waiting = new WeakMap();
const soon = new WeakMap();

async function suggest(input) {
  const text = input.value.trim();
  const list = document.getElementById(input.getAttribute("aria-controls"));
  if (!list) return;  // the form was put in place of another one since
  if (text.length < 2) { close(input, list); return; }
  const address = new URL("/suggest/" + input.dataset.suggest, location.origin);
  address.searchParams.set("text", text);
  const form = input.form;
  const chassis = form && form.querySelector("input[name=chassis]");
  if (chassis && chassis !== input) address.searchParams.set("chassis", chassis.value);
  if (waiting.has(input)) waiting.get(input).abort();
  const abort = new AbortController();
  waiting.set(input, abort);
  try {
    const answer = await fetch(address, { signal: abort.signal });
    if (!answer.ok) { close(input, list); return; }
    show(input, list, await answer.json());
  } catch (error) {
    if (error.name !== "AbortError") close(input, list);
  }
}

function show(input, list, found) {
  list.replaceChildren(...found.map((one, place) => {
    const row = document.createElement("li");
    row.id = list.id + "-" + place;
    row.setAttribute("role", "option");
    row.dataset.value = one.value;
    const value = document.createElement("b");
    value.textContent = one.value;
    row.append(value, " ", one.words);
    row.addEventListener("mousedown", (event) => { event.preventDefault(); take(input, list, row); });
    return row;
  }));
  list.hidden = !found.length;
  input.setAttribute("aria-expanded", String(found.length > 0));
  input.removeAttribute("aria-activedescendant");
}

// What was asked for before comes to nothing: it would open over what is done by then.
function close(input, list) {
  clearTimeout(soon.get(input));
  if (waiting.has(input)) waiting.get(input).abort();
  list.hidden = true;
  input.setAttribute("aria-expanded", "false");
  input.removeAttribute("aria-activedescendant");
}

function take(input, list, row) {
  input.value = row.dataset.value;
  close(input, list);
  input.dispatchEvent(new Event("change", { bubbles: true }));
}

function step(input, list, by) {
  const rows = [...list.children];
  if (list.hidden || !rows.length) return;
  const now = rows.findIndex((row) => row.id === input.getAttribute("aria-activedescendant"));
  const next = rows[(now + by + rows.length + (now < 0 && by < 0 ? 1 : 0)) % rows.length];
  rows.forEach((row) => row.removeAttribute("aria-selected"));
  next.setAttribute("aria-selected", "true");
  next.scrollIntoView({ block: "nearest" });
  input.setAttribute("aria-activedescendant", next.id);
}

let numbered = 0;

function ready(input) {
  if (input.hasAttribute("aria-controls")) return;
  const list = document.createElement("ul");
  list.className = "suggestions";
  list.id = "suggestions-" + (numbered += 1);
  list.setAttribute("role", "listbox");
  list.setAttribute("aria-label", "Suggestions");
  list.hidden = true;
  const holder = document.createElement("span");
  holder.className = "suggesting";
  const focused = document.activeElement === input;
  input.replaceWith(holder);
  holder.append(input, list);
  if (focused) input.focus();
  input.setAttribute("role", "combobox");
  input.setAttribute("aria-autocomplete", "list");
  input.setAttribute("aria-expanded", "false");
  input.setAttribute("aria-controls", list.id);
  input.addEventListener("input", () => { clearTimeout(soon.get(input)); soon.set(input, setTimeout(() => suggest(input), 120)); });
  input.addEventListener("blur", () => close(input, list));
  input.addEventListener("keydown", (event) => {
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      step(input, list, event.key === "ArrowDown" ? 1 : -1);
    } else if (event.key === "Escape") {
      close(input, list);
    } else if (event.key === "Enter" && input.hasAttribute("aria-activedescendant")) {
      event.preventDefault();
      take(input, list, document.getElementById(input.getAttribute("aria-activedescendant")));
    } else if (event.key === "Enter") {
      close(input, list);
    }
  });
}

function addRow(button) {
  const template = document.getElementById(button.dataset.adds);
  const row = template.content.firstElementChild.cloneNode(true);
  numbered += 1;
  row.querySelectorAll("[id]").forEach((part) => { part.id += "-" + numbered; });
  row.querySelectorAll("[for]").forEach((part) => { part.htmlFor += "-" + numbered; });
  button.before(row);
  row.querySelectorAll("[data-suggest]").forEach(ready);
  const first = row.querySelector("input, select");
  if (first) first.focus();
}

function enliven(root) {
  root.querySelectorAll("[data-suggest]").forEach(ready);
  root.querySelectorAll("button[data-adds]").forEach((button) => {
    button.hidden = false;
    button.addEventListener("click", () => addRow(button));
  });
}

enliven(document);
// A form that was put in place of another one.
document.addEventListener("graftbook:fresh", (event) => enliven(event.target));

// Going back finds the form as it was sent: its address then says so.
document.querySelectorAll("form[data-keeps]").forEach((form) => {
  form.addEventListener("submit", () => {
    const said = [...new FormData(form)].filter(([, value]) => value !== "");
    history.replaceState(null, "", location.pathname + "?" + new URLSearchParams(said));
  });
});

// A form that was refused (nobody is signed in any more, a mistake in it) stands with what was typed in it when
// one comes back to it.
const SENT = "graftbook.sent";

function sent() {
  try { return JSON.parse(sessionStorage.getItem(SENT)); } catch { return null; }
}

function keepSent(what) {
  try {
    sessionStorage.removeItem(SENT);
    if (what) sessionStorage.setItem(SENT, JSON.stringify(what));
  } catch { /* there is no room for it: it is typed again */ }
}

function typedIn(form) {
  return [...form.elements].filter((one) => one.name && !["hidden", "password", "file", "submit", "button"].includes(one.type));
}

// What a form is, but for what is typed in it: nothing is put back where something else was changed meanwhile.
function gistOfForm(form, passedOver = ["form_token"]) {
  const fixed = [...form.elements].filter((one) => one.type === "hidden" && !passedOver.includes(one.name));
  return JSON.stringify([form.getAttribute("action"), fixed.map((one) => [one.name, one.value]), typedIn(form).map((one) => one.name)]);
}

function putBack({ gist, typed }) {
  const form = [...document.forms].find((one) => gistOfForm(one) === gist);
  if (!form) return;
  typedIn(form).forEach((field, at) => {
    if (typeof typed[at] === "boolean") field.checked = typed[at]; else field.value = typed[at];
  });
  const again = typedIn(form).filter(isTyped);
  again.forEach(openAround);
  openAround(form);
  if (!again.length) return;
  const told = document.createElement("p");
  told.className = "told";
  told.setAttribute("role", "status");
  told.textContent = "What you typed is here again; it has not been sent.";
  form.prepend(told);
}

function openAround(part) {
  for (let shut = part.closest("details"); shut; shut = shut.parentElement.closest("details")) shut.open = true;
}

// Who clicks twice means it once: what is on its way is not sent again by the same button.
const LOST = 10000;
let onItsWay = null;

document.addEventListener("submit", (event) => {
  const { target: form, submitter: button } = event;
  if (form.getAttribute("method") !== "post") return;
  if (onItsWay && onItsWay.form === form && onItsWay.button === button) {
    event.preventDefault();
    event.stopImmediatePropagation();
    return;
  }
  const mine = onItsWay = { form, button };
  setTimeout(() => { if (onItsWay === mine) onItsWay = null; }, LOST);
});

document.addEventListener("submit", ({ target: form }) => {
  if (form.getAttribute("method") !== "post" || form.getAttribute("action") === "/signin") return;
  const typed = typedIn(form).map((one) => (["checkbox", "radio"].includes(one.type) ? one.checked : one.value));
  const filled = typedIn(form).some(isTyped);
  keepSent(typed.length ? { at: location.pathname + location.search, gist: gistOfForm(form), typed, filled } : null);
});
const refused = sent();
const back = document.querySelector("a[data-back-to-form]");
if (refused && back) {
  keepSent({ ...refused, refused: true });
  back.href = back.pathname === "/signin" ? "/signin?" + new URLSearchParams({ next: refused.at }) : refused.at;
  document.querySelectorAll("[data-with-what-was-typed]").forEach((one) => { one.hidden = !refused.filled; });
} else if (refused && refused.refused && refused.at === location.pathname + location.search) {
  putBack(refused);
  keepSent(null);
}

// What takes time says so from half a second on, and can be stopped. The bench has its own words.
const READING = [
  [/^\/answer$/, "Working out the set"],
  [/^\/compare$/, "Working out both answers"],
  [/^\/order$/, "Working out what to order, and from whom"],
  [/^\/fitting$/, "Working out the order of work"],
  [/^\/quotation$/, "Working out the quotation"],
  [/^\/picture$/, "Drawing the reasons"],
  [/^\/check$/, "Checking the list"],
  [/^\/(find|look-up|component\/.*|vehicle|ask|store)$/, "Looking it up"],
  [/^\/history(\/.*)?$/, "Reading the history"],
  [/^\/orders(\/[^/]+)?$/, "Opening the orders"],
  [/^\/builds\/.*$/, "Looking at how it stands"],
  [/^\/specifications\/[^/]+\/.*$/, "Asking every variant"],
  [/^\/edit\/effect\/.*$/, "Looking at what the edit changes"],
  [/^\/edit\/flat\/.*$/, "Reading the list"],
];
const SENDING = [
  [/^\/pictures\/.*$/, "Reading the picture"],
  [/^\/check$/, "Checking the list"],
  [/^\/order$/, "Keeping the order"],
  [/^\/orders\/.*$/, "Bringing the list up to date"],
  [/^\/edit\/import$/, "Reading the sheet"],
  [/^\/edit\/revision\/.*$/, "Taking the edit back"],
  [/^\/edit\/flat(\/.*)?$/, "Working through the list"],
  [/^\/edit\/.*$/, "Looking at what the edit changes"],
  [/^\/store(\/.*)?$/, "Bringing the store up to date"],
  [/^\/(builds|specifications)(\/.*)?$/, "Writing it down"],
];
const STORES_NOTHING = "/check";
let slow = 0, ticking = 0;

function waitsFor(event, address, sent) {
  const known = address.origin === location.origin && (sent ? SENDING : READING).find(([path]) => path.test(address.pathname));
  if (!known) return;
  waited();
  const doubt = sent && address.pathname !== STORES_NOTHING;
  slow = setTimeout(() => { if (!event.defaultPrevented) sayWaiting(known[1], doubt); }, 500);
}

function sayWaiting(words, doubt) {
  const bar = document.createElement("div");
  const said = document.createElement("p");
  const seconds = document.createElement("span");
  const stop = document.createElement("button");
  const begun = performance.now() - 500;
  bar.className = "waiting noprint";
  bar.setAttribute("role", "status");
  said.textContent = words + " \u2026 ";
  seconds.className = "seconds";
  seconds.setAttribute("aria-hidden", "true");
  said.append(seconds);
  stop.type = "button";
  stop.className = "quiet";
  stop.textContent = "Stop";
  stop.addEventListener("click", () => stopped(bar, doubt));
  bar.append(said, stop);
  document.body.append(bar);
  ticking = setInterval(() => { seconds.textContent = Math.floor((performance.now() - begun) / 1000) + " s"; }, 1000);
}

// What was sent may have been stored although nobody waits for the answer.
function stopped(bar, doubt) {
  window.stop();
  onItsWay = null;
  if (stepping) stepping.abort();
  if (!doubt || !ticking) { waited(); return; }
  clearInterval(ticking);
  ticking = 0;
  bar.querySelector("p").textContent = "You no longer wait. It may have been stored all the same: look before you send it again.";
  bar.querySelector("button").textContent = "Close";
}

function waited() {
  clearTimeout(slow);
  clearInterval(ticking);
  ticking = 0;
  document.querySelectorAll(".waiting").forEach((bar) => bar.remove());
}

document.addEventListener("submit", (event) => {
  const by = event.submitter && event.submitter.getAttribute("formaction");
  const address = new URL(by || event.target.getAttribute("action") || location.href, location.href);
  waitsFor(event, address, event.target.getAttribute("method") === "post");
});
document.addEventListener("click", (event) => {
  const link = event.target.closest("a[href]");
  const away = event.metaKey || event.ctrlKey || event.shiftKey || event.altKey || event.button;
  if (!link || away || link.target || link.hasAttribute("download")) return;
  const address = new URL(link.href, location.href);
  const here = address.pathname === location.pathname && address.search === location.search;
  if (!(here && address.hash)) waitsFor(event, address, false);
});
document.addEventListener("keydown", (event) => {
  const stop = event.key === "Escape" && document.querySelector(".waiting button");
  if (stop) stop.click();
});
// Going back shows the page as it was.
window.addEventListener("pageshow", () => { waited(); onItsWay = null; });
// The page may have been asked for anew in place since it was loaded.
document.querySelectorAll("form.units").forEach((form) => {
  form.addEventListener("submit", () => {
    form.elements.next.value = location.pathname + location.search;
  });
});
// On a phone the pages' names are wider than it: where one is stands in view.
document.querySelectorAll(".bar nav [aria-current]").forEach((link) => {
  const nav = link.closest("nav");
  nav.scrollLeft = link.getBoundingClientRect().left - nav.getBoundingClientRect().left - nav.clientWidth / 3;
});

// A step of a list is taken where one is: the page that comes of it takes the place of this one.
let stepping = null;

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches("[data-in-place]")) return;
  event.preventDefault();
  if (!stepping) takeStep(form, event.submitter);
});

async function takeStep(form, button) {
  const main = form.closest("main");
  const sent = new URL(actionOf(form, button));
  const said = new URLSearchParams(new FormData(form));
  if (button && button.name) said.append(button.name, button.value);
  const mine = stepping = new AbortController();
  waitsFor({ defaultPrevented: false }, sent, true);
  main.inert = true;
  let answer = null, text = "";
  try {
    answer = await fetch(sent, { method: "POST", body: said, headers: { Accept: "text/html" }, signal: mine.signal });
    text = await answer.text();
  } catch { answer = null; }
  stepping = null;
  main.inert = false;
  if (mine.signal.aborted) return;
  if (!answer || !answer.ok) { sendItself(form, button); return; }
  const there = new URL(answer.headers.get("Content-Location") || answer.url, answer.url);
  if (!sent.pathname.startsWith(there.pathname + "/")) { location.assign(there); return; }
  waited();
  keepSent(null);
  there.hash = sent.hash;
  history.replaceState(history.state, "", there);
  const page = new DOMParser().parseFromString(text, "text/html");
  document.title = page.title;
  const beside = typedBeside(form);
  main.replaceChildren(...page.querySelector("main").childNodes);
  putBeside(main, beside);
  main.dispatchEvent(new CustomEvent("graftbook:fresh", { bubbles: true }));
  standAt(document.getElementById(there.hash.slice(1)) || main.querySelector("h1"));
  putAt = performance.now();
}

function actionOf(form, button) {
  return button && button.hasAttribute("formaction") ? button.formAction : form.action;
}

// The enter key books for the supplier at whose field it is pressed, or takes the step that the field is of.
document.addEventListener("keydown", (event) => {
  const own = event.key === "Enter" && event.target.matches("input") && event.target.closest(".delivery, .ownstep");
  if (!own) return;
  event.preventDefault();
  own.querySelector("button[name=book], .ownstep > button").click();
});

// What was typed in other forms of the page: it stands in the page that comes as well.
const OF_THE_STEP = ["form_token", "etag"];

function typedBeside(form) {
  const others = [...form.closest("main").querySelectorAll("form[data-in-place]")];
  return others.filter((one) => one !== form).flatMap((one) => {
    const typed = typedIn(one).filter(isTyped);
    return typed.length ? [{ gist: gistOfForm(one, OF_THE_STEP), typed }] : [];
  });
}

function isTyped(field) {
  if (field.options) return field.selectedIndex !== Math.max(0, [...field.options].findIndex((one) => one.defaultSelected));
  return field.value !== field.defaultValue || field.checked !== field.defaultChecked;
}

function putBeside(main, beside) {
  for (const { gist, typed } of beside) {
    const form = [...main.querySelectorAll("form[data-in-place]")].find((one) => gistOfForm(one, OF_THE_STEP) === gist);
    if (!form) continue;
    for (const field of typed) {
      const now = form.elements[field.name];
      if (field.type === "checkbox") now.checked = field.checked; else now.value = field.value;
      openAround(now.closest ? now : form);
    }
  }
}

// What is refused changed nothing: the browser sends it once more, and shows what is told.
function sendItself(form, button) {
  const pressed = document.createElement("input");
  if (button && button.name) {
    pressed.type = "hidden";
    pressed.name = button.name;
    pressed.value = button.value;
    form.append(pressed);
  }
  const action = form.getAttribute("action");
  form.action = actionOf(form, button);
  form.submit();
  form.setAttribute("action", action);
  pressed.remove();  // who goes back may press another button of it
}

function standAt(heading) {
  openAround(heading);
  heading.tabIndex = -1;
  heading.focus({ preventScroll: true });
  heading.scrollIntoView();
}

// The second click of two was meant for what stood there before: it presses nothing of the page that came.
const A_CLICK = 500, A_HAND = 8;
let putAt = -A_CLICK, clicked = { x: 0, y: 0 };

document.addEventListener("click", (event) => {
  if (!event.detail) return;  // from the keyboard
  const { clientX: x, clientY: y } = event;
  const again = Math.hypot(x - clicked.x, y - clicked.y) < A_HAND && performance.now() - putAt < A_CLICK;
  clicked = { x, y };
  if (again && event.target.closest("main")) {
    event.preventDefault();
    event.stopPropagation();
  }
}, true);
