// What an electronic scale shows, a button that takes it, and what is asked for said aloud.
// A number of the scale goes into the field as a typed one does: `put` takes it, or says why not.

/**
 * @param {any} model
 * @param {string} page that is told a number to take; another page of the same kernel is not
 * @param {{last: string}} offered the last number that a view of this page took
 * @param {(text: string, at: {key: number, column: number}) => string} put
 */
function scaleLine(model, page, offered, put) {
  const digits = element("span", { class: "bench-one-digits" });
  const state = element("span", { class: "bench-one-state" });
  const takeIt = element("button", { type: "button", class: "bench-one-take", text: "Take it" });
  const words = element("div", { class: "bench-one-said bad", role: "status", "aria-live": "polite" });
  const scale = element("div", { class: "bench-one-scale" },
    element("div", { class: "bench-one-line" }, digits, state, takeIt), words);
  const aloud = /** @type {HTMLInputElement} */ (element("input", { type: "checkbox" }));
  const label = element("label", { class: "bench-one-aloud" }, aloud,
    " Say aloud which reading is asked for");
  label.hidden = !window.speechSynthesis;
  let asked = "", loss = "";

  function speak(text) {
    if (!aloud.checked || !text) return;
    window.speechSynthesis.cancel();
    window.speechSynthesis.speak(new SpeechSynthesisUtterance(text));
  }
  function show() {
    const now = model.get("scale") ?? {};
    scale.hidden = !now.state;
    digits.textContent = now.text ? `${now.text} g` : "–";
    state.textContent = now.state ?? "";
    digits.classList.toggle("rests", now.state === "steady");
    words.textContent = now.words ?? "";
    if (now.loss && now.loss !== loss) speak(now.loss);
    loss = now.loss ?? "";
  }
  const here = () => model.send({ kind: "here", page });
  aloud.addEventListener("change", () => {
    if (aloud.checked) speak(asked);
    else window.speechSynthesis.cancel();
  });
  takeIt.addEventListener("click", () => {
    here();
    model.send({ kind: "take", text: model.get("scale").text });
  });
  /** Take a number that the kernel offers, once in this page. @param {any} offer */
  function heard(offer) {
    if (offer.kind !== "offer" || offer.page !== page || offer.id === offered.last) return;
    offered.last = offer.id;
    model.send({ kind: "offered", id: offer.id, why: put(offer.text, offer.at) });
  }
  model.on("change:scale", show);
  model.on("msg:custom", heard);
  here();
  show();
  return {
    nodes: [scale, label],
    here,
    /** Say which reading is asked for, once. @param {string} text */
    asks(text) {
      if (text === asked) return;
      asked = text;
      speak(text);
    },
    end() {
      model.off("change:scale", show);
      model.off("msg:custom", heard);
      if (aloud.checked) window.speechSynthesis.cancel();
    },
  };
}
