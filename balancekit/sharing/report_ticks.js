// The ticks of the sheets: kept in this browser for this report, with how far the work is.
(() => {
  const kept = balancekitStore.read("ticks", {});
  document.querySelectorAll("section.sheet").forEach((sheet) => {
    const boxes = [...sheet.querySelectorAll(".tick input")];
    if (!boxes.length) return;
    const said = document.createElement("p");
    said.className = "totals screen-only";
    said.setAttribute("aria-live", "polite");
    sheet.querySelector(".table-box").before(said);
    const say = () => {
      const done = boxes.filter((box) => box.checked).length;
      said.textContent = `${done} of ${boxes.length} done.`;
    };
    boxes.forEach((box, row) => {
      const name = `${sheet.id} ${row}`;
      box.checked = kept[name] === true;
      box.addEventListener("change", () => {
        kept[name] = box.checked;
        if (!balancekitStore.write("ticks", kept)) {
          said.textContent = "This browser keeps no ticks: print the sheet instead.";
          return;
        }
        say();
      });
    });
    say();
  });

  // Paper shows what is folded; after that it is folded again.
  let opened = [];
  window.addEventListener("beforeprint", () => {
    opened = [...document.querySelectorAll("details:not([open])")];
    opened.forEach((part) => { part.open = true; });
  });
  window.addEventListener("afterprint", () => {
    opened.forEach((part) => { part.open = false; });
  });
})();
