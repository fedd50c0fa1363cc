// Fields that codes are scanned into: by a hand-held scanner, which types and ends with Enter, or by
// the camera where the browser reads codes itself and the page came over HTTPS. Without script such
// a field is a plain one in a form with a button.
//
// The macro scan_field (templates/macros/scan.html) writes the field and its camera button:
//   <input data-scan="qr">          drums' and places' own labels (an address, or what was typed)
//   <input data-scan="qr label">    a supplier's label too (GS1)
//   data-scan-fill                  it is one field of several: what is read is filled in, and the
//                                   next field comes; without it, what is read is sent at once
//   data-scan-again                 one is scanned after another: the camera comes back by itself
//                                   on the page that answers
//   <button data-scan-camera="id of the field" data-stop="words" data-none="words" hidden>
//
// What an address means is the server's to know (domain/scans.py). A page with one such field takes
// keys that are typed at nothing into it, so that a scanner needs no tap first.
"use strict";
(() => {
  const FORMATS = { qr: ["qr_code"], label: ["code_128", "data_matrix"] };
  const AGAIN = "drumkeep-scan";
  const fields = () => [...document.querySelectorAll("input[data-scan]")];

  const take = (field) => {
    field.dispatchEvent(new Event("change", { bubbles: true }));
    if (!("scanFill" in field.dataset)) {
      field.form.requestSubmit(field.form.querySelector("button:not([type=button])"));
      return;
    }
    const all = [...field.form.elements].filter((e) => e.type !== "hidden" && e.offsetParent);
    all[all.indexOf(field) + 1]?.focus();
  };

  document.addEventListener("keydown", (event) => {
    const field = event.target;
    if (event.key === "Enter" && field.matches?.("[data-scan-fill]") && field.value) {
      event.preventDefault();
      take(field);
    }
    const plain = event.key.length === 1 && event.key !== " ";
    if (!plain || event.ctrlKey || event.metaKey || event.altKey) return;
    const [only, ...others] = fields();
    if (only && !others.length && document.activeElement === document.body) only.focus();
  });

  const watch = (field, button, detector) => {
    const video = document.createElement("video");
    const words = button.textContent;
    video.className = "scan-view";
    video.muted = true;
    video.playsInline = true;

    const stop = () => {
      for (const track of video.srcObject?.getTracks() ?? []) track.stop();
      video.srcObject = null;
      video.remove();
      button.textContent = words;
    };

    const [before, last] = JSON.parse(sessionStorage.getItem(AGAIN) ?? "[]");

    const look = async () => {
      if (!video.srcObject) return;
      const [found] = await detector.detect(video).catch(() => []);
      if (!found || found.rawValue === last) { // what was read before is still in view
        requestAnimationFrame(look);
        return;
      }
      stop();
      const again = JSON.stringify([field.id, found.rawValue]);
      if ("scanAgain" in field.dataset) sessionStorage.setItem(AGAIN, again);
      field.value = found.rawValue;
      take(field);
    };

    const start = async () => {
      try {
        video.srcObject = await navigator.mediaDevices.getUserMedia({
          video: { facingMode: "environment" },
        });
      } catch {
        button.textContent = button.dataset.none;
        return;
      }
      button.textContent = button.dataset.stop;
      button.after(video);
      await video.play();
      look();
    };

    button.addEventListener("click", () => {
      sessionStorage.removeItem(AGAIN);
      if (video.srcObject) stop();
      else start();
    });
    button.hidden = false;
    if (before === field.id) start();
  };

  const cameras = async () => {
    if (!("BarcodeDetector" in window) || !navigator.mediaDevices) return;
    const known = await window.BarcodeDetector.getSupportedFormats();
    for (const field of fields()) {
      const button = document.querySelector(`[data-scan-camera="${field.id}"]`);
      const wanted = field.dataset.scan.split(" ").flatMap((kind) => FORMATS[kind] ?? []);
      const formats = wanted.filter((name) => known.includes(name));
      if (button && formats.length) watch(field, button, new window.BarcodeDetector({ formats }));
    }
    sessionStorage.removeItem(AGAIN);
  };
  cameras();
  document.addEventListener("drumkeep:renewed", cameras); // by live.js, which puts new fields there
})();
