// Gives slider handles the name that stands beside them, for screen readers.
function render({ model, el }) {
  el.style.display = "none";
  let held = null;
  const name = () => {
    const panel = el.closest(".bench-panel");
    if (!panel) return;
    for (const handle of panel.querySelectorAll(".noUi-handle")) {
      const label = handle.closest(".widget-inline-hbox, .widget-inline-vbox")
        ?.querySelector(".widget-label");
      if (label && handle.getAttribute("aria-label") !== label.textContent) {
        handle.setAttribute("aria-label", label.textContent);
      }
    }
    if (!held) {
      held = new MutationObserver(name);
      held.observe(panel, { childList: true, subtree: true });
    }
  };
  const timer = setInterval(() => { name(); if (held) clearInterval(timer); }, 100);
  return () => { clearInterval(timer); held?.disconnect(); };
}
export default { render };
