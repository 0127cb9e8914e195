// Gives this device's microphone to the round, and plays what Sayback says.
"use strict";
(() => {
  const bar = document.getElementById("sound");
  const button = bar.querySelector("button");
  const words = bar.querySelector("p");
  // More waits to be sent only where the connection stands still: a second of sound.
  const MOST = 100_000;
  const AGAIN = 1000;
  let context = null;
  let microphone = null;
  let socket = null;

  // "off", "asked", "on" or "lost".
  function show(state, text) {
    bar.dataset.state = state;
    words.textContent = text;
    button.hidden = state !== "off";
  }

  function stop(text) {
    for (const it of microphone?.getTracks() ?? []) it.stop();
    microphone = null;
    context?.close();
    context = null;
    socket?.close();
    show("off", text);
  }

  async function take() {
    if (!navigator.mediaDevices) return show("off", "No browser gives its microphone to this address: open it by https, or on Sayback's own machine.");
    show("asked", "Allow the microphone.");
    try {
      // As it is: what would make it nicer for people takes words from the recogniser.
      const audio = { channelCount: 1, echoCancellation: false, noiseSuppression: false, autoGainControl: false };
      microphone = await navigator.mediaDevices.getUserMedia({ audio });
      context = new AudioContext();
      await context.audioWorklet.addModule("/blocks.js");
      await context.resume();
      const blocks = new AudioWorkletNode(context, "blocks", { numberOfOutputs: 0 });
      blocks.port.addEventListener("message", ({ data }) => {
        if (socket?.readyState === WebSocket.OPEN && socket.bufferedAmount < MOST) socket.send(data);
      });
      blocks.port.start();
      context.createMediaStreamSource(microphone).connect(blocks);
      microphone.getTracks()[0].addEventListener("ended", () => stop("The microphone was taken away."));
    } catch (error) {
      return stop("The microphone can't be used: " + error.message);
    }
    connect();
    stayAwake();
  }

  function connect() {
    if (!context) return;
    const mine = new WebSocket(location.origin.replace(/^http/, "ws") + "/sound");
    let over = { why: "", again: true };
    socket = mine;
    mine.binaryType = "arraybuffer";
    mine.addEventListener("open", () => {
      mine.send(JSON.stringify({ rate: context.sampleRate }));
      show("on", "");
    });
    mine.addEventListener("message", ({ data }) => {
      if (typeof data === "string") over = JSON.parse(data);
      else play(data, mine);
    });
    mine.addEventListener("close", () => {
      if (!context || socket !== mine) return;
      if (!over.again) return stop(over.why);
      show("lost", "No connection to Sayback. Trying again.");
      setTimeout(connect, AGAIN);
    });
  }

  // A sound comes with its number and its samples a second. Sayback is told how long ago
  // its first and its last sample were heard.
  function play(data, from) {
    const head = new DataView(data);
    const played = head.getUint32(0, true);
    const samples = Float32Array.from(new Int16Array(data, 8), (it) => it / 32768);
    const sound = context.createBuffer(1, Math.max(1, samples.length), head.getUint32(4, true));
    sound.copyToChannel(samples, 0);
    const source = context.createBufferSource();
    source.buffer = sound;
    source.connect(context.destination);
    const begins = context.currentTime + 0.01;
    source.start(begins);
    source.addEventListener("ended", () => {
      // What has left the page is still on its way to the loudspeaker.
      const late = context?.outputLatency || context?.baseLatency || 0;
      setTimeout(() => {
        if (!context || from.readyState !== WebSocket.OPEN) return;
        const first = 1000 * (context.currentTime - late - begins);
        from.send(JSON.stringify({ played, first, last: first - 1000 * sound.duration }));
      }, 1000 * late);
    });
  }

  // A screen that goes dark takes the microphone with it.
  async function stayAwake() {
    if (!context || document.visibilityState !== "visible") return;
    try {
      await navigator.wakeLock?.request("screen");
    } catch {
      // The battery is low; whoever touches the screen wakes it.
    }
  }
  document.addEventListener("visibilitychange", stayAwake);

  button.addEventListener("click", take);
  show("off", "");
  bar.hidden = false;
})();
