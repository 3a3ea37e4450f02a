// Labels by the browser's own reader of codes, where it has one. Elsewhere the phone's camera app opens a label (it holds an
// address), and a USB reader types it.
const PATHS = /^\/(a|p|animals|places)\/[^?#]*$/;

function read(text) {
  let url;
  try {
    url = new URL(text, window.location.origin);
  } catch {
    return { words: `“${text.slice(0, 60)}” is not a label of this house.` };
  }
  if (!PATHS.test(url.pathname)) return { words: `“${text.slice(0, 60)}” is not a label of this house.` };
  if (url.origin !== window.location.origin) return { words: `This label is from another site: ${url.host}. Nothing was opened.` };
  return { path: url.pathname };
}

for (const button of document.querySelectorAll("[data-scan]")) {
  const box = button.closest("[data-scan-box]");
  const view = box.querySelector("[data-scan-view]");
  const video = box.querySelector("video");
  const words = box.querySelector("[data-scan-words]");
  let stream = null;
  const say = (text) => {
    words.textContent = text;
    words.hidden = !text;
  };
  const stop = () => {
    for (const track of stream?.getTracks() || []) track.stop();
    stream = null;
    view.hidden = true;
    button.setAttribute("aria-expanded", "false");
  };
  button.hidden = false;
  button.addEventListener("click", async () => {
    if (stream) {
      stop();
      return;
    }
    if (!("BarcodeDetector" in window) || !navigator.mediaDevices) {
      say("This browser reads no labels. Open the phone’s own camera on the label: it leads here. A USB reader types it.");
      return;
    }
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    } catch {
      say("The camera may not be used here. Allow it for this address, or open the phone’s own camera on the label.");
      return;
    }
    say("");
    view.hidden = false;
    button.setAttribute("aria-expanded", "true");
    video.srcObject = stream;
    await video.play();
    const detector = new window.BarcodeDetector({ formats: ["qr_code"] });
    const look = async () => {
      if (!stream) return;
      const [code] = await detector.detect(video).catch(() => []);
      const found = code && read(code.rawValue);
      if (found?.path) {
        stop();
        window.location.assign(found.path);
        return;
      }
      if (found) say(found.words);
      setTimeout(look, 150);
    };
    look();
  });
  window.addEventListener("pagehide", stop);
}
