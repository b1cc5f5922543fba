"use strict";
// A record's form is checked against the catalogue as one types; nothing is stored. Works without this file.

const form = document.querySelector("form.record");
let asked = null;
let later = 0;

async function check() {
  if (asked) asked.abort();
  asked = new AbortController();
  const said = new URLSearchParams([...new FormData(form)].filter(([, value]) => typeof value === "string"));
  said.set("do", "check");
  try {
    const answer = await fetch(form.action, { method: "POST", body: said, signal: asked.signal });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const found = page.getElementById("live"), live = document.getElementById("live");
    if (!found) return;
    const at = live.contains(document.activeElement) ? document.activeElement : null;
    live.replaceChildren(...found.childNodes);
    const same = at && [...live.querySelectorAll("a, button")].find((one) => one.textContent === at.textContent);
    if (same) same.focus({ preventScroll: true });
  } catch (error) {
    if (error.name !== "AbortError") throw error;
  }
}

// An address may lead to one field.
const aimed = document.getElementById(location.hash.slice(1));
if (aimed && form.contains(aimed) && aimed.select) {
  aimed.focus();
  aimed.select();
}

form.addEventListener("change", (event) => {
  if (event.target.id === "why") return;
  clearTimeout(later);
  later = setTimeout(check, 400);
});
