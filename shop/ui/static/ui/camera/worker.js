/* Reads codes out of pictures beside the page, so that the page's own policy needs no exception for compiled code: this file
   is served with one of its own (shop/ui/camera.py). */
let detector;
onmessage = async ({ data }) => {
  try {
    if (data.reader) {
      importScripts(data.reader);
      BarcodeDetectionAPI.prepareZXingModule({ overrides: { locateFile: () => data.wasm }, equalityFn: Object.is });
      detector = new BarcodeDetectionAPI.BarcodeDetector({ formats: data.kinds });
      postMessage({ text: "" });
      return;
    }
    const found = await detector.detect(data.frame);
    data.frame.close();
    postMessage({ text: found[0]?.rawValue || "" });
  } catch (error) {
    postMessage({ error: String(error) });
  }
};
