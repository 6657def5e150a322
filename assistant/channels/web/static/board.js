/* The board: shows again what another counter changed, unless somebody is in the middle of a form. */

import { show } from "/static/swap.js";

const main = document.getElementById("main");
const button = document.getElementById("changed");
let latest = 0;

function here() {
  return main.querySelector("[data-here]")?.dataset.here ?? location.pathname;
}

function untouched() {
  if (main.querySelector("[data-said]")) return false;
  if (main.contains(document.activeElement) && document.activeElement.matches("input, select, textarea")) return false;
  return [...main.querySelectorAll("form")].every((form) =>
    [...form.elements].every((field) => {
      if (field.type === "checkbox" || field.type === "radio") return field.checked === field.defaultChecked;
      if (field.tagName === "SELECT") return [...field.options].every((one) => one.selected === one.defaultSelected || !field.querySelector("[selected]"));
      return field.value === field.defaultValue || field.tagName === "BUTTON";
    }),
  );
}

async function refresh() {
  const answer = await fetch(here(), { headers: { "X-Part": "1" } });
  if (answer.status === 401) {
    location.assign("/board/sign-in");
    return;
  }
  if (!answer.ok) return;
  const top = scrollY;
  const focused = document.activeElement?.getAttribute("href");
  show(await answer.text(), false);
  button.hidden = true;
  scrollTo(0, top);
  if (focused) main.querySelector(`a[href="${CSS.escape(focused)}"]`)?.focus({ preventScroll: true });
}

/* What this page did itself it shows already, as soon as its own answer has come. */
function catchUp() {
  if (main.getAttribute("aria-busy") === "true") return;
  const behind = latest > Number(main.dataset.change);
  if (behind && untouched()) refresh().catch(() => {});
  else button.hidden = !behind;
}

function changed({ data }) {
  latest = Math.max(latest, Number(data.split(" ")[1]));
  catchUp();
}

function listen(pause = 1000) {
  const socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/board/live?shown=${main.dataset.change}`);
  socket.addEventListener("open", () => {
    pause = 1000;
    main.dataset.live = "on";
  });
  socket.addEventListener("message", changed);
  socket.addEventListener("close", () => {
    main.dataset.live = "off";
    setTimeout(() => listen(Math.min(pause * 2, 30000)), pause);
  });
}

document.addEventListener("shown", () => {
  const path = main.querySelector("[data-here]")?.dataset.here;
  if (path && path !== location.pathname) history.replaceState(null, "", path);
  button.hidden = latest <= Number(main.dataset.change);
});
if (main.hasAttribute("data-live")) {
  button.addEventListener("click", () => refresh().catch(() => {}));
  listen();
}
