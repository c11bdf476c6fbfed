// The numbers of a chart, folded below it. They are asked for only while the fold is open.

function render({ model, el }) {
  const fold = document.createElement("details");
  fold.className = "bench-numbers";
  const summary = document.createElement("summary");
  summary.textContent = "The same numbers as a table";
  const place = document.createElement("div");
  place.className = "bench-words bench-numbers-place";
  place.tabIndex = 0;
  place.setAttribute("role", "region");
  place.setAttribute("aria-label", "Numbers of the chart");
  fold.append(summary, place);
  const tell = () => model.send({ kind: "open", open: fold.open });
  const heard = (content) => { if (content.kind === "table") place.innerHTML = content.html; };
  fold.addEventListener("toggle", tell);
  model.on("msg:custom", heard);
  el.append(fold);
  return () => model.off("msg:custom", heard);
}

export default { render };
