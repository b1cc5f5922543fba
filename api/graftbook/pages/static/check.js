"use strict";
// What a mistaken line could be becomes a button that writes it there. The page works without this file.

function takeInstead(holder, words) {
  const list = document.getElementById("list");
  const lines = list.value.split("\n");
  const place = Number(holder.dataset.line) - 1;
  if (place >= lines.length) return;
  const wrong = holder.dataset.wrong;
  if (lines[place].includes(wrong)) lines[place] = lines[place].replace(wrong, () => words);
  else if (!/[,;\t]/.test(lines[place])) lines[place] = words;
  list.value = lines.join("\n");
  holder.querySelectorAll("button").forEach((one) => one.setAttribute("aria-pressed", String(one.textContent === words)));
  holder.dataset.wrong = words;
  holder.closest(".leftout").querySelector(".again").hidden = false;
}

document.querySelectorAll(".instead").forEach((holder) => {
  holder.querySelectorAll(".number").forEach((one) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet";
    button.textContent = one.textContent;
    button.addEventListener("click", () => takeInstead(holder, one.textContent));
    one.replaceWith(button);
  });
});
