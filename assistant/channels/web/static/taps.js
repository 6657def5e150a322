/* Taps on a fresh stringbed: heard by this server alone, their figures go into the reading's own field. */

import { address, hearer, letGo, offer, place, possible, press, sendPackets, tell } from "/static/sound.js";

let open = null;
let allowed = possible();

function close(ear, says) {
  if (ear.closed) return;
  if (open === ear) open = null;
  letGo(ear);
  press(ear.form, "taps", false);
  if (says) tell(ear.form, says);
}

function take(ear, message) {
  const { form } = ear;
  if (message.kind === "ready") {
    ear.ready = true;
    tell(form, place(form).dataset.listening);
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
  const words = place(form).dataset;
  open = ear;
  press(form, "taps", true);
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
      offer("taps", allowed);
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
  else close(open, place(open.form).dataset.lost);
});
document.addEventListener("shown", () => {
  if (open) close(open);
  offer("taps", allowed);
});
addEventListener("pagehide", () => {
  if (open) close(open);
});
offer("taps", allowed);
