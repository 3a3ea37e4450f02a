// A shared tablet left alone asks for a PIN, with or without the link; what was being typed stays behind. Without the link
// nobody's PIN can be checked: whoever goes on is asked for it before anything is sent.
const minutes = Number(document.body.dataset.idleMinutes || 0);
const KEY = "touched";
const ASK_EVERY_MS = 5000;

if (minutes) {
  const dialog = document.querySelector("[data-lock]");
  const link = dialog.querySelector("[data-lock-pin]");
  const goOn = dialog.querySelector("[data-lock-go-on]");
  const words = dialog.querySelector("[data-lock-words]");
  let written = 0;
  const touched = () => {
    if (dialog.open || Date.now() - written < 1000) return;
    written = Date.now();
    localStorage.setItem(KEY, String(written));
  };
  const look = () => {
    const last = Number(localStorage.getItem(KEY) || Date.now());
    if (Date.now() - last <= minutes * 60000) {
      if (dialog.open && Number(localStorage.getItem(KEY)) > written) dialog.close(); // opened in another tab
      return;
    }
    link.href = `/pin/?next=${encodeURIComponent(window.location.pathname + window.location.search)}`;
    goOn.hidden = navigator.onLine;
    words.textContent = navigator.onLine
      ? `It was not touched for ${minutes} minutes.`
      : `It was not touched for ${minutes} minutes, and there is no connection. Whoever goes on is asked for the PIN before anything is sent.`;
    if (!dialog.open) dialog.showModal();
  };
  // a page that was just shown by the server was just asked for by somebody
  if (navigator.onLine && performance.getEntriesByType("navigation")[0]?.transferSize > 0) touched();
  for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, touched, { capture: true, passive: true });
  dialog.addEventListener("cancel", (event) => event.preventDefault());
  goOn.addEventListener("click", () => {
    localStorage.setItem(KEY, String(Date.now()));
    dialog.close();
  });
  setInterval(look, ASK_EVERY_MS);
  document.addEventListener("visibilitychange", () => !document.hidden && look());
  look();
}
