// The one button of a rack says both counts in its words; without this module it says so in general.
const form = document.querySelector("form[data-rack]");
if (form) {
  const button = form.querySelector("button[data-words]");
  const boxes = [...form.querySelectorAll('.rack-tub input[type="checkbox"]')];
  const say = () => {
    const tapped = boxes.filter((box) => box.checked).length;
    button.textContent = button.dataset.words
      .replace("{free}", String(boxes.length - tapped))
      .replace("{tapped}", String(tapped));
  };
  form.addEventListener("change", say);
  say();
}
