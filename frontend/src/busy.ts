// Every tap is answered at once: the form it came from is marked as thinking, takes no second tap, and says what is
// being done as soon as that takes longer than half a second.

const SHOWS_AFTER = 500; // milliseconds
const LASTED = "halfsplit-lasted-";
const GIVES_UP_AFTER = 90_000; // milliseconds: a page that never left (a download) is free again
const running = new Map<Element, () => void>();

/** Marks a form as thinking until `endBusy`. Returns whether it was free. */
export function beginBusy(form: Element): boolean {
  if (running.has(form)) return false;
  const root = form.ownerDocument;
  const card = form.closest(".card, dialog") ?? form;
  const doing = (form as HTMLElement).dataset["doing"] ?? "Storing";
  const began = Date.now();
  const note = root.createElement("p");
  note.className = "doing";
  note.setAttribute("role", "status");
  let ticking = 0;
  const show = () => {
    const lasted = Number(sessionStorage.getItem(LASTED + doing) ?? "0");
    const bar = Object.assign(root.createElement("progress"), { ariaLabel: doing });
    const words = root.createElement("span");
    const tell = () => {
      const seconds = (Date.now() - began) / 1000;
      const left = Math.ceil(lasted - seconds);
      words.textContent = `${doing} … ${left > 0 ? `about ${left} s left` : `${Math.round(seconds)} s`}`;
      if (lasted > 1) Object.assign(bar, { max: lasted, value: Math.min(seconds, lasted) });
    };
    tell();
    note.append(bar, words);
    card.prepend(note);
    ticking = window.setInterval(tell, 1000);
  };
  const shown = window.setTimeout(show, SHOWS_AFTER);
  const over = window.setTimeout(() => endBusy(form), GIVES_UP_AFTER);
  card.setAttribute("aria-busy", "true");
  form.setAttribute("data-busy", "");
  running.set(form, () => {
    window.clearTimeout(shown);
    window.clearTimeout(over);
    window.clearInterval(ticking);
    note.remove();
    card.removeAttribute("aria-busy");
    form.removeAttribute("data-busy");
    if (Date.now() - began > SHOWS_AFTER) sessionStorage.setItem(LASTED + doing, String((Date.now() - began) / 1000));
  });
  return true;
}

/** The form is free again. */
export function endBusy(form: Element): void {
  running.get(form)?.();
  running.delete(form);
}

/** Whether this form is thinking. */
export function isBusy(form: Element): boolean {
  return running.has(form);
}

/** Watches every form of the page, those that htmx sends and those that open a new page. */
export function startBusy(root: Document): void {
  root.addEventListener("submit", (event) => {
    if (!isBusy(event.target as Element)) return;
    event.preventDefault(); // the second tap
    event.stopImmediatePropagation();
  }, { capture: true });
  root.addEventListener("submit", (event) => {
    const form = event.target as HTMLFormElement;
    if (!event.defaultPrevented && !form.matches("[data-stays]")) beginBusy(form);
  });
  root.addEventListener("htmx:before:request", (event) => {
    const source = sourceOf(event);
    if (source) beginBusy(source);
  });
  root.addEventListener("htmx:finally:request", (event) => {
    const source = sourceOf(event);
    if (source) endBusy(source);
  });
  root.addEventListener("click", (event) => going(root, event));
  window.addEventListener("pageshow", () => [...running.keys()].forEach(endBusy));
  root.addEventListener("htmx:after:swap", () => {
    for (const form of [...running.keys()]) if (!form.isConnected) endBusy(form);
    remaining(root);
  });
  remaining(root);
}

function sourceOf(event: Event): Element | null {
  const context = (event as CustomEvent<{ ctx?: { sourceElement?: Element } }>).detail.ctx;
  return context?.sourceElement?.matches("form, a, button") ? context.sourceElement : null;
}

/** A link to a page that takes its time says so, too. */
function going(root: Document, event: MouseEvent): void {
  const link = (event.target as Element).closest<HTMLAnchorElement>("a[href]");
  const bar = root.getElementById("going");
  const plain = !event.defaultPrevented && !event.ctrlKey && !event.metaKey && !event.shiftKey && event.button === 0;
  if (!link || !bar || !plain || link.origin !== location.origin || link.hash || link.matches("[download], [target], [hx-get], [data-sheet]")) return;
  if (/\.(pdf|csv|json|txt|circuit)$/.test(link.pathname) || /\/(files|export)\b/.test(link.pathname)) return;
  const timer = window.setTimeout(() => { bar.hidden = false; }, SHOWS_AFTER);
  const stop = () => { window.clearTimeout(timer); bar.hidden = true; };
  window.addEventListener("pageshow", stop, { once: true });
  window.setTimeout(stop, GIVES_UP_AFTER);
}

// How long long work still takes, from the steps that are made.

let first = { step: 0, at: 0 };

function remaining(root: Document): void {
  const bar = root.querySelector<HTMLProgressElement>("progress[value][max]:not(.doing progress)");
  if (!bar) return;
  const now = Date.now();
  if (!first.at || bar.value < first.step) first = { step: bar.value, at: now };
  const made = bar.value - first.step;
  if (made < 1 || bar.nextElementSibling?.matches(".left")) return;
  const seconds = ((now - first.at) / 1000 / made) * (bar.max - bar.value);
  const note = root.createElement("p");
  note.className = "left dim";
  note.textContent = seconds < 60 ? `At most ${Math.max(1, Math.round(seconds))} s left.` : `At most ${Math.ceil(seconds / 60)} min left.`;
  bar.after(note);
}
