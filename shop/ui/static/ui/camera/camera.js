/* A code read by the camera. Loaded when somebody presses the button, and only then.
   The browser's own reader where it knows our kinds of code; else the reader beside this file, in a worker. */
const KINDS = ["qr_code", "code_128", "ean_13", "ean_8", "upc_a", "upc_e", "code_39", "itf", "data_matrix"];
const NEEDED = ["qr_code", "code_128", "ean_13"];

/* detect(video) answers the text of a code in the picture, or "" */
async function ownReader() {
  if (!("BarcodeDetector" in window)) return null;
  try {
    const known = await BarcodeDetector.getSupportedFormats();
    if (!NEEDED.every((kind) => known.includes(kind))) return null;
    const reader = new BarcodeDetector({ formats: KINDS.filter((kind) => known.includes(kind)) });
    return { detect: async (video) => (await reader.detect(video))[0]?.rawValue || "", end() {} };
  } catch { return null; } // it is there in name only
}

function workerReader({ worker, reader, wasm }) {
  const w = new Worker(worker), waiting = [];
  w.onmessage = (e) => waiting.shift()?.ok(e.data);
  w.onerror = () => { for (const one of waiting.splice(0)) one.no(new Error("reader")); };
  const ask = (data, moved = []) => new Promise((ok, no) => { waiting.push({ ok, no }); w.postMessage(data, moved); });
  const ready = ask({ reader, wasm, kinds: KINDS });
  return {
    async detect(video) {
      if ((await ready).error) throw new Error("reader");
      const frame = await createImageBitmap(video), answer = await ask({ frame }, [frame]);
      if (answer.error) throw new Error("reader");
      return answer.text;
    },
    end: () => w.terminate(),
  };
}

function trouble(error) {
  if (error.name === "NotAllowedError" || error.name === "SecurityError") return "refused";
  if (error.name === "NotFoundError" || error.name === "OverconstrainedError") return "none";
  if (error.name === "NotReadableError" || error.name === "AbortError") return "busy";
  return "broken";
}

/* Show the dialog until a code is read or somebody closes it. Answers the code, with the focus in the box before `button`;
   or "". */
export async function readCode(dialog, button) {
  const video = dialog.querySelector("video"), said = dialog.querySelector("[role=status]");
  const tell = (word) => { said.textContent = said.dataset[word]; dialog.dataset.now = word; };
  let stream, reader, open = true;
  const closed = new Promise((done) => dialog.addEventListener("close", () => { open = false; done(); }, { once: true }));
  dialog.showModal();
  tell("start");
  try {
    if (!isSecureContext) throw Object.assign(new Error(), { word: "insecure" });
    if (!navigator.mediaDevices?.getUserMedia) throw Object.assign(new Error(), { word: "none" });
    stream = await navigator.mediaDevices.getUserMedia({
      audio: false, video: { facingMode: { ideal: "environment" }, width: { ideal: 1280 }, height: { ideal: 720 } },
    });
    if (!open) return "";
    video.srcObject = stream;
    await video.play();
    reader = (await ownReader()) ?? workerReader(dialog.dataset);
    if (open) tell("look");
    while (open) {
      const text = video.readyState >= 2 ? await reader.detect(video) : "";
      if (text && open) {
        dialog.close();
        button.previousElementSibling?.focus();
        return text;
      }
      await new Promise((next) => setTimeout(next, 120));
    }
  } catch (error) {
    if (!open) return "";
    tell(error.word || trouble(error));
    await closed;
  } finally {
    reader?.end();
    stream?.getTracks().forEach((track) => track.stop());
    video.srcObject = null;
  }
  return "";
}
