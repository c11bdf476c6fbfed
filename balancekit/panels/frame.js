// What each panel asks of the page: names for screen readers, and the keys that are its own.

// A plain key belongs to the panel that has the focus, not to the notebook: an arrow chooses in a
// list, and no letter cuts a cell. Lab keeps its keys with Ctrl or Alt, and Shift+Enter.
function keepKeys(event) {
  const { target } = event;
  if (!target.closest?.(".bench-panel")) return;
  const forLab = event.ctrlKey || event.metaKey || event.altKey ||
    (event.shiftKey && event.key === "Enter");
  if (forLab) target.removeAttribute("data-lm-suppress-shortcuts");
  else target.setAttribute("data-lm-suppress-shortcuts", "true");
}
// Esc goes back to the cell, from where the arrows walk to the next one. In the grid it takes two.
// A button may hide itself when it was pressed: then the page has the focus, and Esc leads back too.
let last = null;
function leave(event) {
  if (event.key !== "Escape") return;
  const from = event.target === document.body ? last : event.target;
  if (!from?.closest?.(".bench-panel")) return;
  // What is typed is given up first.
  if (giveUpDraft(fieldOf(event.target)) || event.target.closest?.("[data-typed]")) return;
  const grid = from.closest(".bench-grid-root");
  if (!grid || grid.dataset.leave === "yes") from.closest(".jp-Cell")?.focus();
}
function remember(event) {
  last = event.target.closest?.(".bench-panel") ?? null;
}
// A folded part opens with the keyboard too.
function unfold(event) {
  const fold = event.target.closest?.(".bench-panel .jupyter-widget-Collapse-header");
  if (!fold || (event.key !== "Enter" && event.key !== " ")) return;
  event.preventDefault();
  fold.click();
}
function listen() {
  if (window.balancekitListens) return;
  window.balancekitListens = true;
  keepTyped();
  // Before Lab, which listens at the document, and before widgets that let no key through.
  window.addEventListener("keydown", keepKeys, true);
  window.addEventListener("keydown", leave, true);
  window.addEventListener("keydown", unfold);
  window.addEventListener("focusin", remember);
}

function put(node, name, text) {
  if (text && node.getAttribute(name) !== text) node.setAttribute(name, text);
}
function nameSliders(panel) {
  for (const line of panel.querySelectorAll(".widget-slider")) {
    const label = line.querySelector(".widget-label")?.textContent;
    for (const handle of line.querySelectorAll(".noUi-handle")) put(handle, "aria-label", label);
    const typed = line.querySelector(".widget-readout");
    if (!typed || !label) continue;
    put(typed, "role", "textbox");
    put(typed, "aria-label", `${label}, to type`);
  }
}
function nameChoices(panel) {
  for (const group of panel.querySelectorAll(".widget-toggle-buttons")) {
    put(group, "role", "group");
    put(group, "aria-label", group.querySelector(".widget-label")?.textContent);
    for (const each of group.querySelectorAll("button")) {
      put(each, "aria-pressed", String(each.classList.contains("mod-active")));
    }
  }
  for (const fold of panel.querySelectorAll(".jupyter-widget-Collapse-header")) {
    put(fold, "role", "button");
    put(fold, "tabindex", "0");
    const open = fold.parentElement.classList.contains("jupyter-widget-Collapse-open");
    put(fold, "aria-expanded", String(open));
  }
}

const NOT_SAVED = "What is marked by a broken line is not saved yet: the kernel does not answer. " +
  "Keep the page open. After a restart of the kernel: Run All Cells, and type it again.";

function render({ model, el }) {
  el.style.display = "none";
  el.classList.add("bench-not-saved");
  el.setAttribute("role", "status");
  listen();
  let held = null, soonAgain = 0, number = 0;
  const waiting = new Map();
  const heard = (content) => {
    waiting.get(content.heard)?.();
    waiting.delete(content.heard);
    late();
  };
  const late = () => {
    const old = Date.now() - 3000;
    const shown = [...waiting.values()].some((call) => call.since < old);
    el.textContent = shown ? NOT_SAVED : "";
    el.style.display = shown ? "block" : "none";
  };
  function ask(call) {
    number += 1;
    call.since = Date.now();
    waiting.set(number, call);
    // After the widget has sent its value, which it does in this turn.
    const asked = number;
    setTimeout(() => model.send({ ask: asked }), 0);
    setTimeout(late, 3100);
  }
  const name = () => {
    const panel = el.closest(".bench-panel");
    if (!panel) return;
    panel.balancekitAsk = ask;
    nameSliders(panel);
    nameChoices(panel);
    if (held) return;
    const soon = () => { clearTimeout(soonAgain); soonAgain = setTimeout(name, 60); };
    held = new MutationObserver(soon);
    held.observe(panel, { childList: true, subtree: true, attributes: true,
      attributeFilter: ["class"] });
  };
  const timer = setInterval(() => { name(); if (held) clearInterval(timer); }, 100);
  model.on("msg:custom", heard);
  return () => {
    model.off("msg:custom", heard);
    clearInterval(timer);
    clearTimeout(soonAgain);
    held?.disconnect();
  };
}
export default { render };
