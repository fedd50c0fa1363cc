// Where the browser can read codes itself, a phone's camera fills in the supplier's label.
"use strict";
(async () => {
  const field = document.getElementById("label");
  if (!field || !("BarcodeDetector" in window) || !navigator.mediaDevices) return;
  const known = await window.BarcodeDetector.getSupportedFormats();
  const formats = ["code_128", "data_matrix", "qr_code"].filter((name) => known.includes(name));
  if (!formats.length) return;
  const detector = new window.BarcodeDetector({ formats });

  const button = document.createElement("button");
  const video = document.createElement("video");
  button.type = "button";
  video.muted = true;
  video.playsInline = true;
  field.form.append(button);

  const stop = () => {
    for (const track of video.srcObject?.getTracks() ?? []) track.stop();
    video.srcObject = null;
    video.remove();
    button.textContent = "Use the camera";
  };

  const look = async () => {
    if (!video.srcObject) return;
    const [found] = await detector.detect(video).catch(() => []);
    if (!found) {
      requestAnimationFrame(look);
      return;
    }
    stop();
    field.value = found.rawValue;
    field.form.requestSubmit();
  };

  button.addEventListener("click", async () => {
    if (video.srcObject) {
      stop();
      return;
    }
    try {
      video.srcObject = await navigator.mediaDevices.getUserMedia({
        video: { facingMode: "environment" },
      });
    } catch {
      button.textContent = "No camera: type the label";
      return;
    }
    button.textContent = "Stop the camera";
    field.form.append(video);
    await video.play();
    look();
  });
  stop();
})();
