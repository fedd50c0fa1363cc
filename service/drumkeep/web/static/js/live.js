// Keeps the page true: when the service says something changed, reads this page again and puts its
// main part in place of the old one. What is open, focused, scrolled or half written stays so.
(() => {
  const LEAST_MS = 4000; // readings come in bursts; one renewal serves them all
  const RETRY_MS = 15000;
  const RENEWED = ".task[id], .alarm[id], .group[id]";
  const stale = document.getElementById("stale");
  let renewedAt = Date.now();
  let waiting = null;
  let busy = false;
  let missed = false;
  let pressed = false;

  const main = () => document.getElementById("main");
  const clock = (ms) => new Date(ms).toLocaleTimeString([], { hour: "numeric", minute: "2-digit" });

  // What an item says apart from times, which pass without anything having changed.
  const said = (item) => item.querySelector(".task-text, .alarm-state, .group-label")?.textContent;

  function changed(field) {
    if (field.matches("select")) {
      const usual = [...field.options].findIndex((option) => option.defaultSelected);
      return field.selectedIndex !== Math.max(usual, 0);
    }
    const ticked = field.type === "checkbox" || field.type === "radio";
    return ticked ? field.checked !== field.defaultChecked : field.value !== field.defaultValue;
  }

  function inUse() {
    if (pressed || main().querySelector("video")) return true; // a finger is down, the camera is on
    const at = document.activeElement;
    if (at && main().contains(at) && at.matches("input, select, textarea")) return true;
    return [...main().querySelectorAll("input, select, textarea")].some(changed);
  }

  for (const kind of ["pointerdown", "pointerup", "pointercancel"]) {
    document.addEventListener(kind, () => {
      pressed = kind === "pointerdown";
      if (!pressed && missed) setTimeout(soon, 500);
    }, true);
  }

  function sayStale(words) {
    stale.hidden = !words;
    if (stale.textContent !== words) stale.textContent = words;
  }

  // By what a button without an id is known again: what it says, and where its form goes.
  const mark = (e) => [e.tagName, e.value, e.form?.getAttribute("action"), e.textContent.trim()].join("|");

  function place(fresh) {
    const old = main();
    const open = new Map([...old.querySelectorAll("details[id]")].map((d) => [d.id, d.open]));
    const focused = old.contains(document.activeElement) ? document.activeElement : null;
    const focusedId = focused && (focused.id || focused.closest("details[id]")?.id);
    const focusedLink = focused?.getAttribute("href");
    const focusedMark = focused && mark(focused);
    const words = new Map([...old.querySelectorAll(RENEWED)].map((e) => [e.id, said(e)]));
    const chart = old.querySelector("#chart");
    const [x, y] = [scrollX, scrollY];

    for (const details of fresh.querySelectorAll("details[id]")) {
      if (open.has(details.id)) details.open = open.get(details.id);
    }
    const newChart = fresh.querySelector("#chart");
    if (chart && newChart) {
      chart.dataset.computed = newChart.dataset.computed;
      newChart.replaceWith(chart); // keeps its drawing until the new one is there
    }
    old.replaceWith(fresh);
    scrollTo(x, y);

    if (focused) {
      let next = focusedId ? document.getElementById(focusedId) : null;
      if (next?.matches("details")) next = next.querySelector("summary");
      if (focusedLink && !focused.id) next = [...fresh.querySelectorAll("a[href]")].find((a) => a.getAttribute("href") === focusedLink) ?? next;
      next ??= [...fresh.querySelectorAll("button, summary")].find((e) => mark(e) === focusedMark);
      (next ?? fresh).focus({ preventScroll: true });
    }
    for (const item of fresh.querySelectorAll(RENEWED)) {
      if (words.get(item.id) !== said(item)) item.classList.add("changed");
    }
    document.dispatchEvent(new Event("drumkeep:renewed"));
  }

  async function renew() {
    waiting = null;
    if (busy || document.hidden || inUse()) {
      missed = true;
      return;
    }
    busy = true;
    missed = false;
    try {
      const answer = await fetch(location.href, { headers: { Accept: "text/html" }, redirect: "manual" });
      if (answer.type === "opaqueredirect" || answer.status === 401) {
        sayStale(say("You are signed out. Load the page again to sign in."));
        return;
      }
      if (!answer.ok) throw new Error(`answer ${answer.status}`);
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.getElementById("main");
      if (!fresh || inUse()) {
        missed = true;
        return;
      }
      place(document.adoptNode(fresh));
      renewedAt = Date.now();
      sayStale("");
    } catch {
      sayStale(say("Not live: what you see is from {time}.").replace("{time}", clock(renewedAt)));
      missed = true;
    } finally {
      busy = false;
    }
  }

  function soon() {
    if (waiting === null) waiting = setTimeout(renew, Math.max(0, renewedAt + LEAST_MS - Date.now()));
  }

  let source = null;
  let lost = false;

  function listen() {
    source = new EventSource("/live");
    source.addEventListener("changed", soon);
    source.addEventListener("open", () => {
      if (lost) soon(); // whatever happened in between is on the page that is read now
      lost = false;
      sayStale("");
    });
    source.addEventListener("error", () => {
      lost = true;
      sayStale(say("Not live: what you see is from {time}. Trying again.").replace("{time}", clock(renewedAt)));
      // A browser gives up on an answer that is no stream, such as a proxy's error page.
      if (source.readyState === EventSource.CLOSED) setTimeout(listen, RETRY_MS);
    });
  }

  document.addEventListener("visibilitychange", () => { if (!document.hidden && missed) soon(); });
  document.addEventListener("focusout", () => { if (missed) setTimeout(soon, 500); });
  addEventListener("pagehide", () => source.close());
  addEventListener("pageshow", (event) => { if (event.persisted) { lost = true; listen(); } });
  listen();
})();
