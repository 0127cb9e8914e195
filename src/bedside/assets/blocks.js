// Gives the microphone's samples on: 50 ms at a time, 16 bits each.
"use strict";

class Blocks extends AudioWorkletProcessor {
  constructor() {
    super();
    this.block = new Int16Array(Math.round(sampleRate / 20));
    this.at = 0;
  }

  process([[samples = []]]) {
    for (const it of samples) {
      this.block[this.at++] = Math.max(-32768, Math.min(32767, Math.round(it * 32768)));
      if (this.at === this.block.length) {
        this.port.postMessage(this.block);
        this.at = 0;
      }
    }
    return true;
  }
}

registerProcessor("blocks", Blocks);
