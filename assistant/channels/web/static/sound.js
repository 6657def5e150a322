/* What every page with a microphone needs: whether there may be one, and how its sound leaves the browser. */

const RATE = 16000;

export async function possible() {
  if (!navigator.mediaDevices?.getUserMedia || !window.AudioWorkletNode) return false;
  try {
    return (await navigator.permissions.query({ name: "microphone" })).state !== "denied";
  } catch {
    return true; // a browser that cannot be asked beforehand is asked by the press
  }
}

/* The button of a form, by what it is called: data-speak, data-taps; its words stand in it, the form's in .hearing. */
export async function offer(name, allowed) {
  const can = await allowed;
  for (const button of document.querySelectorAll(`[data-${name}]`)) button.hidden = !can;
}

export function place(form) {
  return form.querySelector(".hearing");
}

export function tell(form, text) {
  place(form).hidden = false;
  place(form).querySelector("[role=status]").textContent = text;
}

export function press(form, name, pressed) {
  const button = form.querySelector(`[data-${name}]`);
  button.setAttribute("aria-pressed", pressed);
  button.querySelector("span").textContent = pressed ? button.dataset.stop : button.dataset[name];
  place(form).classList.toggle("on", pressed);
}

export function letGo(ear) {
  ear.closed = true;
  ear.stream?.getTracks().forEach((track) => track.stop());
  ear.context?.close().catch(() => {});
  ear.socket?.close();
}

export function address(path) {
  return `${location.protocol === "https:" ? "wss" : "ws"}://${location.host}${path}`;
}

export async function hearer(stream) {
  let context = new AudioContext({ sampleRate: RATE });
  let source;
  try {
    source = context.createMediaStreamSource(stream);
  } catch {
    await context.close(); // some browsers take a microphone at its own rate only
    context = new AudioContext();
    source = context.createMediaStreamSource(stream);
  }
  await context.audioWorklet.addModule("/static/packets.js");
  const node = new AudioWorkletNode(context, "packets", { numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit" });
  source.connect(node);
  return { context, node };
}

export function sendPackets(node, socket, meter, ready) {
  node.port.onmessage = ({ data }) => {
    meter.value = Math.sqrt(data.loudest);
    if (ready() && socket.readyState === WebSocket.OPEN) socket.send(data.samples);
  };
}
