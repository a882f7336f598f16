/* The digits of the PIN page. Without this file the box is typed into. */
(() => {
  "use strict";
  const pad = document.querySelector("[data-pin-pad]");
  const box = pad && document.getElementById(pad.dataset.pinPad);
  if (!box) return;
  pad.hidden = false;
  pad.addEventListener("click", (e) => {
    const key = e.target.closest("[data-digit]");
    if (!key) return;
    box.value = key.dataset.digit ? (box.value + key.dataset.digit).slice(0, 12) : box.value.slice(0, -1);
  });
})();
