// Has the worker stand between this page and the connection, and says how much waits in it.
(() => {
  if (!("serviceWorker" in navigator)) return;
  const workers = navigator.serviceWorker;
  const place = document.getElementById("waits");

  const counted = (count, one, many) => count === 1 ? one : many.replace("{count}", count);

  function tell(deeds) {
    const refused = deeds.filter((deed) => deed.refused).length;
    const waiting = deeds.length - refused;
    const parts = [];
    if (refused) parts.push(counted(refused, say("1 record was refused"), say("{count} records were refused")));
    if (waiting) parts.push(counted(waiting, say("1 record waits for a connection"), say("{count} records wait for a connection")));
    place.hidden = !parts.length;
    place.querySelector("a").textContent = say("{what}. Look.").replace("{what}", parts.join(", "));
  }

  const ask = (kind) => workers.ready.then((registration) => registration.active.postMessage({ kind }));

  workers.addEventListener("message", ({ data }) => {
    if (data.kind === "waiting" && location.pathname !== "/waiting") tell(data.deeds);
  });
  window.addEventListener("online", () => ask("send"));
  workers.register("/worker.js").then(() => ask("send"), () => {});
})();
