// An answer kept to lay another one beside it: as long as this tab is open, and in this browser alone.

const PINNED = "graftbook.pinned";

function pinned() {
  try {
    const address = new URL(sessionStorage.getItem(PINNED) || "", location.origin);
    return address.origin === location.origin && address.pathname === "/answer" && address.searchParams.get("chassis") ? address : null;
  } catch { return null; }
}

function comparing(address) {
  const beside = new URL(location.pathname === "/compare" ? location.href : location.origin + "/compare" + location.search);
  for (const name of ["beside", "other", "then"]) beside.searchParams.delete(name);
  beside.searchParams.set("beside", address.search.slice(1));
  return beside.pathname + beside.search;
}

function keep(address) {
  try { sessionStorage.setItem(PINNED, address); } catch { return; }
  show();
}

function show() {
  const address = pinned();
  const here = address && address.search === location.search;
  for (const place of document.querySelectorAll("[data-pinned]")) {
    place.querySelectorAll("a").forEach((link) => link.remove());
    place.hidden = !address || here;
    if (place.hidden) continue;
    const link = document.createElement("a");
    link.className = "button quiet";
    link.href = comparing(address);
    link.textContent = "Compare with the pinned " + address.searchParams.get("chassis");
    place.append(link);
  }
  for (const button of document.querySelectorAll("button[data-pin]")) {
    button.hidden = false;
    button.textContent = here ? "Pinned" : "Pin";
    button.setAttribute("aria-pressed", String(Boolean(here)));
  }
}

document.addEventListener("click", (event) => {
  if (event.target.closest("button[data-pin]")) keep(location.pathname + location.search);
});
show();
// The bench puts another answer in place of this one.
const result = document.getElementById("result");
if (result) new MutationObserver((changes) => { if (changes.some((change) => change.target === result)) show(); }).observe(result, { childList: true });
