// The files that were written: each can be opened in a new tab or saved as a copy.

const KINDS = {
  html: "text/html", pdf: "application/pdf", csv: "text/csv", zip: "application/zip",
  xlsx: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
};
const OPENED = ["html", "pdf"];

function render({ model, el }) {
  const list = document.createElement("ul");
  list.className = "bench-files";
  list.setAttribute("aria-live", "polite");
  const waiting = new Map();
  const ending = (name) => name.split(".").pop();

  const action = (file, number, text, tab) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = text;
    button.setAttribute("aria-label", `${text}: ${file.name}`);
    button.addEventListener("click", () => {
      waiting.set(number, tab ? window.open("", "_blank") : null);
      model.send({ kind: "read", number });
    });
    return button;
  };
  const draw = () => {
    list.replaceChildren(...model.get("files").map((file, number) => {
      const line = document.createElement("li");
      const name = document.createElement("b");
      name.textContent = file.name;
      const said = document.createElement("span");
      said.textContent = ` ${file.size}, ${file.state}. `;
      line.append(name, said);
      if (OPENED.includes(ending(file.name))) line.append(action(file, number, "Open", true));
      line.append(action(file, number, "Save a copy", false));
      return line;
    }));
  };
  const received = (message, buffers) => {
    if (message.kind !== "file") return;
    const data = new Blob([buffers[0]], { type: KINDS[ending(message.name)] || "" });
    const address = URL.createObjectURL(data);
    const tab = waiting.get(message.number);
    waiting.delete(message.number);
    if (tab) {
      tab.location = address;
      return;
    }
    const link = document.createElement("a");
    link.href = address;
    link.download = message.name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(address), 60000);
  };
  draw();
  model.on("change:files", draw);
  model.on("msg:custom", received);
  el.append(list);
  return () => { model.off("change:files", draw); model.off("msg:custom", received); };
}

export default { render };
