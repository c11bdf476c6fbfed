// The living parts of a report: it draws the charts, and works out the front weight that the
// sliders ask for, with the same formula as what_if.py.
(() => {
  const read = (id) => {
    const block = document.getElementById(id);
    return block ? JSON.parse(block.textContent) : null;
  };
  const charts = read("charts");
  const items = [{ docid: "report", roots: charts.roots, root_ids: Object.keys(charts.roots) }];
  passByOnTab(".plot");
  window.balancekitCharts = Bokeh.embed.embed_items({ report: charts.document }, items);

  const given = read("what-if");
  if (!given) return;
  const sliders = {
    balance: document.getElementById("slider-balance"),
    relief: document.getElementById("slider-relief"),
    hammer: document.getElementById("slider-hammer"),
  };
  const minus = (text) => text.replace("-", "\u2212");
  const grams = (value, digits = 1) => `${minus(value.toFixed(digits))} g`;
  const known = (value) => value !== null && !Number.isNaN(value);

  // lifted - wanted balance weight - spring relief, as in solve_for_front_weight
  const needed = (wish) => given.keys.map((_, place) => {
    const parts = [given.wippen_weight_g, given.key_ratio, given.strike_weight_g,
      given.action_ratio, given.spring_relief_g].map((column) => column[place]);
    if (!parts.every(known)) return null;
    const [wippen, keyRatio, strike, ratio, relief] = parts;
    const lifted = wippen * keyRatio + (strike + wish.hammer) * ratio;
    return lifted - wish.balance - (relief + wish.relief);
  });

  const sentence = (front) => {
    const keys = given.keys.filter((_, place) => known(front[place]));
    const values = front.filter(known);
    if (!values.length) return "No key can be worked out.";
    const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
    const highest = Math.max(...values);
    const most = keys[values.indexOf(highest)];
    const above = values.filter((value) => value > given.highest_g).length;
    const below = values.filter((value) => value < 0).length;
    const pairs = front.map((value, place) => [value, given.front_weight_g[place]])
      .filter(([now, found]) => known(now) && known(found));
    const more = pairs.reduce((sum, [now, found]) => sum + now - found, 0) / (pairs.length || 1);
    const change = `${grams(Math.abs(more))} ${more < 0 ? "less" : "more"} than as found`;
    return `Front weight needed: ${grams(mean)} on average, ${change}. Highest `
      + `${grams(highest)} at key ${most}; ${above} keys above ${grams(given.highest_g, 0)}, `
      + `${below} below 0.`;
  };

  const answer = document.getElementById("what-if-answer");
  const rows = [...document.querySelectorAll("#what-if-table tbody tr")];
  const source = () => {
    for (const doc of Bokeh.documents) {
      const found = doc.get_model_by_name("front weight needed");
      if (found) return found;
    }
    return null;
  };

  const draw = (front) => {
    const line = source();
    if (!line) return;
    const shown = given.keys.map((key, place) => [key, front[place]]).filter((p) => known(p[1]));
    line.data = { key: shown.map((pair) => pair[0]), y: shown.map((pair) => pair[1]) };
  };

  const show = () => {
    const wish = Object.fromEntries(
      Object.entries(sliders).map(([name, slider]) => [name, Number(slider.value)]));
    for (const [name, slider] of Object.entries(sliders)) {
      const sign = name === "balance" || wish[name] <= 0 ? "" : "+";
      const text = sign + grams(wish[name]);
      document.getElementById(`${slider.id}-value`).textContent = text;
      slider.setAttribute("aria-valuetext", text);
    }
    const stand = Object.entries(sliders).map(([name, slider]) => {
      const label = slider.closest("label").querySelector("span").textContent;
      return `${label} ${minus(wish[name].toFixed(1))}`;
    });
    document.getElementById("slider-state").textContent = `The sliders stand at: ${stand.join("; ")}.`;
    const front = needed(wish);
    window.balancekitNeeded = front;
    answer.textContent = sentence(front);
    rows.forEach((row, place) => {
      row.cells[3].textContent = known(front[place]) ? minus(front[place].toFixed(1)) : "";
    });
    draw(front);
  };

  Object.values(sliders).forEach((slider) => slider.addEventListener("input", show));
  document.getElementById("what-if-back").addEventListener("click", () => {
    Object.values(sliders).forEach((slider) => { slider.value = slider.defaultValue; });
    show();
  });
  window.balancekitCharts.then(show);
})();
