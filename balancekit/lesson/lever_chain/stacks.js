// Grams as stacks: bars of parts, one below the other, on one scale.
function render({ model, el }) {
  const root = document.createElement("div");
  root.className = "lesson-stacks";
  root.setAttribute("role", "img");
  el.appendChild(root);
  const part = (name, words = "") => {
    const node = document.createElement("div");
    node.className = name;
    node.textContent = words;
    return node;
  };
  function show() {
    const most = model.get("most"), zone = model.get("zone"), bars = model.get("bars");
    const guesses = model.get("marks").filter((mark) => mark.side === "guess");
    const share = (value) => `${Math.max(0, Math.min(100, 100 * value / most))}%`;
    root.setAttribute("aria-label", model.get("words"));
    root.replaceChildren();
    for (const bar of bars) {
      const row = part("lesson-bar"), track = part("lesson-track");
      const name = part("lesson-bar-name", bar.name);
      const total = document.createElement("b");
      total.textContent = bar.total;
      name.append(total);
      if (zone.length === 2) {
        for (const kind of ["lesson-zone", "lesson-zone edges"]) {
          const band = part(kind);
          band.style.left = share(zone[0]);
          band.style.width = `calc(${share(zone[1])} - ${share(zone[0])})`;
          track.append(band);
        }
      }
      for (const piece of bar.parts) {
        const block = part(`lesson-block ${piece.look}`);
        block.style.width = share(piece.size);
        block.title = `${piece.name}: ${piece.text}`;
        block.append(part("lesson-block-name", piece.name), part("lesson-block-size", piece.text));
        track.append(block);
      }
      for (const mark of guesses) {
        const line = part("lesson-guess");
        line.style.left = share(mark.at);
        track.append(line);
      }
      row.append(name, track);
      root.append(row);
    }
    const axis = part("lesson-foot"), line = part("lesson-axis");
    const step = most > 120 ? 50 : 10;
    for (let at = 0; at <= most + 1e-9; at += step) {
      const tick = part("lesson-axis-tick", `${at}${at + step > most ? " g" : ""}`);
      tick.style.left = share(at);
      line.append(tick);
    }
    axis.append(part("lesson-bar-name", "at the finger"), line);
    root.append(axis);
    // A guess has a line of its own, so that its word covers no other.
    for (const marks of [guesses, model.get("marks").filter((mark) => mark.side !== "guess")]) {
      const foot = part("lesson-foot"), space = part(`lesson-scale ${marks === guesses ? "low" : ""}`);
      for (const mark of marks) {
        const tick = part(`lesson-tick ${mark.side}`, mark.text);
        tick.style.left = share(mark.at);
        space.append(tick);
      }
      foot.append(part("lesson-bar-name"), space);
      if (marks.length) root.append(foot);
    }
    fit();
  }
  // A word that does not fit is left out; the number as well, where it has no room either.
  function fit() {
    for (const track of root.querySelectorAll(".lesson-track")) {
      for (const block of track.querySelectorAll(".lesson-block")) {
        const wide = parseFloat(block.style.width) / 100 * track.clientWidth;
        block.classList.toggle("tight", wide < 66);
        block.classList.toggle("narrow", wide < 52);
      }
    }
  }
  const watch = new ResizeObserver(fit);
  watch.observe(root);
  show();
  const names = ["bars", "zone", "marks", "most", "words"];
  for (const name of names) model.on(`change:${name}`, show);
  return () => { watch.disconnect(); for (const name of names) model.off(`change:${name}`, show); };
}
export default { render };
