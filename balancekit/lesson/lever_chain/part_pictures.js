// A small picture of each named part: a window on the drawing, with the part lit.
function showPictures(pictures, svg, el) {
  if (!pictures.length) return;
  const list = document.createElement("div");
  list.className = "lesson-pictures";
  const [left, top, wide] = svg.getAttribute("viewBox").split(" ").map(Number);
  const whole = svg.getBoundingClientRect(), scale = wide / whole.width;
  for (const { name, word, meaning } of pictures) {
    const found = [...svg.querySelectorAll(`[data-part="${name}"]`)];
    const boxes = found.map((node) => node.getBoundingClientRect()).filter((box) => box.width + box.height > 0);
    const card = document.createElement("figure");
    if (boxes.length) {
      const box = boxes[0];
      // The whole part, and a little around it; three wide to two high.
      const high = Math.max(46, box.height * scale * 1.7, box.width * scale * 1.15 / 1.5);
      const middle = [(box.left + box.right) / 2, (box.top + box.bottom) / 2];
      const x = left + (middle[0] - whole.left) * scale - high * 0.75;
      const y = top + (middle[1] - whole.top) * scale - high / 2;
      const picture = svg.cloneNode(true);
      picture.setAttribute("viewBox", `${x} ${y} ${high * 1.5} ${high}`);
      picture.setAttribute("class", "lesson-picture");
      picture.setAttribute("role", "img");
      picture.setAttribute("aria-label", `Picture: ${word}`);
      for (const node of picture.querySelectorAll("[tabindex]")) node.removeAttribute("tabindex");
      for (const node of picture.querySelectorAll(".lesson-label, .lesson-follow")) node.remove();
      for (const node of picture.querySelectorAll(`[data-part="${name}"]`)) node.classList.add("lit");
      card.append(picture);
    }
    const words = document.createElement("figcaption"), strong = document.createElement("b");
    strong.textContent = word;
    words.append(strong, ` ${meaning}`);
    card.append(words);
    list.append(card);
  }
  el.append(list);
}
