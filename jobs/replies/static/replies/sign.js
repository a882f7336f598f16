/* Signing with a finger. Without this file the name that is typed is enough. */
(() => {
  "use strict";
  const place = document.getElementById("sign");
  const form = document.getElementById("reply");
  if (!place || !form) return;
  const canvas = place.querySelector("canvas");
  const pen = canvas.getContext("2d");
  const kept = place.querySelector("[name=signature]");
  let drawn = false, down = null;
  const clear = () => {
    pen.fillStyle = "#fff";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    drawn = false;
  };
  const at = (e) => {
    const box = canvas.getBoundingClientRect();
    return [(e.clientX - box.left) * canvas.width / box.width, (e.clientY - box.top) * canvas.height / box.height];
  };
  canvas.addEventListener("pointerdown", (e) => {
    down = at(e);
    canvas.setPointerCapture(e.pointerId);
    e.preventDefault();
  });
  canvas.addEventListener("pointermove", (e) => {
    if (!down) return;
    const to = at(e);
    pen.strokeStyle = "#10202c";
    pen.lineWidth = 4;
    pen.lineCap = pen.lineJoin = "round";
    pen.beginPath();
    pen.moveTo(...down);
    pen.lineTo(...to);
    pen.stroke();
    down = to;
    drawn = true;
  });
  for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, () => { down = null; });
  place.querySelector("button").addEventListener("click", clear);
  form.addEventListener("submit", () => { kept.value = drawn ? canvas.toDataURL("image/png") : ""; });
  clear();
  place.hidden = false;
})();
