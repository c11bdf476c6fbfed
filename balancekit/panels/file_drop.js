// A button and a place to drop a file; the file's bytes go to Python.

function render({ model, el }) {
  const input = document.createElement("input");
  input.type = "file";
  input.hidden = true;
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
    model.send({ kind: "file", name: file.name }, undefined, [data]);
  };
  button.addEventListener("click", () => input.click());
  input.addEventListener("change", () => { send(input.files[0]); input.value = ""; });
  for (const name of ["dragenter", "dragover"]) {
    button.addEventListener(name, (event) => { event.preventDefault(); button.classList.add("over"); });
  }
  button.addEventListener("dragleave", () => button.classList.remove("over"));
  button.addEventListener("drop", (event) => {
    event.preventDefault();
    event.stopPropagation();
    button.classList.remove("over");
    send(event.dataTransfer.files[0]);
  });
  const onText = () => { button.textContent = model.get("text"); };
  model.on("change:text", onText);
  model.on("msg:custom", onText);
  el.append(button, input);
  return () => { model.off("change:text", onText); model.off("msg:custom", onText); };
}

export default { render };
