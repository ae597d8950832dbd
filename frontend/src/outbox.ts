// The outbox: an entry is kept in this browser first, then sent, once and in order. Without a connection it waits and
// says so. Every entry carries its own id, so that one that is sent twice is stored once.
import { beginBusy, endBusy } from "./busy.js";
import { setStage, stand, unstand } from "./standing.js";
import { benchOf, isEntering, showBench } from "./swap.js";
import { type Waiting, drop, keep, waiting } from "./store.js";

const AGAIN_AFTER = 1500; // milliseconds
const UNREACHABLE = new Set([502, 503, 504]);

let sending: Promise<void> | null = null;
let timer = 0;
let connected = true;
const forms = new Map<string, HTMLFormElement>(); // entry on its way → the form that it came from

/** A random id; `crypto.randomUUID` is there on secure pages only. */
export function newId(): string {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** Takes over every form with `data-outbox`, and sends what an earlier page left. */
export function startOutbox(root: Document): void {
  root.addEventListener("submit", (event) => {
    const form = event.target as HTMLFormElement;
    if (!form.matches("form[data-outbox]")) return;
    event.preventDefault();
    event.stopPropagation();
    void enter(root, form, event.submitter);
  });
  window.addEventListener("online", () => void flush(root));
  root.addEventListener("bench:connected", () => void flush(root));
  root.addEventListener("click", (event) => void answered(root, event));
  void flush(root);
}

/** Whether something is on its way: then the answer brings the new bench. */
export function isSending(): boolean {
  return sending !== null;
}

async function enter(root: Document, form: HTMLFormElement, submitter: HTMLElement | null): Promise<void> {
  const data = new FormData(form, submitter);
  const body = new URLSearchParams();
  for (const [name, value] of data) if (typeof value === "string") body.append(name, value);
  const id = newId(); // never the page's own: a page from the cache would bring one that is used up
  body.set("entry_id", id);
  const entry: Waiting = { id, order: Date.now(), url: form.action, body: body.toString(), state: "waiting", said: "" };
  stand(root, form, entry);
  beginBusy(form);
  forms.set(id, form);
  try {
    await keep(entry);
  } catch {
    endBusy(form);
    form.submit(); // no storage in this browser: the plain way, without an outbox
    return;
  }
  form.reset();
  for (const field of form.querySelectorAll<HTMLInputElement>("[data-pad-field]")) field.value = "";
  await flush(root);
}

/** Sends what waits; one at a time, in order, in one tab at a time. */
export function flush(root: Document): Promise<void> {
  sending ??= alone(() => sendAll(root)).finally(() => {
    sending = null;
    void tell(root);
  });
  return sending;
}

async function alone(work: () => Promise<void>): Promise<void> {
  if ("locks" in navigator) await navigator.locks.request("halfsplit-outbox", work);
  else await work();
}

async function sendAll(root: Document): Promise<void> {
  window.clearTimeout(timer);
  for (let entry = await first(); entry; entry = await first()) {
    const answer = await sent(root, entry);
    if (!answer) {
      await release(root);
      timer = window.setTimeout(() => void flush(root), AGAIN_AFTER);
      await tell(root);
      return;
    }
    await settle(root, entry, answer);
  }
}

/** Without a connection the forms are free again: the next reading can be entered. */
async function release(root: Document): Promise<void> {
  for (const form of forms.values()) endBusy(form);
  forms.clear();
  for (const entry of await waiting().catch(() => [])) if (entry.state === "waiting") setStage(root, entry.id, "waiting");
}

function free(id: string): void {
  const form = forms.get(id);
  if (form) endBusy(form);
  forms.delete(id);
}

async function first(): Promise<Waiting | undefined> {
  try {
    return (await waiting()).find((entry) => entry.state === "waiting");
  } catch {
    return undefined;
  }
}

async function sent(root: Document, entry: Waiting): Promise<Response | null> {
  const headers: Record<string, string> = { "HX-Request": "true", Accept: "application/json, text/html", "Content-Type": "application/x-www-form-urlencoded" };
  const token = root.body.dataset["csrf"];
  if (token) headers["X-CSRF-Token"] = token;
  try {
    const body = new URLSearchParams(entry.body);
    body.delete("csrf");
    const answer = await fetch(entry.url, { method: "POST", headers, body });
    connected = !UNREACHABLE.has(answer.status);
    return connected ? answer : null;
  } catch {
    connected = false;
    return null;
  }
}

async function settle(root: Document, entry: Waiting, answer: Response): Promise<void> {
  if (answer.ok) {
    await drop(entry.id);
    setStage(root, entry.id, "stored");
    if (isOurs(root, entry) && (await first()) === undefined) await refreshed(root, entry);
    free(entry.id);
    return;
  }
  free(entry.id);
  unstand(root, entry.id);
  const html = await answer.text();
  if (answer.status === 422 && benchOf(html)) {
    await keep({ ...entry, state: "asked", said: benchOf(html)?.querySelector(".question p, #notice p")?.textContent ?? "" });
    if (isOurs(root, entry)) showBench(root, html);
  } else {
    const said = new DOMParser().parseFromString(html, "text/html").querySelector("#main .big")?.textContent;
    await keep({ ...entry, state: "refused", said: said ?? (answer.status === 401 ? "Sign in, then send it again." : `answer ${answer.status}`) });
  }
}

/** What follows from what has been stored: the new bench, asked for until it comes. */
async function refreshed(root: Document, entry: Waiting): Promise<void> {
  const address = root.getElementById("bench")?.dataset["bench"] ?? "";
  for (;;) {
    try {
      const answer = await fetch(address, { headers: { "HX-Request": "true" } });
      if (!UNREACHABLE.has(answer.status)) {
        if (answer.ok) showBench(root, await answer.text(), extentAfter(root, entry));
        return;
      }
    } catch {
      // the line went down after the entry was stored
    }
    await new Promise((resolve) => { window.setTimeout(resolve, AGAIN_AFTER); });
    if ((await first()) !== undefined) return; // the next entry brings the bench
  }
}

function isOurs(root: Document, entry: Waiting): boolean {
  const bench = root.getElementById("bench")?.dataset["bench"];
  return bench !== undefined && new URL(entry.url).pathname.startsWith(bench);
}

/** A note sent while a reading is half typed must not take the reading away. */
function extentAfter(root: Document, entry: Waiting): "all" | "around the entry" {
  const next = root.getElementById("next");
  const isReading = new URLSearchParams(entry.body).get("kind") !== "note";
  return next && !isReading && isEntering(next) ? "around the entry" : "all";
}

async function answered(root: Document, event: Event): Promise<void> {
  const button = (event.target as Element).closest<HTMLElement>("[data-outbox-act]");
  const id = button?.dataset["entry"];
  if (!button || !id) return;
  const entry = (await waiting()).find((one) => one.id === id);
  if (entry && button.dataset["outboxAct"] === "drop") await drop(id);
  else if (entry) await keep({ ...entry, state: "waiting", said: "" });
  await flush(root);
}

/** Says what waits here, and why. */
async function tell(root: Document): Promise<void> {
  const place = root.getElementById("outbox");
  if (!place) return;
  const entries = await waiting().catch(() => [] as Waiting[]);
  const unsent = entries.filter((entry) => entry.state === "waiting");
  const lines = entries.filter((entry) => entry.state !== "waiting").map((entry) => held(root, entry));
  if (unsent.length && !connected) {
    const what = unsent.length === 1 ? "1 entry is" : `${unsent.length} entries are`;
    const line = root.createElement("p");
    line.textContent = `No connection. ${what} kept in this browser and sent as soon as it is back; go on measuring.`;
    lines.unshift(line);
  }
  place.hidden = lines.length === 0;
  place.replaceChildren(...lines);
}

function held(root: Document, entry: Waiting): HTMLElement {
  const line = root.createElement("p");
  const typed = new URLSearchParams(entry.body).get("typed") ?? "";
  line.append(`${entry.state === "asked" ? "Not stored yet" : "Not taken"}${typed ? ` (${typed})` : ""}: ${entry.said} `);
  for (const [act, words] of [["send", entry.state === "asked" ? "Answer it" : "Send again"], ["drop", "Drop it"]] as const) {
    const button = root.createElement("button");
    button.type = "button";
    button.dataset["outboxAct"] = act;
    button.dataset["entry"] = entry.id;
    button.textContent = words;
    line.append(button);
  }
  return line;
}
