// What is typed into a field of a panel stays until it is taken or given up, whatever the kernel
// writes into the field meanwhile. A field that was changed is marked until the kernel answered.
// This holds for every field: a line, a number, a text of several lines, the number of a slider.

const FIELDS = "input:not([type=checkbox], [type=radio], [type=file], [type=range]), textarea, " +
  ".widget-readout[contenteditable]";
const OWN_KEEPING = ".bench-grid-root, .bench-one, .bench-note";

/** @typedef {{name: "value" | "textContent", before: any, later?: any, typed: boolean}} Draft */
/** @type {WeakMap<Element, Draft>} */
const drafts = new WeakMap();

/** @param {EventTarget | null} target @returns {any} */
function fieldOf(target) {
  const field = /** @type {Element | null} */ (target)?.closest?.(FIELDS);
  return field?.closest(".bench-panel") && !field.closest(OWN_KEEPING) ? field : null;
}

// Writing to the field is put off; reading gives what is typed. That begins with the first
// character, or with the selection that it will replace.
/** @param {any} field */
function beginDraft(field) {
  if (drafts.has(field)) return;
  const name = "value" in field ? "value" : "textContent";
  /** @type {Draft} */
  const draft = { name, before: field[name], typed: false };
  drafts.set(field, draft);
  let holder = field;
  while (!Object.getOwnPropertyDescriptor(holder, name)) holder = Object.getPrototypeOf(holder);
  const { get } = /** @type {PropertyDescriptor} */ (Object.getOwnPropertyDescriptor(holder, name));
  Object.defineProperty(field, name, {
    configurable: true,
    get() { return get?.call(this); },
    set(later) { draft.later = later; },
  });
}
/** @param {any} field @returns {Draft | undefined} */
function endDraft(field) {
  const draft = drafts.get(field);
  if (!draft) return undefined;
  drafts.delete(field);
  delete field[draft.name];
  field.removeAttribute("data-typed");
  return draft;
}
// Back to what stood there, or to what the kernel has written since. Returns whether there was any.
/** @param {any} field */
function giveUpDraft(field) {
  const draft = field && drafts.get(field);
  if (!draft?.typed) return false;
  endDraft(field);
  field[draft.name] = "later" in draft ? draft.later : draft.before;
  field.dispatchEvent(new Event("input", { bubbles: true }));
  return true;
}

// The kernel answers in order: when it has heard that the panel asks, it has the value too.
/** @param {any} field @param {(call: () => void) => void} whenHeard */
function markUntilHeard(field, whenHeard) {
  const turn = String(Number(field.dataset.notSaved ?? 0) + 1);
  field.dataset.notSaved = turn;
  whenHeard(() => { if (field.dataset.notSaved === turn) delete field.dataset.notSaved; });
}

// Listens before the widgets do, so that they may write to a field that is taken.
function keepTyped() {
  window.addEventListener("beforeinput", (event) => {
    const field = fieldOf(event.target);
    if (!field || !event.isTrusted) return;
    beginDraft(field);
    /** @type {Draft} */ (drafts.get(field)).typed = true;
    field.setAttribute("data-typed", "");
  }, true);
  window.addEventListener("select", (event) => {
    const field = fieldOf(event.target);
    if (field && field === document.activeElement) beginDraft(field);
  }, true);
  document.addEventListener("selectionchange", () => {
    const field = fieldOf(document.activeElement);
    if (field?.isContentEditable && !document.getSelection()?.isCollapsed) beginDraft(field);
  });
  window.addEventListener("change", (event) => {
    const field = fieldOf(event.target);
    if (field) taken(field);
  }, true);
  window.addEventListener("keydown", (event) => {
    const field = event.key === "Enter" ? fieldOf(event.target) : null;
    if (field?.isContentEditable) taken(field);
  }, true);
  window.addEventListener("blur", (event) => {
    const field = fieldOf(event.target);
    if (!field) return;
    if (field.isContentEditable && drafts.get(field)?.typed) {
      // Left to itself a slider takes its number at Enter alone, and forgets it at its next move.
      field.dispatchEvent(new KeyboardEvent("keydown",
        { key: "Enter", keyCode: 13, bubbles: true, cancelable: true }));
    }
    const draft = endDraft(field);  // nothing was typed, or the same again
    if (draft && "later" in draft) field[draft.name] = draft.later;
  }, true);
}
/** @param {any} field */
function taken(field) {
  if (!endDraft(field)?.typed) return;
  const ask = field.closest(".bench-panel").balancekitAsk;
  if (ask) markUntilHeard(field, ask);
}
