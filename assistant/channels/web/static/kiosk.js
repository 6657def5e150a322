/* The kiosk: what-if while the slider moves, print, and the screen that clears itself. */

import { send } from "/static/swap.js";

const dialog = document.getElementById("idle");
const text = document.getElementById("idle-text");
const clearAfter = Number(dialog.dataset.clear);
const warnBefore = Number(dialog.dataset.warn);
let touched = performance.now();

/* Idle. */

function inUse() {
  return document.querySelector("[data-idle]") !== null;
}

function touch() {
  if (!dialog.open) touched = performance.now();
}

async function clear() {
  const form = document.querySelector("form[action='/clear']");
  try {
    if (form) await send(form);
  } finally {
    location.replace("/");
  }
}

let clearing = false;
function tick() {
  if (!inUse() || clearing) return;
  const left = Math.ceil(clearAfter - (performance.now() - touched) / 1000);
  if (left <= 0) {
    clearing = true;
    clear();
  } else if (left <= warnBefore) {
    text.textContent = text.dataset.text.replace("{n}", left);
    if (!dialog.open) dialog.showModal();
  }
}

for (const kind of ["pointerdown", "keydown", "input", "wheel", "touchmove"]) addEventListener(kind, touch, { passive: true });
for (const kind of ["submit", "cancel", "close"]) dialog.addEventListener(kind, () => { touched = performance.now(); });
document.addEventListener("shown", touch);
document.addEventListener("spoken", touch);
addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
setInterval(tick, 500);

/* What if. */

let waiting = 0;
let asked = 0;
async function suppose(form) {
  const number = ++asked;
  const answer = await send(form);
  const shown = await answer.text();
  if (number !== asked || !answer.ok) return;
  const place = document.getElementById("supposed");
  place?.replaceChildren(...new DOMParser().parseFromString(shown, "text/html").body.childNodes);
}

document.addEventListener("input", (event) => {
  const form = event.target.closest("[data-suppose]");
  if (!form) return;
  const plays = form.querySelector("#plays");
  form.querySelector("#plays-now").textContent = plays.value;
  clearTimeout(waiting);
  waiting = setTimeout(() => suppose(form).catch(() => {}), 120);
});
document.addEventListener("submit", (event) => {
  if (!event.target.matches("[data-suppose]")) return;
  event.preventDefault();
  suppose(event.target).catch(() => {});
});

/* Print. */

function offerPrint() {
  for (const button of document.querySelectorAll("[data-print]")) button.hidden = false;
}
document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) print();
});
document.addEventListener("shown", offerPrint);
offerPrint();
