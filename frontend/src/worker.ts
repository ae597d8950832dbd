// The service worker: pages that were open once open without a connection, as they were, and say so.
// It works where the browser lets it: on this machine and over https.

interface Fetched extends Event { request: Request; respondWith(answer: Promise<Response>): void }
interface Living extends Event { waitUntil(work: Promise<unknown>): void }

const KEPT = "halfsplit-1";
const MOST_PAGES = 60;
const PRIVATE = /^\/(sign-in|sign-out|owner|people|audit|worker\.js)\b|\/(changes|files|export|progress)\b|\.pdf$|^\/api\//;

self.addEventListener("install", () => { void (self as unknown as { skipWaiting(): Promise<void> }).skipWaiting(); });
self.addEventListener("activate", (event) => {
  const old = caches.keys().then((names) => Promise.all(names.filter((name) => name !== KEPT).map((name) => caches.delete(name))));
  (event as Living).waitUntil(old);
});
self.addEventListener("fetch", (event) => {
  const { request } = event as Fetched;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) {
    if (request.method === "POST" && url.pathname === "/sign-out") void caches.delete(KEPT);
    return;
  }
  if (request.mode === "navigate" && !PRIVATE.test(url.pathname)) (event as Fetched).respondWith(page(request));
  else if (url.pathname.startsWith("/static/") || url.pathname === "/drawing.css") (event as Fetched).respondWith(asset(request));
});

/** The page from the server, or the last that came from there. */
async function page(request: Request): Promise<Response> {
  const kept = await caches.open(KEPT);
  try {
    const answer = await fetch(request);
    if (answer.ok && !answer.redirected) {
      await kept.put(request.url, answer.clone());
      void bounded(kept);
    }
    return answer;
  } catch (error) {
    const last = await kept.match(request.url);
    if (!last) throw error;
    return stale(last);
  }
}

async function stale(last: Response): Promise<Response> {
  const at = new Date(last.headers.get("date") ?? Date.now()).toLocaleString([], { dateStyle: "short", timeStyle: "short" });
  const note = `<p class="stale" role="status">No connection: this page is as it was on ${at}. What you enter is kept and sent later.</p>`;
  const html = (await last.text()).replace("<main ", `${note}<main `);
  return new Response(html, { headers: last.headers });
}

/** Styles and scripts carry their time of change in the address: what is kept is right, where the server is away. */
async function asset(request: Request): Promise<Response> {
  const kept = await caches.open(KEPT);
  const known = await kept.match(request);
  if (known && new URL(request.url).search) return known;
  try {
    const answer = await fetch(request);
    if (answer.ok) await kept.put(request, answer.clone());
    return answer;
  } catch (error) {
    const any = known ?? (await kept.match(request, { ignoreSearch: true }));
    if (!any) throw error;
    return any;
  }
}

async function bounded(kept: Cache): Promise<void> {
  const pages = (await kept.keys()).filter((one) => !new URL(one.url).pathname.startsWith("/static/"));
  await Promise.all(pages.slice(0, Math.max(0, pages.length - MOST_PAGES)).map((one) => kept.delete(one)));
}
