// The bench grid: a table for entry with the keyboard alone.
// Enter goes down, Tab right, arrows anywhere, Delete empties, Ctrl+Z takes back,
// a pasted block is one change. Text that is no reading is refused in its cell.
// Esc, then Tab or Shift+Tab, leaves the table; Esc twice goes back to the notebook's cell.

const MODIFIERS = ["Shift", "Control", "Alt", "Meta"];

export default () => {
  const views = new EntryViews(), { outbox } = views;

  function render({ model, el }) {
    const message = element("div", { class: "bench-grid-message", role: "status", "aria-live": "polite" });
    const waits = element("div", { class: "bench-not-saved", role: "status", "aria-live": "polite" });
    const body = element("tbody");
    const head = element("thead");
    const table = element("table", { class: "bench-grid", role: "grid", "aria-label": model.get("name") },
      head, body);
    const scroll = element("div", { class: "bench-grid-scroll" }, table);
    const root = element("div", { class: "bench-grid-root", "data-lm-suppress-shortcuts": "true" },
      scroll, message, waits);
    el.appendChild(root);

    views.begin(model);
    const standing = new Standing(model, { key: model.get("go").key, column: model.get("go").column });
    let at = { row: 0, column: 0 };
    // The field that is typed in, and the cell it was opened for; only this cell takes its text.
    let editor = null, edited = null, moving = false;
    // Text that is no reading stays in its cell until something else is typed there.
    const bad = new Map();
    const columns = () => model.get("columns");
    const rows = () => model.get("rows");
    const cell = (row, column) => body.rows[row]?.cells[column + model.get("heads").length];

    function say(text, bad = false) {
      message.textContent = text;
      message.classList.toggle("bad", bad);
    }
    function put(what, place = model.get("place")) { views.put(place, what); }
    const typed = (row, column) => outbox.typed(model.get("place"), row.id, column.name);
    function value(row, c) {
      const waiting = typed(row, columns()[c]);
      return waiting ? waiting.value : row.values[c];
    }

    function buildHead() {
      const row = element("tr", {}, ...model.get("heads").map((text) =>
        element("th", { text, scope: "col", class: "row-head" })));
      for (const column of columns()) {
        row.append(element("th", { text: column.heading, scope: "col", title: column.meaning,
          class: column.kind }));
      }
      head.replaceChildren(row);
    }
    function buildRows() {
      const made = rows().map((row) => {
        const line = element("tr", { class: row.colour });
        line.append(...row.heads.map((text) => element("th", { text, scope: "row" })));
        columns().forEach((column, place) => {
          line.append(element("td", { tabindex: "-1", role: "gridcell",
            class: column.kind === "words" ? "words" : "number", "data-place": String(place) }));
        });
        return line;
      });
      moving = true;
      body.replaceChildren(...made);
      moving = false;
      rows().forEach((row, r) => { body.rows[r].dataset.id = row.id; });
      showValues();
      showMarks();
      settle();
    }
    function showValues() {
      const unsaved = new Set(model.get("unsaved"));
      rows().forEach((row, r) => columns().forEach((column, c) => {
        const place = cell(r, c);
        if (!place || place.contains(editor)) return;
        const id = `${row.id}:${column.name}`, refused = bad.get(id), waiting = typed(row, column);
        const text = refused ?? shown(waiting ? waiting.value : row.values[c]);
        if (place.textContent !== text) place.textContent = text;
        place.classList.toggle("not-saved", Boolean(waiting) || unsaved.has(id));
        place.classList.toggle("refused", refused !== undefined || Boolean(waiting?.refused));
        place.title = (refused === undefined ? model.get("marks")[id] : readCell(refused, column).reason) ?? "";
      }));
      waits.textContent = outbox.words(model.get("place"));
    }
    function showMarks() {
      const marks = model.get("marks");
      rows().forEach((row, r) => columns().forEach((column, c) => {
        const place = cell(r, c);
        if (!place) return;
        const mark = marks[`${row.id}:${column.name}`];
        place.classList.toggle("doubted", Boolean(mark));
        place.setAttribute("aria-label",
          `${row.name}, ${column.label}` + (mark ? `. Doubtful: ${mark}` : ""));
      }));
      told(false);
    }
    /** Say what is to be said of the cell in hand; what was done stays said until another is. */
    function told(moved = true) {
      if (!moved && message.textContent && !message.textContent.startsWith("◆")) return;
      const row = rows()[at.row], column = columns()[at.column];
      if (!row || !column || editor) return;
      const refused = bad.get(`${row.id}:${column.name}`);
      if (refused !== undefined) { say(`${row.name}: ${readCell(refused, column).reason}`, true); return; }
      const mark = model.get("marks")[`${row.id}:${column.name}`];
      const fits = model.get("fits")[`${row.id}:${column.name}`];
      const take = fits ? `press T to ${fits}, ` : "";
      if (mark) say(`◆ ${row.name}, ${column.label.toLowerCase()}: ${mark} ` +
        `Mend it, ${take}or press K to keep it.`, true);
      else say("");
    }
    function settle(focus = false) {
      at.row = Math.max(0, Math.min(at.row, rows().length - 1));
      at.column = Math.max(0, Math.min(at.column, columns().length - 1));
      for (const old of body.querySelectorAll("td[tabindex='0']")) old.tabIndex = -1;
      const place = cell(at.row, at.column);
      if (!place) return;
      place.tabIndex = 0;
      if (focus) {
        place.focus({ preventScroll: true });
        place.scrollIntoView({ block: "nearest", inline: "nearest" });
      }
    }
    function move(down, across, focus = true) {
      const width = columns().length;
      let column = at.column + across, row = at.row + down;
      if (column >= width) { column = 0; row += 1; }
      if (column < 0) { column = width - 1; row -= 1; }
      at = { row, column };
      settle(focus);
      const held = rows()[at.row];
      if (held?.key && held.key !== standing.at.key) standing.step({ key: held.key, column: at.column });
      told();
    }

    function edit(text) {
      const place = cell(at.row, at.column), column = columns()[at.column], row = rows()[at.row];
      edited = { row, column, place: model.get("place") };
      bad.delete(`${row.id}:${column.name}`);
      root.setAttribute("data-typed", "");
      editor = element("input", { type: "text", "aria-label": `${row.name}, ${column.label}`,
        inputmode: column.kind === "words" ? "text" : "decimal" });
      editor.value = text;
      place.replaceChildren(editor);
      place.classList.remove("refused", "not-saved");
      editor.focus();
      editor.setSelectionRange(text.length, text.length);
      editor.addEventListener("blur", () => { if (editor && !moving) commit(); });
    }
    // The cell that the field was opened for, wherever it stands now; undefined if it is gone.
    function placeOf({ row, column }) {
      return cell(rows().findIndex((each) => each.id === row.id),
        columns().findIndex((each) => each.name === column.name));
    }
    function close() {
      const place = placeOf(edited);
      const old = editor;
      editor = edited = null;
      root.removeAttribute("data-typed");
      old?.remove();
      showValues();
      return place;
    }
    function commit() {
      const text = editor.value, { row, column, place: where } = edited;
      const read = readCell(text, column);
      const place = close();
      if (read.reason && !place) say(`${row.name} is not in the table any more. Typed: ${text}`, true);
      else if (read.reason) {
        bad.set(`${row.id}:${column.name}`, text);
        showValues();
        say(`${row.name}: ${read.reason}`, true);
        place.focus();
        return false;
      }
      const before = rows().find((each) => each.id === row.id) ?? row;
      const c = columns().findIndex((each) => each.name === column.name);
      if (shown(read.value) !== shown(value(before, c))) {
        put({ cells: [{ row: row.id, column: column.name, value: read.value }] }, where);
      }
      return true;
    }

    const cells = (count) => `${count} ${count === 1 ? "cell" : "cells"}`;
    function paste(text) {
      const block = text.replace(/\r\n?/g, "\n").replace(/\n$/, "").split("\n")
        .map((line) => line.split("\t"));
      const taken = [], refused = [];
      let over = 0;
      block.forEach((line, r) => line.forEach((word, c) => {
        const row = rows()[at.row + r], column = columns()[at.column + c];
        if (!row || !column) { over += 1; return; }
        const read = readCell(word, column);
        if (read.reason) refused.push(`${row.name}: ${read.reason}`);
        else taken.push({ row: row.id, column: column.name, value: read.value });
      }));
      if (refused.length) {
        say(`Nothing pasted. ${cells(refused.length)} cannot be read: ${refused.slice(0, 3).join(" ")}`, true);
        return;
      }
      for (const { row, column } of taken) bad.delete(`${row}:${column}`);
      if (taken.length) put({ cells: taken });
      showValues();
      say(`Pasted ${cells(taken.length)}.` + (over ? ` ${over} beyond the table were left out.` : ""));
    }

    root.addEventListener("keydown", (event) => {
      if (event.key === "Escape" && !editor && root.dataset.leave === "yes") {
        delete root.dataset.leave;
        return;
      }
      event.stopPropagation();
      if (MODIFIERS.includes(event.key)) return;
      const command = event.ctrlKey || event.metaKey;
      if (command && event.key.toLowerCase() === "z" && !editor) {
        event.preventDefault();
        put(event.shiftKey ? { redo: true } : { undo: true });
        return;
      }
      if (command && event.key.toLowerCase() === "y" && !editor) {
        event.preventDefault();
        put({ redo: true });
        return;
      }
      if (command || event.altKey) return;
      const still = !editor;
      const go = (down, across) => {
        event.preventDefault();
        if (still || commit()) move(down, across);
      };
      if (event.key === "Enter") go(event.shiftKey ? -1 : 1, 0);
      else if (event.key === "Tab" && (editor || root.dataset.leave !== "yes")) go(0, event.shiftKey ? -1 : 1);
      else if (event.key === "ArrowDown") go(1, 0);
      else if (event.key === "ArrowUp") go(-1, 0);
      else if (event.key === "Escape") {
        event.preventDefault();
        if (editor) { close(); cell(at.row, at.column).focus(); told(); }
        else { root.dataset.leave = "yes"; say("Tab now leaves the table; Esc goes back to the notebook."); return; }
      } else if (still && event.key === "ArrowLeft") go(0, -1);
      else if (still && event.key === "ArrowRight") go(0, 1);
      else if (still && event.key === "Home") { at.column = 0; go(0, 0); }
      else if (still && event.key === "End") { at.column = columns().length - 1; go(0, 0); }
      else if (still && event.key === "PageDown") go(12, 0);
      else if (still && event.key === "PageUp") go(-12, 0);
      else if (still && event.key === "F2") { event.preventDefault(); edit(cell(at.row, at.column).textContent); }
      else if (still && (event.key === "Delete" || event.key === "Backspace")) {
        event.preventDefault();
        const column = columns()[at.column], row = rows()[at.row];
        bad.delete(`${row.id}:${column.name}`);
        const value = column.kind === "words" ? "" : null;
        put({ cells: [{ row: row.id, column: column.name, value }] });
      } else if (still && event.key.toLowerCase() === "k" && columns()[at.column].kind !== "words") {
        event.preventDefault();
        const row = rows()[at.row];
        if (row.key) put({ keep: { key: row.key, column: columns()[at.column].name } });
      } else if (still && event.key.toLowerCase() === "t" && columns()[at.column].kind !== "words") {
        event.preventDefault();
        const place = `${rows()[at.row].id}:${columns()[at.column].name}`;
        if (model.get("fits")[place]) put({ take: place });
      } else if (still && event.key.length === 1) { event.preventDefault(); edit(event.key); }
      delete root.dataset.leave;
    });
    body.addEventListener("mousedown", (event) => {
      const place = event.target.closest("td");
      if (!place || place.contains(editor)) return;
      if (editor && !commit()) { event.preventDefault(); return; }
      at = { row: place.parentElement.rowIndex - 1, column: Number(place.dataset.place) };
      event.preventDefault();
      move(0, 0);
    });
    body.addEventListener("dblclick", (event) => {
      if (event.target.closest("td") && !editor) edit(cell(at.row, at.column).textContent);
    });
    root.addEventListener("paste", (event) => {
      if (editor) return;
      event.preventDefault();
      event.stopPropagation();
      paste(event.clipboardData.getData("text/plain"));
    });
    root.addEventListener("copy", (event) => {
      if (editor) return;
      event.preventDefault();
      event.clipboardData.setData("text/plain", cell(at.row, at.column).textContent);
    });

    const onRows = () => (body.rows.length === rows().length &&
      rows().every((row, r) => body.rows[r].dataset.id === row.id) ? showValues() : rebuild());
    // New rows: the cursor stays in the cell it was in, and the field that is typed in goes with it.
    function rebuild() {
      const focused = root.contains(document.activeElement), typing = document.activeElement === editor;
      const id = edited?.row.id ?? body.rows[at.row]?.dataset.id;
      const row = rows().findIndex((each) => each.id === id);
      if (row >= 0) at.row = row;
      buildRows();
      if (!editor) {
        if (focused) settle(true);
        return;
      }
      const [from, to] = [editor.selectionStart, editor.selectionEnd];
      moving = true;
      (placeOf(edited) ?? message).replaceChildren(editor);
      moving = false;
      if (!typing) return;
      editor.focus();
      editor.setSelectionRange(from, to);
    }
    function onGo() {
      if (!standing.heard() || editor) return;
      const { key, column, show } = model.get("go");
      const row = rows().findIndex((each) => each.key === key);
      if (row < 0) return;
      if (show) at.column = column;
      if (rows()[at.row]?.key !== key) at.row = row;
      settle(Boolean(show));
      const place = cell(at.row, at.column);
      if (place && !root.contains(document.activeElement)) {
        scroll.scrollTop = place.offsetTop - scroll.clientHeight / 2;
      }
    }
    function onColumns() { buildHead(); rebuild(); }
    function onMarks() { showValues(); showMarks(); }
    const heard = { "change:columns": onColumns, "change:rows": onRows, "change:marks": onMarks, "change:fits": told,
      "change:go": onGo, "change:unsaved": showValues };
    buildHead();
    rebuild();
    onGo();
    const end = views.follow(model, waits, heard, showValues);
    return () => { end(); standing.end(); };
  }
  return { render };
};
