// Has the worker stand between this page and the connection, and says how much waits in it.
(() => {
  if (!("serviceWorker" in navigator)) return;
  const workers = navigator.serviceWorker;
  const place = document.getElementById("waits");

  function say(deeds) {
    const refused = deeds.filter((deed) => deed.refused).length;
    const waiting = deeds.length - refused;
    const parts = [];
    if (refused) parts.push(refused === 1 ? "1 record was refused" : `${refused} records were refused`);
    if (waiting) parts.push(waiting === 1 ? "1 record waits for a connection" : `${waiting} records wait for a connection`);
    place.hidden = !parts.length;
    place.querySelector("a").textContent = `${parts.join(", ")}. Look.`;
  }

  const ask = (kind) => workers.ready.then((registration) => registration.active.postMessage({ kind }));

  workers.addEventListener("message", ({ data }) => {
    if (data.kind === "waiting" && location.pathname !== "/waiting") say(data.deeds);
  });
  window.addEventListener("online", () => ask("send"));
  workers.register("/worker.js").then(() => ask("send"), () => {});
})();
