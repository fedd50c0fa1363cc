// Lists what was tapped without a connection, and what the service refused when it was sent.
(() => {
  const list = document.getElementById("deeds");
  if (!("serviceWorker" in navigator)) return;
  const workers = navigator.serviceWorker;
  const titles = JSON.parse(list.dataset.titles);
  const fields = JSON.parse(list.dataset.fields);
  const parts = JSON.parse(list.dataset.parts);
  const findings = JSON.parse(list.dataset.findings);
  const choices = JSON.parse(list.dataset.choices);
  const HIDDEN = ["csrf", "id", "kind", "units", "place", "rig", "from", "sure"];
  const UNITS = {
    us: { temperature: "°F", thermostat: "°F", height: "in", mass: "lb", resolution: "lb", pressure: "psi" },
    si: { temperature: "°C", thermostat: "°C", height: "cm", mass: "kg", resolution: "kg", pressure: "kPa" },
  };
  const SAME_UNITS = { minutes: "min", watts: "W" };
  const places = new Map(); // what codes are called, as the kept page says on which a drum was moved
  let person = null; // who is signed in, where the service can be asked

  const tell = (message) => workers.ready.then((registration) => registration.active.postMessage(message));

  function element(name, words, kind) {
    const made = document.createElement(name);
    if (words) made.textContent = words;
    if (kind) made.className = kind;
    return made;
  }

  function button(words, message) {
    const made = element("button", words);
    made.type = "button";
    made.addEventListener("click", () => tell(message()));
    return made;
  }

  function reasons({ status, page }) {
    if (status === 401) return [say("Nobody was signed in.")];
    const main = new DOMParser().parseFromString(page, "text/html").querySelector("main");
    const faults = [...(main?.querySelectorAll("p.fault") ?? [])];
    const said = faults.length ? faults : [...(main?.querySelectorAll("h1, .problem-detail, .problem-facts dd") ?? [])];
    return said.map((part) => {
      const [words, tag] = [part.textContent.trim(), part.dataset.refused];
      return tag && !words.startsWith(tag) ? `${tag}: ${words}` : words;
    }).filter(Boolean);
  }

  // The drums of a move that may not go.
  function stay({ page }) {
    const found = new DOMParser().parseFromString(page, "text/html").querySelectorAll("[data-refused]");
    return [...new Set([...found].map((part) => part.dataset.refused))];
  }

  function link(tag) {
    const made = element("a", tag, "tag");
    made.href = `/drums/${tag}`;
    return made;
  }

  // A field as a person filled it in: what stood above it, and the value in its unit or words.
  function said(name, value, form) {
    const label = fields[name] ?? name.replace("_", " ");
    if (value === "yes") return label;
    const unit = SAME_UNITS[name] ?? UNITS[form.get("units")]?.[name];
    const words = unit ? `${value}\u00a0${unit}` : places.get(value) ?? choices[value] ?? value;
    return `${label}: ${words}`;
  }

  async function lookUpPlaces() {
    for (const { kind, drum, body } of shown) {
      const code = new URLSearchParams(body).get("to");
      if (kind !== "moved" || !code || places.has(code)) continue;
      const kept = await (await caches.match(`/drums/${drum}`, { ignoreVary: true }))?.text() ?? "";
      const found = new DOMParser().parseFromString(kept, "text/html").querySelectorAll("select[name=to] option");
      for (const option of found) places.set(option.value, option.textContent.trim());
    }
    show();
  }

  // What a record is about: a sentence with places for values, the values, and what else it says.
  function told(deed, form) {
    const tags = form.getAll("drum").map((value) => value.split("@")[0]);
    if (deed.kind === "move") return {
      words: tags.length === 1 ? say("1 drum moved to {place}, {time}") : say("{count} drums moved to {place}, {time}"),
      values: { "{count}": String(tags.length), "{place}": element("b", form.get("to_name") || form.get("to")) },
      rest: [...tags.flatMap((tag) => [link(tag), " "]), [form.get("at"), form.get("note")].filter(Boolean).join(", ")],
    };
    const shown = [...form].filter(([name, value]) => value && value !== "not_looked" && !HIDDEN.includes(name));
    if (deed.kind === "rig-checks") return {
      words: say("Look at {rig}, {time}"),
      values: { "{rig}": element("b", form.get("rig")) },
      rest: [shown.map(([name, value]) => parts[name] ? `${parts[name]} ${findings[value] ?? value}` : value).join(", ")],
    };
    return {
      words: say("{deed} of {drum}, {time}"),
      values: { "{deed}": element("b", titles[deed.kind] ?? deed.kind), "{drum}": link(deed.drum) },
      rest: [shown.map(([name, value]) => said(name, value, form)).join(", ")],
    };
  }

  function line(deed) {
    const form = new URLSearchParams(deed.body);
    const at = new Date(deed.tapped).toLocaleString(say.locales, { weekday: "long", hour: "numeric", minute: "2-digit" });
    const item = element("li", "", deed.refused ? "deed deed-refused" : "deed");
    const head = element("p", "", "deed-what");
    const { words, values, rest } = told(deed, form);
    values["{time}"] = at;
    head.append(...words.split(/(\{\w+\})/).map((part) => values[part] ?? part));
    item.append(head);
    const more = element("p", "", "quiet");
    more.append(...rest);
    if (more.textContent) item.append(more);
    if (!deed.refused) {
      item.append(element("p", say("Waits for a connection.")));
      return item;
    }
    for (const words of reasons(deed.refused)) item.append(element("p", words, "fault"));
    const acts = element("p", "", "deed-do");
    const held = stay(deed.refused);
    const others = form.getAll("drum").length - held.length;
    if (person && held.length && others > 0) {
      const rest = others === 1 ? say("Send the other drum as {name}") : say("Send the other {count} drums as {name}");
      acts.append(button(rest.replace("{count}", others).replace("{name}", person.name), () => ({ kind: "again", seq: deed.seq, csrf: person.csrf, without: held })));
    }
    if (person) acts.append(button(say("Send again as {name}").replace("{name}", person.name), () => ({ kind: "again", seq: deed.seq, csrf: person.csrf })));
    else {
      const sign = element("a", say("Sign in to send it again"), "button");
      sign.href = "/sign-in?next=/waiting";
      acts.append(sign);
    }
    acts.append(button(say("Throw it away"), () => ({ kind: "drop", seq: deed.seq })));
    item.append(acts);
    return item;
  }

  let shown = null; // until the worker has said what waits
  const show = () => {
    if (!shown) return;
    list.replaceChildren(...shown.map(line));
    document.getElementById("nothing").hidden = shown.length > 0;
  };

  async function identify() {
    const answer = await fetch("/api/v1/session").catch(() => null);
    if (!answer?.ok) return;
    person = await answer.json();
    show();
  }

  workers.addEventListener("message", ({ data }) => {
    if (data.kind !== "waiting") return;
    shown = data.deeds;
    show();
    lookUpPlaces();
    if (!person) identify();
  });
  const send = document.getElementById("send");
  send.addEventListener("click", () => tell({ kind: "send" }));
  send.hidden = false;
  tell({ kind: "list" });
})();
