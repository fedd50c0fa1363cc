// Draws the drum's curves, and draws them anew when asked: another future, another colour scheme.
(() => {
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  let turn = 0;
  let drawn = null; // the moment the drawn curves were computed for

  // A picture is no stop for the keyboard: the table below has the same figures.
  function passOver(root) {
    for (const part of root.querySelectorAll("*")) {
      if (part.tabIndex >= 0) part.tabIndex = -1;
      if (part.shadowRoot) passOver(part.shadowRoot);
    }
  }

  async function draw() {
    const box = document.getElementById("chart");
    if (!box || !window.Bokeh) return;
    const mine = ++turn;
    const asked = new URL(box.dataset.src, location.href);
    asked.searchParams.set("ahead", box.dataset.ahead);
    asked.searchParams.set("scheme", dark.matches ? "dark" : "light");
    try {
      const answer = await fetch(asked, { headers: { Accept: "application/json" } });
      if (!answer.ok) throw new Error(`HTTP ${answer.status}`);
      const item = await answer.json();
      if (mine !== turn) return; // a later choice is already under way
      box.replaceChildren();
      await window.Bokeh.embed.embed_item(item, "chart");
      passOver(box);
      drawn = box.dataset.computed;
    } catch (fault) {
      if (mine === turn) box.textContent = say("The curves could not be read ({fault}). The table has the same figures.").replace("{fault}", fault instanceof TypeError ? say("no connection") : fault.message);
    }
  }

  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[data-ahead]");
    if (!link) return;
    event.preventDefault();
    document.getElementById("chart").dataset.ahead = link.dataset.ahead;
    for (const other of document.querySelectorAll("a[data-ahead]")) other.removeAttribute("aria-current");
    link.setAttribute("aria-current", "true");
    const here = new URL(location.href);
    here.searchParams.set("ahead", link.dataset.ahead);
    history.replaceState(null, "", here);
    draw();
  });
  dark.addEventListener("change", draw);
  document.addEventListener("drumkeep:renewed", () => {
    if (document.getElementById("chart")?.dataset.computed !== drawn) draw();
  });
  document.addEventListener("DOMContentLoaded", draw);
})();
