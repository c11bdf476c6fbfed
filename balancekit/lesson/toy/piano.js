// An octave of keys that sound: a toy. Python says how loud, how bright and how fast each is.
function render({ model, el }) {
  const root = document.createElement("div");
  root.className = "lesson-piano";
  root.setAttribute("data-lm-suppress-shortcuts", "true");
  el.append(root);
  let sound = null, number = 0, holding = 0;

  function strike(note) {
    sound ??= new AudioContext();
    sound.resume();
    const now = sound.currentTime, level = note.gain;
    const voice = sound.createGain(), bright = sound.createBiquadFilter();
    bright.type = "lowpass";
    bright.frequency.value = note.frequency * (1.5 + 7 * level);
    voice.gain.setValueAtTime(0, now);
    voice.gain.linearRampToValueAtTime(0.5 * level, now + 0.004);
    voice.gain.exponentialRampToValueAtTime(1e-4, now + 1.4);
    for (const [part, share] of [[1, 1], [2, 0.5], [3, 0.25], [4, 0.12]]) {
      const tone = sound.createOscillator(), strength = sound.createGain();
      tone.frequency.value = note.frequency * part;
      strength.gain.value = share;
      tone.connect(strength).connect(bright);
      tone.start(now);
      tone.stop(now + 1.5);
    }
    bright.connect(voice).connect(sound.destination);
  }
  function press(at, place) {
    const note = model.get("notes")[place];
    at.classList.add("down");
    setTimeout(() => at.classList.remove("down"), 120);
    if (note.gain > 0) strike(note);
    model.set("played", { key: note.key, gain: note.gain, number: ++number });
    model.save_changes();
  }
  // Held down, a key is struck again as often as it comes back.
  function hold(at, place) {
    release();
    press(at, place);
    const often = model.get("notes")[place].repeats;
    if (often > 0) holding = setInterval(() => press(at, place), 1000 / often);
  }
  function release() { clearInterval(holding); holding = 0; }

  function show() {
    root.replaceChildren();
    model.get("notes").forEach((note, place) => {
      const at = document.createElement("button");
      at.className = `lesson-tone ${note.sharp ? "sharp" : ""}`;
      at.title = note.words;
      at.setAttribute("aria-label", note.words);
      const bar = document.createElement("i");
      bar.style.height = `${Math.round(100 * note.gain)}%`;
      const name = document.createElement("span");
      name.textContent = note.name;
      at.append(bar, name);
      at.addEventListener("pointerdown", (event) => { event.preventDefault(); at.focus(); hold(at, place); });
      for (const kind of ["pointerup", "pointerleave", "blur"]) at.addEventListener(kind, release);
      at.addEventListener("keydown", (event) => {
        if (event.key === "Enter" || event.key === " ") {
          event.preventDefault(); event.stopPropagation();
          if (!event.repeat) hold(at, place);
        }
        const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
        if (step) { event.preventDefault(); event.stopPropagation(); root.children[place + step]?.focus(); }
      });
      at.addEventListener("keyup", release);
      root.append(at);
    });
  }
  async function playAll() {
    for (let place = 0; place < root.children.length; place += 1) {
      press(root.children[place], place);
      await new Promise((done) => setTimeout(done, 260));
    }
  }
  show();
  model.on("change:notes", show);
  model.on("change:all", playAll);
  return () => { release(); sound?.close(); model.off("change:notes", show); model.off("change:all", playAll); };
}
export default { render };
