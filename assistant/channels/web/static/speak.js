/* The microphone: one utterance a press, sent to this server alone; its words go into the form as if they were typed. */

import { address, hearer, letGo, offer, place, possible, press, sendPackets, tell } from "/static/sound.js";

let open = null;
let allowed = possible();

function close(ear) {
  if (open === ear) open = null;
  letGo(ear);
  press(ear.form, "speak", false);
}

function fail(ear, text) {
  if (ear.closed) return;
  close(ear);
  tell(ear.form, text);
}

function refuse(ear, error) {
  const words = place(ear.form).dataset;
  // Asked once and refused: the button would be a dead one from here on.
  if (error.name === "NotAllowedError" || error.name === "NotFoundError") {
    allowed = Promise.resolve(false);
    offer("speak", allowed);
    ear.form.querySelector("#text").focus();
  }
  fail(ear, { NotAllowedError: words.refused, NotFoundError: words.missing }[error.name] ?? words.lost);
}

function take(ear, message) {
  const words = place(ear.form).dataset;
  document.dispatchEvent(new CustomEvent("spoken"));
  if (message.kind === "ready") tell(ear.form, words.listening);
  else if (message.kind === "started") tell(ear.form, words.hearing);
  else if (message.kind === "again") tell(ear.form, message.says);
  else if (message.kind === "ended") fail(ear, message.says);
  else if (message.kind === "heard") answer(ear, message);
  ear.ready = ear.ready || message.kind === "ready";
}

function answer(ear, message) {
  const { form } = ear;
  close(ear);
  tell(form, place(form).dataset.heard.replace("{text}", message.text));
  form.querySelector("#text").value = message.text;
  const fields = [["spoken", "1"], ["doubted", message.doubted.join(",")]].map(([name, value]) =>
    Object.assign(document.createElement("input"), { type: "hidden", name, value }),
  );
  form.append(...fields);
  form.requestSubmit();
  fields.forEach((field) => field.remove()); // what is typed next was not spoken
}

function connect(ear) {
  const { form, context, node } = ear;
  const socket = new WebSocket(address("/hear"));
  ear.socket = socket;
  socket.addEventListener("open", () => {
    const fields = form.elements;
    socket.send(JSON.stringify({ rate: context.sampleRate, token: fields.token.value, start: fields.start?.value ?? "" }));
  });
  socket.addEventListener("message", (event) => take(ear, JSON.parse(event.data)));
  socket.addEventListener("close", () => fail(ear, place(form).dataset.lost));
  sendPackets(node, socket, place(form).querySelector("meter"), () => ear.ready);
}

async function listen(form) {
  const ear = { form };
  open = ear;
  press(form, "speak", true);
  tell(form, place(form).dataset.waiting);
  try {
    ear.stream = await navigator.mediaDevices.getUserMedia({ audio: { channelCount: 1, echoCancellation: true, noiseSuppression: true, autoGainControl: true } });
    if (ear.closed) return ear.stream.getTracks().forEach((track) => track.stop());
    Object.assign(ear, await hearer(ear.stream));
    if (ear.closed) return ear.context.close();
    connect(ear);
  } catch (error) {
    refuse(ear, error);
  }
}

function finish(ear) {
  if (!ear.ready) {
    close(ear);
    place(ear.form).hidden = true;
    return;
  }
  ear.stream.getTracks().forEach((track) => track.stop());
  ear.socket.send("end");
  tell(ear.form, place(ear.form).dataset.waiting);
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-speak]");
  if (!button) return;
  if (open) finish(open);
  else listen(button.form);
});
document.addEventListener("shown", () => {
  if (open) close(open);
  offer("speak", allowed);
});
addEventListener("pagehide", () => {
  if (open) close(open);
});
offer("speak", allowed);
