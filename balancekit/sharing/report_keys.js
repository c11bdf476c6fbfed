// The key in hand on each chart: arrows step from key to key and say its numbers, with Shift they
// mark a range, a press on the chart takes the key there. The numbers are those of its table.
(() => {
  const minus = (text) => text.replace("-", "\u2212");

  const viewOf = (plot) => Object.values(Bokeh.index.roots ?? Bokeh.index)
    .find((view) => plot.contains(view.el));

  const keysOf = (figure) => {
    const table = figure.querySelector("details table");
    const headings = [...(table?.tHead?.rows[0]?.cells ?? [])].map((cell) => cell.textContent);
    if (headings[0] !== "Key") return [];
    return [...table.tBodies[0].rows].map((row) => ({ key: Number(row.cells[0].textContent), row,
      headings }));
  };

  const numbers = ({ row, headings }) => [...row.cells].slice(2)
    .map((cell, place) => [headings[place + 2], cell.textContent.trim()])
    .filter((pair) => pair[1] !== "")
    .map(([heading, text]) => (heading === "\u00b1" ? `\u00b1 ${text}` : `${heading} ${text}`))
    .join(", ");

  const charts = [];
  const start = (figure) => {
    const plot = figure.querySelector(".plot");
    const keys = keysOf(figure);
    if (!keys.length) return;
    const range = { at: Math.floor(keys.length / 2), from: Math.floor(keys.length / 2) };
    const told = document.createElement("div");
    told.className = "key-in-hand screen-only";
    told.tabIndex = 0;
    told.setAttribute("role", "slider");
    told.setAttribute("aria-label",
      `Key in hand on the chart ${figure.querySelector("caption")?.textContent ?? ""}`);
    told.setAttribute("aria-valuemin", String(keys[0].key));
    told.setAttribute("aria-valuemax", String(keys[keys.length - 1].key));
    const mark = document.createElement("div");
    mark.className = "key-mark";
    plot.after(told);
    plot.append(mark);

    const ends = () => {
      const low = keys[Math.min(range.at, range.from)].key;
      return [low, keys[Math.max(range.at, range.from)].key];
    };
    const place = () => {
      const view = viewOf(plot);
      if (!view) return;
      const [low, high] = ends();
      const scale = view.frame.x_scale;
      const box = view.frame.bbox;
      const left = scale.compute(low - 0.5);
      Object.assign(mark.style, { left: `${left}px`, top: `${box.top}px`,
        width: `${scale.compute(high + 0.5) - left}px`, height: `${box.height}px` });
    };
    const show = () => {
      const hand = keys[range.at];
      const [low, high] = ends();
      const name = hand.row.cells[1].textContent;
      const marked = low === high ? "" : `; keys ${low} to ${high} marked`;
      const text = minus(`Key ${hand.key}, ${name}: ${numbers(hand) || "not read"}${marked}`);
      told.textContent = text;
      told.setAttribute("aria-valuenow", String(hand.key));
      told.setAttribute("aria-valuetext", text);
      place();
    };
    const go = (to, extend) => {
      range.at = Math.max(0, Math.min(keys.length - 1, to));
      if (!extend) range.from = range.at;
      show();
    };
    told.addEventListener("keydown", (event) => {
      const steps = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 12,
        PageDown: -12, Home: -keys.length, End: keys.length };
      if (!(event.key in steps)) return;
      event.preventDefault();
      go(range.at + steps[event.key], event.shiftKey);
    });
    plot.addEventListener("click", (event) => {
      const view = viewOf(plot);
      if (!view) return;
      const key = view.frame.x_scale.invert(event.clientX - view.el.getBoundingClientRect().left);
      const near = keys.reduce((best, each, at) => (
        Math.abs(each.key - key) < Math.abs(keys[best].key - key) ? at : best), 0);
      go(near, event.shiftKey);
    });
    show();
    charts.push({ figure, told, ends, place, quantity: figure.dataset.quantity });
  };

  window.balancekitKeys = window.balancekitCharts.then(() => {
    document.querySelectorAll("figure.chart").forEach(start);
    window.addEventListener("resize", () => {
      setTimeout(() => charts.forEach((chart) => chart.place()), 300);
    });
    document.addEventListener("toggle", () => charts.forEach((chart) => chart.place()), true);
    return charts;
  });
})();
