/* In the browser's sound thread: a tenth of a second of the microphone at a time, as 16-bit samples with its loudness. */

class Packets extends AudioWorkletProcessor {
  constructor() {
    super();
    this.begin();
  }

  begin() {
    this.samples = new Int16Array(Math.round(sampleRate / 10));
    this.filled = 0;
    this.loudest = 0;
  }

  process([[channel]]) {
    for (const sample of channel ?? []) {
      const bounded = Math.max(-1, Math.min(1, sample));
      this.loudest = Math.max(this.loudest, Math.abs(bounded));
      this.samples[this.filled++] = bounded * 32767;
      if (this.filled === this.samples.length) {
        const { samples, loudest } = this;
        this.port.postMessage({ samples, loudest }, [samples.buffer]);
        this.begin();
      }
    }
    return true;
  }
}

registerProcessor("packets", Packets);
