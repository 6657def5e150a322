/* Sends forms without leaving the page and puts the answer in the place of the main part. */

const main = document.getElementById("main");
const alarm = document.getElementById("alarm");

export function part(text) {
  const page = new DOMParser().parseFromString(text, "text/html");
  return page.querySelector("[data-part]");
}

export function show(text, focus = true) {
  const found = part(text);
  if (!found) {
    location.reload();
    return;
  }
  document.title = found.dataset.title;
  main.replaceChildren(...found.childNodes);
  if (found.dataset.change) main.dataset.change = found.dataset.change;
  alarm.textContent = "";
  if (focus) {
    main.querySelector("[data-focus]")?.focus({ preventScroll: true });
    scrollTo(0, 0);
  }
  document.dispatchEvent(new CustomEvent("shown"));
}

export async function send(form, submitter) {
  const body = new URLSearchParams(new FormData(form, submitter));
  return fetch(form.action, { method: "POST", body, headers: { "X-Part": "1" }, redirect: "follow" });
}

async function submit(form, submitter) {
  if (main.getAttribute("aria-busy") === "true") return;
  main.setAttribute("aria-busy", "true");
  try {
    const answer = await send(form, submitter);
    const here = new URL(answer.url).pathname;
    if (answer.status === 401) location.assign("/board/sign-in");
    else show(await answer.text());
    if (answer.redirected) history.replaceState(null, "", here);
  } catch {
    alarm.textContent = alarm.dataset.offline;
  } finally {
    main.removeAttribute("aria-busy");
  }
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches("[data-swap]")) return;
  event.preventDefault();
  submit(form, event.submitter);
});

document.documentElement.classList.add("scripted");
