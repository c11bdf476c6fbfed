// A note on what is in hand: a line, or a text of several lines.
// The text belongs to the key or chapter whose name stood beside it when its first character was
// typed. While it is typed the field stays with that one, whatever comes in hand meanwhile.

export default () => {
  const views = new EntryViews(), { outbox } = views;

  function render({ model, el }) {
    const lines = model.get("lines");
    const label = element("span", { class: "bench-note-label" });
    const field = /** @type {HTMLInputElement} */ (lines > 1
      ? element("textarea", { class: "bench-note-field", rows: String(lines) })
      : element("input", { class: "bench-note-field", type: "text", autocomplete: "off" }));
    field.placeholder = model.get("placeholder");
    const waits = element("div", { class: "bench-not-saved", role: "status", "aria-live": "polite" });
    const root = element("label", { class: lines > 1 ? "bench-note tall" : "bench-note" }, label, field);
    el.append(root, waits);

    views.begin(model);
    const inHand = () => ({ place: model.get("place"), row: model.get("row"), name: model.get("row_name") });
    // What is typed and not taken yet, with what it was typed for.
    let draft = null;

    const waiting = ({ place, row }) => outbox.typed(place, row, "note");
    function show() {
      const at = draft ?? inHand();
      const name = at.row === model.get("row") ? model.get("label") : at.name;
      if (lines === 1) label.textContent = name;
      field.setAttribute("aria-label", name);
      field.classList.toggle("not-saved", Boolean(waiting(at)));
      root.toggleAttribute("data-typed", Boolean(draft));
      waits.textContent = outbox.words(model.get("place"));
      if (draft) return;
      const text = waiting(at)?.value ?? model.get("text");
      if (field.value !== text) field.value = text;
    }
    function take() {
      if (!draft) return;
      const { place, row, before } = draft;
      draft = null;
      if (field.value !== before) {
        views.put(place, { cells: [{ row, column: "note", value: field.value }] });
      }
      show();
    }

    // Before the first character changes anything, so that what stood there is known.
    field.addEventListener("beforeinput", () => { draft ??= { ...inHand(), before: field.value }; });
    field.addEventListener("input", () => { draft ??= { ...inHand(), before: null }; show(); });
    field.addEventListener("change", take);
    field.addEventListener("blur", take);
    root.addEventListener("keydown", (event) => {
      if (event.key === "Enter" && lines === 1) {
        event.preventDefault();  // else the browser announces a line break, as if more were typed
        take();
      }
      if (event.key !== "Escape" || !draft) return;
      event.stopPropagation();
      draft = null;
      show();
    });

    const heard = { "change:row": show, "change:text": show, "change:label": show };
    const end = views.follow(model, waits, heard, show);
    return () => {
      take();  // the view is gone, what was typed is not
      end();
    };
  }
  return { render };
};
