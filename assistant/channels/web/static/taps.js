/* Taps on a fresh stringbed: heard by this server alone, their figures go into the reading's own field. */

import { address, hearer, possible, sendPackets } from "/static/sound.js";

let open = null;
let allowed = possible();

async function offer() {
  const can = await allowed;
  for (const button of document.querySelectorAll("[data-taps]")) button.hidden = !can;
}

function tell(form, text) {
  const box = form.querySelector(".hearing");
  box.hidden = false;
  box.querySelector("[role=status]").textContent = text;
}

function press(form, pressed) {
  const button = form.querySelector("[data-taps]");
  button.setAttribute("aria-pressed", pressed);
  button.querySelector("span").textContent = pressed ? button.dataset.stop : button.dataset.taps;
  form.querySelector(".hearing").classList.toggle("on", pressed);
}

function close(ear, says) {
  if (ear.closed) return;
  ear.closed = true;
  if (open === ear) open = null;
  ear.stream?.getTracks().forEach((track) => track.stop());
  ear.context?.close().catch(() => {});
  ear.socket?.close();
  press(ear.form, false);
  if (says) tell(ear.form, says);
}

function take(ear, message) {
  const { form } = ear;
  if (message.kind === "ready") {
    ear.ready = true;
    tell(form, form.querySelector(".hearing").dataset.listening);
    return;
  }
  if (message.kind === "heard") {
    form.elements.values.value = message.values;
    form.elements.kind.value = "frequency";
  }
  close(ear, message.says);
  if (message.kind === "heard") form.elements.values.focus();
}

async function listen(form) {
  const ear = { form };
  const words = form.querySelector(".hearing").dataset;
  open = ear;
  press(form, true);
  tell(form, words.waiting);
  try {
    // A tone that dies away is what such improvers take for an echo or for noise.
    const plain = { channelCount: 1, echoCancellation: false, noiseSuppression: false, autoGainControl: false };
    ear.stream = await navigator.mediaDevices.getUserMedia({ audio: plain });
    if (ear.closed) return ear.stream.getTracks().forEach((track) => track.stop());
    Object.assign(ear, await hearer(ear.stream));
    if (ear.closed) return ear.context.close();
    ear.socket = new WebSocket(address("/board/taps"));
    ear.socket.addEventListener("open", () => {
      ear.socket.send(JSON.stringify({ rate: ear.context.sampleRate, token: form.elements.token.value }));
    });
    ear.socket.addEventListener("message", (event) => take(ear, JSON.parse(event.data)));
    ear.socket.addEventListener("close", () => close(ear, words.lost));
    sendPackets(ear.node, ear.socket, form.querySelector("meter"), () => ear.ready);
  } catch (error) {
    if (error.name === "NotAllowedError" || error.name === "NotFoundError") {
      allowed = Promise.resolve(false);
      offer();
      form.elements.values.focus();
    }
    close(ear, { NotAllowedError: words.refused, NotFoundError: words.missing }[error.name] ?? words.lost);
  }
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-taps]");
  if (!button) return;
  if (!open) listen(button.form);
  else if (open.ready) open.socket.send("end");
  else close(open, open.form.querySelector(".hearing").dataset.lost);
});
document.addEventListener("shown", () => {
  if (open) close(open);
  offer();
});
addEventListener("pagehide", () => {
  if (open) close(open);
});
offer();
