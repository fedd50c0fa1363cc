// Stands between the pages and a connection that may not be there. A page that was seen once is
// shown again, marked as old; what was tapped meanwhile waits here under its own time and id and is
// sent in order once there is a connection. What the service then refuses is kept for a person.
// Every other page needs the service, and says so: a check before hooking up above all.
"use strict";

const PAGES = "pages-1";
const FILES = "files-1";
const MOST_PAGES = 120;
const MOST_FILES = 60;
const KEPT_AT = "X-Kept-At";
// Pages say it in their own language; those kept by an older version of this do not.
const IT_IS_OLD = "No connection, or a slow one. This is how it was on {time}.";
const SHELL = "/waiting";
const NO_CONNECTION = "/no-connection";
const NOT_CHECKED = "/no-connection/hookup";
const SHELLS = [SHELL, NO_CONNECTION, NOT_CHECKED];

// With an old copy at hand nobody in the cold waits longer than this for a new one.
const PATIENCE_MS = 5000;
const SEND_PATIENCE_MS = 15000;
// A scan that is not looked up by then goes on the list as it is: the next drum is in the hands.
const SCAN_PATIENCE_MS = 3000;
// The same form sent twice within this is one tap too many, later it is another deed.
const SAME_DEED_MS = 60000;

const FORGET_MS = 30 * 86400000;

const MOVE = "/move";
const RIG_CHECKS = "/rig-checks";
const FORMS = [MOVE, RIG_CHECKS]; // kept though nobody opened them: they are needed where there is no coverage
const FORMS_ANEW_MS = 3600000;
const KEPT_PAGES = /^\/(floor(\/table)?|alarms|move|rig-checks|(d|drums)\/[^/]+)$/;
const DEEDS = /^\/(drums\/[^/]+\/events|move|rig-checks)$/;
const HOOKUP = /^\/hookup(\/|$)/;
const SIGNING = /^\/sign-(in(\/(once\/[^/]+|own-password))?|out)$/; // by a form
const SIGNED = "/sign-in/company/back"; // by coming back from the company's sign-in
const GATEWAY_TROUBLE = [502, 503, 504];

self.addEventListener("install", (event) => {
  event.waitUntil(Promise.all(SHELLS.map(keepShell)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(self.clients.claim());
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "GET" && url.pathname.startsWith("/static/")) {
    event.respondWith(fileOf(request));
  } else if (request.mode === "navigate" && request.method === "GET" && url.pathname === SHELL) {
    event.respondWith(keepShell(SHELL).then(inItsLanguage).catch(() => shell(SHELL)));
  } else if (request.mode === "navigate" && request.method === "GET" && KEPT_PAGES.test(url.pathname)) {
    event.respondWith(pageOf(event));
  } else if (request.method === "POST" && DEEDS.test(url.pathname)) {
    event.respondWith(deed(request, url.pathname));
  } else if (request.method === "POST" && SIGNING.test(url.pathname)) {
    // Another person may use this phone next: nothing of this one's stays to be read.
    event.respondWith(forget().then(() => fetch(request)));
  } else if (request.mode === "navigate" && url.pathname === SIGNED) {
    event.respondWith(forget().then(() => fetch(request)).catch(() => shell(NO_CONNECTION)));
  } else if (request.mode === "navigate") {
    // Nothing old may stand in for what needs the service.
    const otherwise = HOOKUP.test(url.pathname) ? NOT_CHECKED : NO_CONNECTION;
    event.respondWith(fetch(request).then((answer) => {
      event.waitUntil(inItsLanguage(answer));
      return answer;
    }, () => shell(otherwise)));
  }
});

self.addEventListener("sync", (event) => {
  if (event.tag === "send") event.waitUntil(send());
});

self.addEventListener("message", (event) => {
  const { kind, seq, csrf, without } = event.data;
  const answer = async () => {
    if (kind === "drop") await drop(seq);
    if (kind === "again") await change(seq, { csrf, refused: null }, without);
    if (kind !== "list") await send();
    event.source.postMessage({ kind: "waiting", deeds: await deeds() });
  };
  event.waitUntil(answer());
});

// ---- pages and files -----------------------------------------------------------------------

async function fileOf(request) {
  const kept = await caches.open(FILES);
  const found = await kept.match(request);
  if (found) return found; // its address carries a digest of what it says
  const fresh = await fetch(request);
  if (fresh.ok) {
    await kept.put(request, fresh.clone());
    await keepAtMost(kept, MOST_FILES);
  }
  return fresh;
}

// These pages must be here though nobody ever opened them.
async function keepShell(address) {
  const kept = await caches.open(FILES);
  const answer = await fetch(address);
  if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
  await kept.put(address, answer.clone());
  await keepFiles(await answer.clone().text());
  return answer;
}

async function keepFiles(page) {
  const kept = await caches.open(FILES);
  const named = [...page.matchAll(/(?:href|src)="(\/static\/[^"]+)"/g)].map((found) => found[1]);
  const there = await Promise.all(named.map((address) => kept.match(address)));
  await kept.addAll(named.filter((_, number) => !there[number]));
}

// The kept pages speak as the last page did: its reader's language, who may be another person now.
async function inItsLanguage(answer) {
  const language = answer.headers.get("Content-Language");
  const old = await shell(NO_CONNECTION);
  if (language && old.headers.get("Content-Language") !== language) {
    await Promise.all(SHELLS.map(keepShell)).catch(() => {});
  }
  return answer;
}

async function shell(address) {
  return (await (await caches.open(FILES)).match(address)) ?? Response.error();
}

let era = 0; // of one person at this phone

// Another person may be next: nothing of this one's stays, nor what is still on its way.
function forget() {
  era += 1;
  return caches.delete(PAGES);
}

async function pageOf(event) {
  const kept = await caches.open(PAGES);
  const { pathname } = new URL(event.request.url);
  // Of a form the empty one is kept; its own script fills it in by the address.
  const old = await kept.match(FORMS.includes(pathname) ? pathname : event.request);
  const fresh = freshPage(event);
  if (!old) return fresh.catch(() => shell(SHELL));
  const patience = new Promise((resolve) => setTimeout(resolve, PATIENCE_MS));
  const first = await Promise.race([fresh.catch(() => null), patience]);
  return first && !GATEWAY_TROUBLE.includes(first.status) ? first : marked(old);
}

async function freshPage(event) {
  const begun = era;
  const answer = await fetch(event.request);
  if (answer.ok && !answer.redirected) {
    const copy = answer.clone();
    const filled = FORMS.includes(new URL(event.request.url).pathname) && event.request.url.includes("?");
    event.waitUntil((filled ? Promise.resolve() : keep(event.request, copy, begun))
      .then(() => Promise.all([keepForms(begun, answer.headers.get("Content-Language")), inItsLanguage(answer), send()])));
  }
  return answer;
}

async function keep(request, copy, begun) {
  const headers = new Headers(copy.headers);
  headers.set(KEPT_AT, String(Date.now()));
  for (const name of ["Content-Encoding", "Content-Length"]) headers.delete(name); // of the transfer
  const body = await copy.blob();
  if (begun !== era) return;
  const kept = await caches.open(PAGES);
  await kept.put(request, new Response(body, { headers }));
  await keepAtMost(kept, MOST_PAGES);
}

async function keepForms(begun, language) {
  for (const path of FORMS) {
    const old = await (await caches.open(PAGES)).match(path);
    const young = old && Date.now() - Number(old.headers.get(KEPT_AT)) < FORMS_ANEW_MS;
    if (young && old.headers.get("Content-Language") === language) continue;
    const answer = await fetch(path).catch(() => null);
    if (!answer?.ok || answer.redirected) return;
    await keepFiles(await answer.clone().text()).catch(() => {});
    await keep(path, answer, begun);
  }
}

// A copy says that it is one, above everything else, and no copy says that a drum may be used now.
async function marked(copy) {
  const at = new Date(Number(copy.headers.get(KEPT_AT)));
  const kept = await copy.text();
  const [, language = "en", words = IT_IS_OLD] = kept.match(/<html lang="([^"]*)" data-kept="([^"]*)">/) ?? [];
  const locales = language === "en" ? [] : language;
  const time = at.toLocaleString(locales, { weekday: "long", hour: "numeric", minute: "2-digit" });
  const mark = `<p class="old-copy" role="status">${words.replace("{time}", time)}</p>`;
  const page = kept
    .replace(/<body[^>]*>/, (body) => `${body}${mark}`)
    .replace(/<(h1|p|span|time)([^>]*) data-old="([^"]*)">[^]*?<\/\1>/g, "<$1$2>$3</$1>");
  return new Response(page, { headers: copy.headers });
}

async function keepAtMost(kept, most) {
  const keys = (await kept.keys()).filter((key) => !SHELLS.includes(new URL(key.url).pathname));
  for (const key of keys.slice(0, Math.max(0, keys.length - most))) await kept.delete(key);
}

// ---- what was tapped -----------------------------------------------------------------------

async function deed(request, path) {
  const form = new URLSearchParams(await request.text());
  if (path === MOVE && form.get("do") !== "move") return scanned(form);
  const tapped = Date.now();
  form.set("id", await ownId(form));
  const drum = path.split("/")[2];
  await send();
  if (!(await deeds()).some((waiting) => !waiting.refused)) {
    try {
      const answer = await post(path, form, "manual");
      if (!GATEWAY_TROUBLE.includes(answer.status)) return answer;
    } catch {
      // No connection, or an answer that did not come: it waits. Sent twice it is still one event.
    }
  }
  await put({ path, drum, kind: form.get("kind") ?? path.slice(1), body: form.toString(), tapped, refused: null });
  await self.registration.sync?.register("send").catch(() => {});
  return Response.redirect(SHELL, 303);
}

// What was scanned for a move is looked up, or else taken as it is: what no drum bears, or may not
// go, is told by its tag once the move is sent.
async function scanned(form) {
  try {
    const answer = await post(MOVE, form, "manual", SCAN_PATIENCE_MS);
    if (!GATEWAY_TROUBLE.includes(answer.status)) return answer;
  } catch {
    // Nobody is there to look it up.
  }
  const scan = (form.get("scan") ?? "").trim();
  const drum = DRUM_LABEL.exec(scan)?.[1];
  const place = PLACE_LABEL.exec(scan)?.[1];
  const tags = form.getAll("drum").map(tagIn);
  if (scan && (drum || !place)) tags.push(asTag(drum ?? scan));
  const told = new URLSearchParams([...new Set(tags)].map((tag) => ["drum", tag]));
  const to = (!drum && place) || form.get("to");
  if (to) told.set("to", to.toLowerCase());
  return Response.redirect(`${MOVE}?${told}`, 303);
}

// As domain/scans.py and domain/tags.py read them.
const DRUM_LABEL = /^https?:\/\/\S+\/(?:d|drums)\/([^/?#\s]+)(?:[?#]\S*)?$/i;
const PLACE_LABEL = /^(?:https?:\/\/\S+\/places\/)?([a-z0-9-]+\/[a-z0-9-]+)\/?(?:[?#]\S*)?$/i;

const tagIn = (value) => value.split("@")[0]; // a drum of the form: its tag, and where it was shown

function asTag(text) {
  const symbols = text.replace(/[\s-]/g, "").toUpperCase();
  return symbols.length === 6 ? `${symbols.slice(0, 3)}-${symbols.slice(3)}` : text;
}

// An old copy of a page brings an old id with it, and a second deed must not pass for the first.
async function ownId(form) {
  const id = form.get("id");
  const said = form.toString();
  const now = Date.now();
  const used = await ask("used", "readonly", (store) => store.get(id));
  if (used) return used.said === said && now - used.at < SAME_DEED_MS ? id : crypto.randomUUID();
  await ask("used", "readwrite", (store) => {
    store.index("at").openKeyCursor(IDBKeyRange.upperBound(now - FORGET_MS)).onsuccess = (event) => {
      const cursor = event.target.result;
      if (cursor) store.delete(cursor.primaryKey) && cursor.continue();
    };
    return store.put({ id, said, at: now });
  });
  return id;
}

function post(path, form, redirect, patience = SEND_PATIENCE_MS) {
  const aborted = AbortSignal.timeout(patience);
  return fetch(path, { method: "POST", body: form, redirect, credentials: "same-origin", signal: aborted });
}

let sending = null;

// One after another in the order of tapping; at the first that finds no connection it ends.
function send() {
  sending ??= sendAll().finally(() => { sending = null; });
  return sending;
}

async function sendAll() {
  for (const waiting of await deeds()) {
    if (waiting.refused) continue;
    let answer;
    try {
      const form = new URLSearchParams(waiting.body);
      if (waiting.csrf) form.set("csrf", waiting.csrf);
      // How long ago, not when: this device's clock may be wrong, its minutes are not.
      // To the millisecond, so that two taps within a second keep their order.
      form.set("ago_s", (Math.max(0, Date.now() - waiting.tapped) / 1000).toFixed(3));
      answer = await post(waiting.path, form, "follow");
    } catch {
      return;
    }
    if (GATEWAY_TROUBLE.includes(answer.status)) return;
    if (answer.ok && !SIGNING.test(new URL(answer.url).pathname)) await drop(waiting.seq);
    else await change(waiting.seq, { refused: { status: answer.ok ? 401 : answer.status, page: (await answer.text()).slice(0, 50000) } });
  }
}

// ---- where it waits ------------------------------------------------------------------------

const deeds = () => ask("deeds", "readonly", (store) => store.getAll());
const put = (deed) => ask("deeds", "readwrite", (store) => store.put(deed));
const drop = (seq) => ask("deeds", "readwrite", (store) => store.delete(seq));

async function change(seq, changes, without = []) {
  const waiting = await ask("deeds", "readonly", (store) => store.get(seq));
  if (!waiting) return;
  const form = [...new URLSearchParams(waiting.body)];
  const left = form.filter(([name, value]) => name !== "drum" || !without.includes(tagIn(value)));
  await put({ ...waiting, body: new URLSearchParams(left).toString(), ...changes });
}

function opened() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open("drumkeep", 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("deeds", { keyPath: "seq", autoIncrement: true });
      asked.result.createObjectStore("used", { keyPath: "id" }).createIndex("at", "at");
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

// Settles when what was asked is on the disk, not when it is merely begun.
async function ask(name, mode, what) {
  const database = await opened();
  try {
    return await new Promise((resolve, reject) => {
      const transaction = database.transaction(name, mode, { durability: "strict" });
      const asked = what(transaction.objectStore(name));
      transaction.oncomplete = () => resolve(asked.result);
      transaction.onabort = () => reject(transaction.error);
    });
  } finally {
    database.close();
  }
}
