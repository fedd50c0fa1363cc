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
// The same form sent twice within this is one tap too many, later it is another deed.
const SAME_DEED_MS = 60000;

const FORGET_MS = 30 * 86400000;

const KEPT_PAGES = /^\/(floor(\/table)?|alarms|(d|drums)\/[^/]+)$/;
const DEEDS = /^\/drums\/[^/]+\/events$/;
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
    event.respondWith(keepShell(SHELL).catch(() => shell(SHELL)));
  } else if (request.mode === "navigate" && request.method === "GET" && KEPT_PAGES.test(url.pathname)) {
    event.respondWith(pageOf(event));
  } else if (request.method === "POST" && DEEDS.test(url.pathname)) {
    event.respondWith(deed(request, url.pathname));
  } else if (request.method === "POST" && SIGNING.test(url.pathname)) {
    // Another person may use this phone next: nothing of this one's stays to be read.
    event.respondWith(caches.delete(PAGES).then(() => fetch(request)));
  } else if (request.mode === "navigate" && url.pathname === SIGNED) {
    event.respondWith(caches.delete(PAGES).then(() => fetch(request)).catch(() => shell(NO_CONNECTION)));
  } else if (request.mode === "navigate") {
    // Nothing old may stand in for what needs the service.
    const otherwise = HOOKUP.test(url.pathname) ? NOT_CHECKED : NO_CONNECTION;
    event.respondWith(fetch(request).catch(() => shell(otherwise)));
  }
});

self.addEventListener("sync", (event) => {
  if (event.tag === "send") event.waitUntil(send());
});

self.addEventListener("message", (event) => {
  const { kind, seq, csrf } = event.data;
  const answer = async () => {
    if (kind === "drop") await drop(seq);
    if (kind === "again") await change(seq, { csrf, refused: null });
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
  const files = [...(await answer.clone().text()).matchAll(/(?:href|src)="(\/static\/[^"]+)"/g)];
  await kept.addAll(files.map((found) => found[1]));
  return answer;
}

async function shell(address) {
  return (await (await caches.open(FILES)).match(address)) ?? Response.error();
}

async function pageOf(event) {
  const kept = await caches.open(PAGES);
  const old = await kept.match(event.request);
  const fresh = freshPage(event, kept);
  if (!old) return fresh.catch(() => shell(SHELL));
  const patience = new Promise((resolve) => setTimeout(resolve, PATIENCE_MS));
  const first = await Promise.race([fresh.catch(() => null), patience]);
  return first && !GATEWAY_TROUBLE.includes(first.status) ? first : marked(old);
}

async function freshPage(event, kept) {
  const answer = await fetch(event.request);
  if (answer.ok && !answer.redirected) {
    const copy = answer.clone();
    const keep = async () => {
      const headers = new Headers(copy.headers);
      headers.set(KEPT_AT, String(Date.now()));
      for (const name of ["Content-Encoding", "Content-Length"]) headers.delete(name); // of the transfer
      await kept.put(event.request, new Response(await copy.blob(), { headers }));
      await keepAtMost(kept, MOST_PAGES);
    };
    event.waitUntil(keep().then(send));
  }
  return answer;
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
    .replace(/<(h1|p)([^>]*) data-old="([^"]*)">[^]*?<\/\1>/g, "<$1$2>$3</$1>");
  return new Response(page, { headers: copy.headers });
}

async function keepAtMost(kept, most) {
  const keys = (await kept.keys()).filter((key) => !SHELLS.includes(new URL(key.url).pathname));
  for (const key of keys.slice(0, Math.max(0, keys.length - most))) await kept.delete(key);
}

// ---- what was tapped -----------------------------------------------------------------------

async function deed(request, path) {
  const form = new URLSearchParams(await request.text());
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
  await put({ path, drum, kind: form.get("kind"), body: form.toString(), tapped, refused: null });
  await self.registration.sync?.register("send").catch(() => {});
  return Response.redirect(SHELL, 303);
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

function post(path, form, redirect) {
  const aborted = AbortSignal.timeout(SEND_PATIENCE_MS);
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

async function change(seq, changes) {
  const waiting = await ask("deeds", "readonly", (store) => store.get(seq));
  if (waiting) await put({ ...waiting, ...changes });
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
