// A chart is looked at; its numbers stand in the table below it. So Tab passes by what Bokeh draws,
// which would be seven stops a figure.

function passBy(node) {
  for (const inner of node.querySelectorAll("*")) {
    if (inner.tabIndex >= 0) inner.tabIndex = -1;
    if (inner.shadowRoot) passBy(inner.shadowRoot);
  }
}

// Bokeh makes some of its buttons later, so this is done before each step.
function passByOnTab(charts) {
  if (window.balancekitPassesBy) return;
  window.balancekitPassesBy = true;
  window.addEventListener("keydown", (event) => {
    if (event.key === "Tab") document.querySelectorAll(charts).forEach(passBy);
  }, true);
}
