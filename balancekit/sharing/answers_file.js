// The file as it was read, before a chart or a note moved anything in it. Saving writes it anew
// with the notes inside; its scripts stay as they are, so their hashes still hold.
const balancekitFile = `<!doctype html>\n${document.documentElement.outerHTML}\n`;

// What this browser keeps of this report. It may be forbidden or full: then nothing is kept.
const balancekitStore = (() => {
  const name = (part) => `balancekit ${document.documentElement.dataset.report} ${part}`;
  return {
    read(part, otherwise) {
      try {
        return JSON.parse(localStorage.getItem(name(part))) ?? otherwise;
      } catch {
        return otherwise;
      }
    },
    write(part, value) {
      try {
        localStorage.setItem(name(part), JSON.stringify(value));
        return true;
      } catch {
        return false;
      }
    },
  };
})();
