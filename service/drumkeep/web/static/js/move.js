// Moving drums where nobody can be asked: on an old copy of the page, which the worker gives, what was
// scanned stands in the address. It is listed as it is, and looked up when it is sent.
"use strict";
(() => {
  // What waits is told with the place's name, which the form does not send otherwise.
  document.addEventListener("submit", ({ target }) => {
    const { to, to_name } = target.elements;
    if (to && to_name) to_name.value = to.selectedOptions[0]?.dataset.name ?? "";
  });

  const form = document.querySelector("form.move");
  if (!form || !document.querySelector(".old-copy")) return;
  const asked = new URLSearchParams(location.search);
  const { to } = form.elements;
  const place = asked.get("to") ?? "";
  if (place && ![...to.options].some((option) => option.value === place)) to.add(new Option(place, place));
  to.value = place;

  const offline = document.getElementById("move-unlooked").content.cloneNode(true);
  const list = offline.querySelector(".move-list");
  const line = list.firstElementChild;
  const tags = asked.getAll("drum");
  list.replaceChildren(...tags.map((tag) => {
    const item = line.cloneNode(true);
    const tick = item.querySelector("input");
    tick.value = tag;
    tick.defaultChecked = true;
    item.querySelector(".tag").textContent = tag;
    return item;
  }));
  const words = tags.length === 1 ? say("1 drum to move") : say("{count} drums to move");
  offline.querySelector("legend").textContent = words.replace("{count}", tags.length);
  const name = to.selectedOptions[0]?.dataset.name;
  if (name) offline.querySelector(".strong").textContent = say("Move to {place}").replace("{place}", name);
  offline.querySelector(".move-do").hidden = !tags.length;
  offline.querySelector("fieldset").hidden = !tags.length;
  to.closest("label").after(offline);
})();
