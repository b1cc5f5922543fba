// The bench: what changes in the question changes the set in place. Everything works without this file.

const form = document.querySelector("form[data-bench]");
const result = document.getElementById("result");
const SOON = 500;
const RESTS = 80;
let asked = null;
let ahead = null;
let stands = here();
let refilling = false;

// What the address asks; where in the page one is does not change that.
function here() {
  return location.pathname + location.search;
}

function addressOfForm() {
  const said = [...new FormData(form)].filter(([, value]) => String(value).trim() !== "");
  return new URL("/answer?" + new URLSearchParams(said), location.origin);
}

function linesOf(root) {
  return new Map([...root.querySelectorAll(".line[data-key]")].map((line) => [line.dataset.key, line]));
}

function figuresOf(root) {
  return new Map([...root.querySelectorAll("[data-total]")].map((one) => [one.dataset.total, Number(one.dataset.value)]));
}

// What was asked and what came of it: the same asked in other letters is no step more on the way back.
function gistOf(root) {
  const told = root.querySelectorAll(".vehicle, .asked li, .verdictline, .line[data-key]");
  return [...told].map((one) => one.dataset.key ?? one.textContent.trim()).join("\n");
}

// Asks, and puts what comes in place of the answer before; the address and the way back follow.
async function ask(address, { keep = true, refill = true, told = true } = {}) {
  if (asked) asked.abort();
  const mine = asked = new AbortController();
  const before = { lines: linesOf(result), figures: figuresOf(result), texts: textsOf(form) };
  const slow = setTimeout(() => waiting(mine), SOON);
  try {
    const { url, text } = await (takenAhead(address, refill, mine) ?? fetched(address, refill, mine));
    const page = new DOMParser().parseFromString(text, "text/html");
    const fresh = page.getElementById("result");
    const same = Boolean(fresh) && gistOf(fresh) === gistOf(result);
    if (keep && url !== location.href) history[same ? "replaceState" : "pushState"]({ bench: true }, "", url);
    stands = here();
    document.title = page.title;
    const open = new Set([...result.querySelectorAll(".line:has(> tr:first-child details[open])")].map((line) => line.dataset.key));
    const panels = [...result.querySelectorAll("details[id][open]")].map((one) => one.id);
    result.replaceChildren(...(fresh || page.querySelector("main")).childNodes);
    if (!fresh) return;  // a mistake in the question, told with what is near
    if (refill) refilled(page.querySelector("form[data-bench]"), before.texts);
    for (const [key, line] of linesOf(result)) if (open.has(key)) line.querySelector("details").open = true;
    for (const id of panels) { const panel = document.getElementById(id); if (panel) panel.open = true; }
    if (!told) looked();
    else if (!same || !keep) differs(before);
  } catch (error) {
    if (error.name !== "AbortError") location.assign(address);
  } finally {
    clearTimeout(slow);
    if (asked === mine) { asked = null; result.classList.remove("working"); }
  }
}

async function fetched(address, withForm, controller) {
  const headers = { Accept: "text/html", "Graftbook-In-Place": withForm ? "both" : "result" };
  const answer = await fetch(address, { signal: controller.signal, headers });
  const url = new URL(answer.headers.get("Content-Location") ?? answer.url, answer.url).href;
  return { url, text: await answer.text() };
}

// What the pointer or the cursor rests on is asked for before it is chosen: the set is there at the click.
function rests(target) {
  const [address, withForm] = (target && choiceAt(target)) || [];
  if (ahead && ahead.address === address) return;
  if (ahead) { clearTimeout(ahead.timer); ahead.controller.abort(); ahead = null; }
  if (!address || asked) return;
  const mine = ahead = { address, withForm, controller: new AbortController() };
  mine.timer = setTimeout(() => {
    mine.answer = fetched(address, withForm, mine.controller);
    mine.answer.catch(() => { if (ahead === mine) ahead = null; });
  }, RESTS);
}

// The address that a click there would ask for, and whether its form is wanted too; nothing where a click
// asks for nothing.
function choiceAt(target) {
  const link = target.closest("a[href]");
  if (link) return chooses(link) && !link.matches("[data-look], .away") ? [link.href, true] : null;
  const box = target.closest("label")?.control ?? target;
  if (!form.contains(box) || !box.matches("input[type=checkbox]")) return null;
  box.checked = !box.checked;
  const address = addressOfForm().href;
  box.checked = !box.checked;
  return [address, false];
}

function takenAhead(address, withForm, controller) {
  const mine = ahead;
  ahead = null;
  if (!mine) return null;
  clearTimeout(mine.timer);
  if (mine.address !== String(address) || mine.withForm !== withForm || !mine.answer) { mine.controller.abort(); return null; }
  controller.signal.addEventListener("abort", () => mine.controller.abort());
  return mine.answer;
}

function chooses(link) {
  const ours = link.origin === location.origin && link.pathname === "/answer" && (result.contains(link) || form.contains(link));
  return ours && !link.getAttribute("href").startsWith("#");
}

// Another part of the drawing: the cursor stays on its link.
function looked() {
  const at = result.querySelector("[data-look][aria-current]");
  if (at) at.focus({ preventScroll: true });
}

function textsOf(root) {
  return new Map([...root.querySelectorAll("input[data-suggest], input:not([type])")].map((one) => [one, one.value]));
}

// The form as the new answer has it: wishes taken by a link stand in it; the cursor stays where it is, also in a
// row added since the question left, and what was typed there since stays with it.
function refilled(fresh, texts) {
  if (!fresh) return;
  const at = form.contains(document.activeElement) ? document.activeElement : null;
  const text = at && textsOf(form).has(at);
  const typed = text && at.value !== (texts.get(at) ?? "");
  const marked = text ? [at.selectionStart, at.selectionEnd] : null;
  const shown = new Set([...form.querySelectorAll("details[open] > summary")].map((one) => one.textContent.trim()));
  const down = form.scrollTop;
  refilling = true;
  form.replaceChildren(...fresh.childNodes);
  refilling = false;
  form.querySelectorAll("details > summary").forEach((one) => { if (shown.has(one.textContent.trim())) one.parentElement.open = true; });
  form.dispatchEvent(new CustomEvent("graftbook:fresh", { bubbles: true }));
  form.scrollTop = down;
  const back = typed || (text && !texts.has(at)) ? rowFor(at, texts.get(at) ?? "") : at && at.id && document.getElementById(at.id);
  if (!back) return;
  if (typed) { back.value = at.value; changesOnLeaving(back); }
  back.focus({ preventScroll: true });
  if (marked && back.setSelectionRange) back.setSelectionRange(...marked);
  if (typed) back.dispatchEvent(new Event("input", { bubbles: true }));
}

// What a script has put into a field does not count as a change of it when it is left: here it does.
function changesOnLeaving(field) {
  const put = field.value;
  field.addEventListener("blur", () => {
    if (field.value === put) field.dispatchEvent(new Event("change", { bubbles: true }));
  }, { once: true });
}

// Where in the new form stands what was being typed: in the same field, or in one that nothing stands in.
function rowFor(at, was) {
  const same = [...form.querySelectorAll("input")].filter((one) => one.name === at.name);
  const place = same.find((one) => one.id === at.id && one.value === was) ?? same.find((one) => !one.value);
  const more = !place && form.querySelector(`button[data-adds="${at.name}-row"]`);
  if (more) more.click();
  return place ?? (more && document.activeElement);
}

function waiting(mine) {
  if (asked !== mine) return;
  result.classList.add("working");
  strip([said("p", "Working it out …")], [button("Stop", () => { mine.abort(); result.classList.remove("working"); strip([], []); })]);
}

// What came in, went out and moved, and what that makes of the sums.
function differs(before) {
  const now = linesOf(result);
  const came = [...now.keys()].filter((key) => !before.lines.has(key));
  const went = [...before.lines.keys()].filter((key) => !now.has(key));
  const places = (keys) => new Set(keys.flatMap((key) => key.split(" ").map((one) => one.split("=")[0])));
  const left = places(went);
  const moved = came.filter((key) => [...places([key])].some((place) => left.has(place)));
  for (const key of came) {
    now.get(key).classList.add(moved.includes(key) ? "other" : "came");
    now.get(key).closest("details").open = true;
  }
  const gone = went.filter((key) => ![...places([key])].some((place) => places(moved).has(place)));
  const words = [[came.length - moved.length, "came in"], [gone.length, "went out"], [moved.length, "changed"]]
    .filter(([count]) => count).map(([count, word]) => count + " " + word);
  const figures = [];
  for (const [name, value] of figuresOf(result)) {
    const by = value - (before.figures.get(name) ?? value);
    if (by) figures.push(name + " " + (by > 0 ? "+" : "\u2212") + shown(name, Math.abs(by)));
  }
  const sentence = (words.length ? "Lines: " + words.join(", ") + "." : "The set stays as it was.") + (figures.length ? " " + figures.join(", ") + "." : "");
  strip([said("p", sentence)], [button("Undo", () => history.back())]);
}

function shown(name, value) {
  if (name === "parts") return value.toLocaleString("en", { minimumFractionDigits: 2, maximumFractionDigits: 2 });
  if (name !== "labour") return String(value);
  const hours = Math.floor(value / 60);
  return [hours && hours + " h", value % 60 && (value % 60) + " min"].filter(Boolean).join(" ");
}

function said(tag, text) {
  const one = document.createElement(tag);
  one.textContent = text;
  return one;
}

function button(text, act) {
  const one = said("button", text);
  one.type = "button";
  one.className = "quiet";
  one.addEventListener("click", act);
  return one;
}

function strip(words, buttons) {
  let place = document.getElementById("moved");
  if (!place) {
    place = document.createElement("div");
    place.id = "moved";
    place.setAttribute("role", "status");
  }
  place.className = "moved told noprint";
  place.replaceChildren(...words, ...buttons);
  place.hidden = !words.length;
  result.prepend(place);
}

if (form && result) {
  form.addEventListener("submit", (event) => { event.preventDefault(); ask(addressOfForm()); });
  form.addEventListener("change", (event) => {
    if (refilling) return;  // a field that is taken off while somebody types in it calls itself changed
    if (event.target.matches("[data-suggest]") && !event.target.value.trim() && !event.target.defaultValue) return;
    ask(addressOfForm(), { refill: !event.target.matches("[type=checkbox]") });
  });
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[href]");
    const plain = !(event.metaKey || event.ctrlKey || event.shiftKey || event.button);
    if (link && plain && chooses(link)) {
      event.preventDefault();
      if (link.matches(".away")) {  // its address may be older than what was ticked since
        link.closest(".row").querySelector("input").value = "";
        ask(addressOfForm());
        return;
      }
      ask(link.href, { told: !link.matches("[data-look]") });
      return;
    }
    const row = event.target.closest(".set .line > tr:first-child");
    if (row && !event.target.closest("a, summary, button")) {
      const details = row.querySelector("details");
      details.open = !details.open;
    }
  });
  document.addEventListener("pointerover", (event) => rests(event.target));
  document.addEventListener("focusin", (event) => rests(event.target));
  window.addEventListener("popstate", () => {
    if (here() === stands) return;
    stands = here();
    ask(location.href, { keep: false });
  });
}
