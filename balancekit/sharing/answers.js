// Answers: notes on a chapter, a key or marked keys of a chart, with photographs and proposals,
// written in this page and saved with it as one file. Words are only ever set as text.
(() => {
  const MOST_BYTES = 20e6;
  const LARGEST_SIDE = 1600;
  const PICTURE = /^data:image\/jpeg;base64,[A-Za-z0-9+/]*=*$/;
  const LABELS = Object.fromEntries([...document.querySelectorAll(".sliders label")].map((label) => [
    label.querySelector("input").id.replace("slider-", ""), label.querySelector("span").textContent]));
  const block = document.getElementById("answers");
  const carried = Number(document.documentElement.dataset.photographs);
  const inFile = JSON.parse(block.textContent);
  const sign = (note) => JSON.stringify(note);
  const known = new Set(inFile.map(sign));
  let drafts = balancekitStore.read("notes", []).filter((note) => !known.has(sign(note)));

  const make = (tag, text = "", more = {}) => {
    const made = document.createElement(tag);
    if (text) made.textContent = text;
    Object.entries(more).forEach(([name, value]) => made.setAttribute(name, value));
    return made;
  };
  const press = (text, call) => {
    const button = make("button", text, { type: "button" });
    button.addEventListener("click", call);
    return button;
  };
  const about = (note) => {
    if (!note.first_key) return "";
    const last = Math.max(note.first_key, note.last_key || 0);
    return last === note.first_key ? `key ${last}` : `keys ${note.first_key} to ${last}`;
  };

  const bar = make("div", "", { class: "answer-bar screen-only", role: "status", hidden: "" });
  document.body.append(bar);

  // What the saved file will hold beside the instrument, said before it is written.
  const inside = () => {
    const all = [...inFile, ...drafts];
    const pictures = all.flatMap((note) => note.pictures || []);
    const names = [...new Set(all.map((note) => note.author).filter(Boolean))].join(", ");
    const bytes = pictures.reduce((sum, each) => sum + each.length * 0.75, 0);
    return `Inside will be: the instrument (listed at the end of this page), ${all.length} `
      + `answered ${all.length === 1 ? "note" : "notes"}${names ? ` by ${names}` : ""}, `
      + `${pictures.length} new photographs (${(bytes / 1e6).toFixed(1)} MB). `;
  };

  const keep = () => {
    const stored = balancekitStore.write("notes", drafts);
    bar.hidden = drafts.length === 0;
    const count = drafts.length === 1 ? "1 note is" : `${drafts.length} notes are`;
    bar.replaceChildren(
      make("span", `${count} not in a file yet${stored ? "" : ", and this browser keeps none"}. `),
      make("span", inside(), { class: "inside" }),
      press("Save the file with the notes", save));
  };

  const view = (note, draft) => {
    const part = make("aside", "", { class: "note answer" });
    const on = [note.author || "Somebody", (note.written_at || "").slice(0, 10), about(note)];
    const signed = on.filter(Boolean).join(", ");
    part.setAttribute("aria-label", `Note by ${signed}`);
    part.append(make("strong", signed, { class: "signature" }),
      make("div", note.text || "", { class: "words" }));
    (note.proposals || []).forEach((each) => {
      const why = each.reason ? ` Why: ${each.reason}` : "";
      const label = LABELS[each.slider] ?? each.slider;
      const line = make("p", `Proposes: ${label} ${String(each.value).replace("-", "\u2212")}.${why} `);
      const slider = document.getElementById(`slider-${each.slider}`);
      if (slider && slider.type === "range") {
        line.append(press("Try it", () => {
          slider.value = each.value;
          slider.dispatchEvent(new Event("input"));
          document.getElementById("what-if-answer").scrollIntoView({ block: "center" });
        }));
      }
      part.append(line);
    });
    (note.pictures || []).filter((each) => PICTURE.test(each)).forEach((each) => {
      part.append(make("img", "", { src: each, alt: `Photograph ${about(note)}`.trim() }));
    });
    if (draft) {
      part.append(press("Take this note back", () => {
        drafts = drafts.filter((other) => other !== note);
        part.remove();
        keep();
      }));
    }
    return part;
  };
  const homeOf = (note) => [...document.querySelectorAll(".answers")]
    .find((each) => each.dataset.chapter === note.chapter) ?? document.querySelector(".answers");
  const put = (note, draft) => {
    const home = homeOf(note);
    home.insertBefore(view(note, draft), home.querySelector(":scope > button, :scope > form"));
  };

  // The form

  const scaled = async (file) => {
    const bitmap = await createImageBitmap(file);
    const part = Math.min(1, LARGEST_SIDE / Math.max(bitmap.width, bitmap.height));
    const canvas = make("canvas");
    canvas.width = Math.round(bitmap.width * part);
    canvas.height = Math.round(bitmap.height * part);
    const pen = canvas.getContext("2d");
    pen.fillStyle = "white";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    pen.drawImage(bitmap, 0, 0, canvas.width, canvas.height);
    return canvas.toDataURL("image/jpeg", 0.82); // only what is seen: no place, no device
  };
  const field = (form, text, tag, more = {}) => {
    const label = make("label", text);
    const input = make(tag, "", more);
    label.append(input);
    form.append(label);
    return input;
  };
  // A picture that is dropped on a place goes to the note that is written there.
  const takesDrops = (place, bring) => {
    for (const name of ["dragenter", "dragover"]) {
      place.addEventListener(name, (event) => {
        if (event.dataTransfer.types.includes("Files")) event.preventDefault();
      });
    }
    place.addEventListener("drop", (event) => {
      if (!event.dataTransfer.files.length) return;
      event.preventDefault();
      event.stopPropagation();
      bring([...event.dataTransfer.files]);
    });
  };
  // Pictures dropped anywhere go to the note that is being written, so that none is lost.
  let bringToOpen = null;
  const ask = ({ chapter, home, chart = "", first = 0, last = 0, proposals = [], back }) => {
    document.querySelector(".answer-form")?.remove();
    const form = make("form", "", { class: "answer-form screen-only" });
    const author = field(form, "Your name (may stay empty)", "input", { maxlength: 200 });
    author.value = balancekitStore.read("name", "");
    const words = field(form, "Your note", "textarea", { rows: 4, maxlength: 20000 });
    const keys = make("div", "", { class: "keys" });
    const most = document.documentElement.dataset.keys;
    const from = field(keys, "From key (empty: the whole chapter)", "input",
      { type: "number", min: 1, max: most });
    const to = field(keys, "To key", "input", { type: "number", min: 1, max: most });
    from.value = first || "";
    to.value = last || "";
    form.append(keys);
    proposals.forEach((each) => form.append(make("p", `Proposes: ${LABELS[each.slider]} ${each.value}`)));
    const reason = proposals.length ? field(form, "Why", "input", { maxlength: 2000 }) : null;
    const pictures = [];
    const files = field(form, "Photographs", "input", { type: "file", accept: "image/*", multiple: "" });
    const said = make("p", "", { role: "status" });
    const close = () => { form.remove(); bringToOpen = null; back?.focus(); };
    const whole = () => [...inFile, ...drafts].flatMap((note) => note.pictures || [])
      .concat(pictures).reduce((sum, each) => sum + each.length * 0.75, carried);
    const bring = async (brought) => {
      for (const file of brought) {
        try {
          const picture = await scaled(file);
          if (whole() + picture.length * 0.75 > MOST_BYTES) {
            said.textContent = `Up to ${MOST_BYTES / 1e6} MB of photographs fit; ${file.name} does not.`;
            break;
          }
          pictures.push(picture);
          said.textContent = `${pictures.length} taken, ${(whole() / 1e6).toFixed(1)} of `
            + `${MOST_BYTES / 1e6} MB in all. Place and device are taken out.`;
        } catch {
          said.textContent = `${file.name} is not a picture that can be read.`;
        }
      }
    };
    files.addEventListener("change", () => bring([...files.files]));
    takesDrops(form, bring);
    const add = () => {
      const low = Number(from.value) || 0;
      const high = Number(to.value) || low;
      if (low < 0 || high > Number(most) || high < low) {
        said.textContent = `Keys go from 1 to ${most}, the lower one first.`;
        return;
      }
      if (!words.value.trim() && !proposals.length && !pictures.length) {
        said.textContent = "Write something first.";
        return;
      }
      const now = new Date(Date.now() - new Date().getTimezoneOffset() * 60000);
      const note = { chapter, text: words.value.trim(), author: author.value.trim(),
        written_at: now.toISOString().slice(0, 19), first_key: low, last_key: high };
      if (chart) note.chart = chart;
      if (proposals.length) {
        note.proposals = proposals.map((each) => ({ ...each, reason: reason.value.trim() }));
      }
      if (pictures.length) note.pictures = pictures;
      balancekitStore.write("name", note.author);
      drafts.push(note);
      put(note, true);
      keep();
      close();
    };
    form.append(said, press("Add the note", add), press("Leave it", close));
    form.addEventListener("submit", (event) => event.preventDefault());
    home.append(form);
    words.focus();
    bringToOpen = bring;
    return bring;
  };

  // Saving: the file as it was read, with the notes in its block of data

  const asData = (value) => JSON.stringify(value)
    .replace(/[<>&\u2028\u2029]/g, (sign_) => `\\u${sign_.charCodeAt(0).toString(16).padStart(4, "0")}`);
  const save = () => {
    const opening = `<script type="application/json" id="${block.id}">`;
    const at = balancekitFile.indexOf(opening) + opening.length;
    const end = balancekitFile.indexOf("<", at);
    const text = balancekitFile.slice(0, at) + asData([...inFile, ...drafts])
      + balancekitFile.slice(end);
    const link = make("a", "", { download: fileName() });
    link.href = URL.createObjectURL(new Blob([text], { type: "text/html" }));
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    bar.replaceChildren(
      make("span", `Saved as ${link.download}. Hand that file on. `),
      press("Save it once more", save));
  };
  const fileName = () => {
    const plain = (text) => text.toLowerCase().replace(/[^a-z0-9]+/g, "_").replace(/^_+|_+$/g, "");
    const author = plain(balancekitStore.read("name", ""));
    return [plain(document.title).slice(0, 60) || "report", "answered", author.slice(0, 30)]
      .filter(Boolean).join("_") + ".html";
  };

  // Where notes are written

  inFile.forEach((note) => put(note, false));
  drafts.forEach((note) => put(note, true));
  document.querySelectorAll(".answers").forEach((home) => {
    const title = home.closest("section").querySelector("h2").textContent;
    const chapter = home.dataset.chapter;
    const button = press(`Write a note on: ${title}`, () => ask({ chapter, home, back: button }));
    button.className = "screen-only";
    home.append(button);
    takesDrops(home.closest("section"), (brought) => (bringToOpen ?? ask({ chapter, home, back: button }))(brought));
  });
  window.balancekitKeys.then((charts) => charts.forEach(({ figure, told, ends, quantity }) => {
    const home = figure.closest("section").querySelector(".answers");
    const button = press("Write a note on this key or range", () => {
      const [first, last] = ends();
      ask({ chapter: home.dataset.chapter, home, chart: quantity, first, last, back: button });
    });
    button.className = "screen-only";
    told.after(button);
    takesDrops(figure, (brought) => {
      if (bringToOpen) return bringToOpen(brought);
      const [first, last] = ends();
      return ask({ chapter: home.dataset.chapter, home, chart: quantity, first, last, back: button })(brought);
    });
  }));
  document.getElementById("what-if-propose")?.addEventListener("click", (event) => {
    const proposals = [...document.querySelectorAll(".sliders input")]
      .filter((slider) => slider.value !== slider.defaultValue)
      .map((slider) => ({ slider: slider.id.replace("slider-", ""), value: Number(slider.value) }));
    const home = document.querySelector('.answers[data-chapter="lead_and_spring"]');
    if (!proposals.length) {
      document.getElementById("what-if-answer").textContent = "Move a slider first; then propose it.";
      return;
    }
    ask({ chapter: "lead_and_spring", home, proposals, back: event.target });
  });
  if (drafts.length) keep();
})();
