// A photograph made small enough to lie on the device and to cross a weak link: what the server would make of it, before it
// is sent. The same words as the server's where that cannot be.
const MOST_BYTES = 20 * 1024 * 1024;
const MOST_SIDE = 2400;
const QUALITIES = [0.8, 0.65, 0.5];
// base64 is a third longer; the server takes 4 MB of it
const MOST_SENT = 2.9 * 1024 * 1024;

export class NoPicture extends Error {}

async function drawn(file) {
  let bitmap;
  try {
    bitmap = await createImageBitmap(file, { imageOrientation: "from-image" });
  } catch {
    throw new NoPicture("This is not a photograph that can be read. Use JPEG, PNG or WebP.");
  }
  const scale = Math.min(1, MOST_SIDE / Math.max(bitmap.width, bitmap.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(bitmap.width * scale));
  canvas.height = Math.max(1, Math.round(bitmap.height * scale));
  canvas.getContext("2d").drawImage(bitmap, 0, 0, canvas.width, canvas.height);
  bitmap.close();
  return canvas;
}

const asBlob = (canvas, quality) => new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", quality));

function asText(blob) {
  return new Promise((resolve, reject) => {
    const reader = new FileReader();
    reader.onload = () => resolve(reader.result.slice(reader.result.indexOf(",") + 1));
    reader.onerror = () => reject(reader.error);
    reader.readAsDataURL(blob);
  });
}

// the photograph as a JPEG in base64; raises NoPicture with words
export async function smaller(file) {
  if (file.size > MOST_BYTES) throw new NoPicture("The photograph is over 20 MB. Take it at a smaller size.");
  const canvas = await drawn(file);
  for (const quality of QUALITIES) {
    const blob = await asBlob(canvas, quality);
    if (blob && blob.size <= MOST_SENT) return asText(blob);
  }
  throw new NoPicture("The photograph cannot be made small enough on this device. Take it at a smaller size.");
}
