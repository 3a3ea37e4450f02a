// One-key commands at the ultrasound. A letter in the empty field is a command only when no other key follows at once:
// a barcode reader types a label's letters within a few milliseconds and must never set one off.
const READER_GAP_MS = 70;
const COMMANDS = "unoctsk";
const work = document.querySelector("[data-scan]");
let held = null;

const field = () => work.querySelector("[data-entry-field]");

function command(key) {
  const focus = work.querySelector(`[data-key-focus="${key}"]`);
  if (focus) return () => focus.focus();
  const open = work.querySelector(`[data-key-open="${key}"]`);
  if (open) {
    return () => {
      open.open = true;
      (open.querySelector("input") || open).focus();
    };
  }
  const button = work.querySelector(`[data-key="${key}"]`);
  if (button) return () => button.click();
  // a command without its button does nothing, rather than stand in the field as a letter
  return COMMANDS.includes(key) ? () => {} : null;
}

function type(text) {
  const input = field();
  input.value += text;
  input.dispatchEvent(new Event("input", { bubbles: true }));
}

function release() {
  if (!held) return;
  clearTimeout(held.timer);
  type(held.key);
  held = null;
}

document.addEventListener("keydown", (event) => {
  if (!work || event.ctrlKey || event.metaKey || event.altKey) return;
  const input = field();
  const inField = event.target === input;
  // Enter among the reasons means that reason, not the empty number
  const reasons = event.key === "Enter" && event.target.closest("[data-key-open]");
  if (reasons && event.target.matches("input")) {
    event.preventDefault();
    reasons.querySelector("button").click();
    return;
  }
  if (!inField && event.target.closest("input, select, textarea") && event.key !== "Escape") return;
  if (held) {
    if (event.key.length === 1 || event.key === "Enter") release();
    if (event.key.length === 1 && inField) return;
  }
  const letter = event.key.length === 1;
  const run = command(letter ? event.key.toLowerCase() : event.key);
  if (!letter) {
    if (run && (event.key === "ArrowUp" || event.key === "Escape")) {
      event.preventDefault();
      event.stopPropagation();
      run();
    }
    return;
  }
  if (run && (!inField || input.value === "" || !Number.isNaN(Number(input.value.replace(",", "."))))) {
    event.preventDefault();
    event.stopPropagation();
    if (!inField) {
      run();
      return;
    }
    const key = event.key;
    held = { key, timer: setTimeout(() => ((held = null), run()), READER_GAP_MS) };
  }
}, true);

document.body.addEventListener("htmx:afterSwap", (event) => {
  if (event.detail.target.id !== "work") return;
  // what was refused stays to be read, and the next key replaces it
  field()?.focus();
  field()?.select();
});
