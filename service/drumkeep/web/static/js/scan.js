// Where the browser can read codes itself, a phone's camera fills in the supplier's label.
"use strict";
(async () => {
  const field = document.getElementById("label");
  if (!field || !("BarcodeDetector" in window) || !navigator.mediaDevices) return;
  const wanted = ["code_128", "data_matrix", "qr_code"];
  const known = await window.BarcodeDetector.getSupportedFormats();
  const formats = wanted.filter((name) => known.includes(name));
  if (!formats.length) return;

  const button = document.createElement("button");
  button.type = "button";
  button.textContent = "Use the camera";
  field.form.append(button);

  button.addEventListener("click", async () => {
    let stream;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    } catch {
      button.textContent = "No camera: type the label";
      return;
    }
    const video = document.createElement("video");
    video.muted = true;
    video.playsInline = true;
    video.srcObject = stream;
    field.form.append(video);
    await video.play();
    const detector = new window.BarcodeDetector({ formats });
    const look = async () => {
      const found = (await detector.detect(video).catch(() => []))[0];
      if (!found) {
        if (video.isConnected) requestAnimationFrame(look);
        return;
      }
      for (const track of stream.getTracks()) track.stop();
      video.remove();
      field.value = found.rawValue;
      field.form.requestSubmit();
    };
    look();
  });
})();
