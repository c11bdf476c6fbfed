// What the entry views share: making elements, and reading what was typed in a cell.

const NUMBER = /^[+-]?(\d+([.,]\d*)?|[.,]\d+)$/;

function element(name, options = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(options)) {
    if (key === "text") made.textContent = value;
    else if (key === "class") made.className = value;
    else made.setAttribute(key, value);
  }
  made.append(...children);
  return made;
}

// Returns {value} or {reason}; value null is an empty cell.
function readCell(text, column) {
  const trimmed = text.trim();
  if (column.kind === "words") return { value: trimmed };
  if (trimmed === "") return { value: null };
  const typed = trimmed.replace("−", "-");
  if (!NUMBER.test(typed)) {
    return { reason: `"${trimmed}" is not a number. Type digits, for example 51 or 27.1.` };
  }
  const value = Number(typed.replace(",", "."));
  if (value < column.minimum || value > column.maximum) {
    return { reason: `${trimmed} is not possible: ${column.label} is ${column.minimum} to ` +
      `${column.maximum}${column.unit ? " " + column.unit : ""}.` };
  }
  return { value };
}

function shown(value) {
  return value === null || value === undefined ? "" : String(value);
}
