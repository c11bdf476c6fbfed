// A button and a place to drop a file; the file's bytes go to Python.

// A server takes messages of up to 10 MB (Tornado, websocket_max_message_size).
const PART = 4_000_000;

function render({ model, el }) {
  const input = document.createElement("input");
  input.type = "file";
  input.hidden = true;
  input.multiple = model.get("several");
  const button = document.createElement("button");
  button.type = "button";
  button.className = "bench-drop" + (model.get("low") ? " low" : "");
  button.textContent = model.get("text");
  const send = async (file) => {
    if (!file) return;
    if (file.size > model.get("most_bytes")) {
      button.textContent = `${file.name} is larger than ${model.get("most_bytes") / 1e6} MB.`;
      return;
    }
    button.textContent = `Reading ${file.name} …`;
    const data = await file.arrayBuffer();
    const parts = Math.max(1, Math.ceil(data.byteLength / PART));
    for (let part = 0; part < parts; part += 1) {
      const piece = data.slice(part * PART, (part + 1) * PART);
      model.send({ kind: "file", name: file.name, part, parts }, undefined, [piece]);
    }
  };
  const sendAll = async (files) => {
    for (const file of model.get("several") ? files : files.slice(0, 1)) await send(file);
  };
  button.addEventListener("click", () => input.click());
  input.addEventListener("change", () => { sendAll([...input.files]); input.value = ""; });
  for (const name of ["dragenter", "dragover"]) {
    button.addEventListener(name, (event) => { event.preventDefault(); button.classList.add("over"); });
  }
  button.addEventListener("dragleave", () => button.classList.remove("over"));
  button.addEventListener("drop", (event) => {
    event.preventDefault();
    event.stopPropagation();
    button.classList.remove("over");
    sendAll([...event.dataTransfer.files]);
  });
  const onText = () => { button.textContent = model.get("text"); };
  model.on("change:text", onText);
  model.on("msg:custom", onText);
  el.append(button, input);
  return () => { model.off("change:text", onText); model.off("msg:custom", onText); };
}

export default { render };
