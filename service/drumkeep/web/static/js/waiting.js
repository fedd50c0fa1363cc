// Lists what was tapped without a connection, and what the service refused when it was sent.
(() => {
  const list = document.getElementById("deeds");
  if (!("serviceWorker" in navigator)) return;
  const workers = navigator.serviceWorker;
  const titles = JSON.parse(list.dataset.titles);
  const fields = JSON.parse(list.dataset.fields);
  const HIDDEN = ["csrf", "id", "kind", "units"];
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
    const said = [...(main?.querySelectorAll("h1, .problem-detail, .problem-facts dd") ?? [])];
    return said.map((part) => part.textContent.trim()).filter(Boolean);
  }

  function line(deed) {
    const form = new URLSearchParams(deed.body);
    const at = new Date(deed.tapped).toLocaleString(say.locales, { weekday: "long", hour: "numeric", minute: "2-digit" });
    const item = element("li", "", deed.refused ? "deed deed-refused" : "deed");
    const head = element("p", "", "deed-what");
    const tag = element("a", deed.drum, "tag");
    tag.href = `/drums/${deed.drum}`;
    const values = { "{deed}": element("b", titles[deed.kind] ?? deed.kind), "{drum}": tag, "{time}": at };
    head.append(...say("{deed} of {drum}, {time}").split(/(\{\w+\})/).map((part) => values[part] ?? part));
    item.append(head);
    const said = [...form].filter(([name, value]) => value && !HIDDEN.includes(name));
    if (said.length) item.append(element("p", said.map(([name, value]) => `${fields[name] ?? name.replace("_", " ")} ${value}`).join(", "), "quiet"));
    if (!deed.refused) {
      item.append(element("p", say("Waits for a connection.")));
      return item;
    }
    for (const words of reasons(deed.refused)) item.append(element("p", words, "fault"));
    const acts = element("p", "", "deed-do");
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
    if (!person) identify();
  });
  const send = document.getElementById("send");
  send.addEventListener("click", () => tell({ kind: "send" }));
  send.hidden = false;
  tell({ kind: "list" });
})();
