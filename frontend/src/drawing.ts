// The drawing: a tap on a point asks to measure there, one on a stub unfolds it; the whole sheet lies over the page.
// Its text is never set smaller than it can be read, unless somebody makes it smaller.
import htmx from "htmx.org";

const STEP = 1.25;
const SMALLEST = 0.3;
const LARGEST = 4;
const SHEETS = ".sheet[data-pan]:not([data-editor-drawing]):not([data-taps-drawing])";

/** Makes every drawing work, each new one too. */
export function startDrawing(root: Document): void {
  root.addEventListener("click", (event) => {
    const element = event.target as Element;
    const button = element.closest<HTMLElement>("[data-zoom]");
    const sheet = button?.closest("section")?.querySelector<HTMLElement>("[data-pan]");
    if (button && sheet) zoom(sheet, Number(button.dataset["zoom"]));
    const target = element.closest<SVGElement>(".target");
    if (target?.closest(SHEETS)) pick(root, target);
    const link = element.closest<HTMLAnchorElement>("a[data-sheet]");
    if (link && "showModal" in HTMLDialogElement.prototype) {
      event.preventDefault();
      void overlay(root, link.href);
    }
    const close = element.closest("[data-close]");
    const dialog = close?.closest("dialog");
    if (dialog) {
      event.preventDefault();
      dialog.close();
    }
  });
  root.addEventListener("keydown", (event) => {
    const target = (event.target as Element).closest<SVGElement>(".target");
    if (target?.closest(SHEETS) && (event.key === "Enter" || event.key === " ")) {
      event.preventDefault();
      pick(root, target);
    }
  });
  root.addEventListener("wheel", (event) => {
    const sheet = (event.target as Element).closest<HTMLElement>("[data-pan]");
    if (!event.ctrlKey || !sheet) return;
    event.preventDefault();
    zoom(sheet, event.deltaY < 0 ? 1 : -1);
  }, { passive: false });
  pinch(root);
  for (const name of ["bench:shown", "htmx:after:swap"]) root.addEventListener(name, () => place(root));
  root.defaultView?.addEventListener("resize", () => place(root));
  place(root);
}

function pinch(root: Document): void {
  let before = 0;
  const apart = (event: TouchEvent) => {
    const [a, b] = event.touches;
    return a && b ? Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY) : 0;
  };
  root.addEventListener("touchmove", (event) => {
    const sheet = (event.target as Element).closest<HTMLElement>("[data-pan]");
    if (event.touches.length !== 2 || !sheet) return;
    event.preventDefault();
    const now = apart(event);
    if (before && Math.abs(now / before - 1) > 0.15) zoom(sheet, now > before ? 1 : -1);
    if (!before || Math.abs(now / before - 1) > 0.15) before = now;
  }, { passive: false });
  root.addEventListener("touchend", () => { before = 0; });
}

/** Larger, smaller, or (0) as it is drawn; what was in the middle stays there. */
function zoom(sheet: HTMLElement, by: number): void {
  const svg = sheet.querySelector<SVGSVGElement>("svg");
  if (!svg) return;
  const own = svg.viewBox.baseVal;
  const now = svg.getBoundingClientRect().width / (own.width || 1);
  const size = by === 0 ? 1 : Math.min(LARGEST, Math.max(SMALLEST, now * (by > 0 ? STEP : 1 / STEP)));
  const [x, y] = [(sheet.scrollLeft + sheet.clientWidth / 2) / now, (sheet.scrollTop + sheet.clientHeight / 2) / now];
  svg.setAttribute("width", String(Math.round(own.width * size)));
  svg.setAttribute("height", String(Math.round(own.height * size)));
  sheet.scrollTo(x * size - sheet.clientWidth / 2, y * size - sheet.clientHeight / 2);
}

/** What a path's parts are called stands to the right of it: there the room is left. */
const WORDS_RIGHT = 0.33;

/** Each new drawing, and each that has become wider or narrower, shows first where the red lead goes, or else what is suspected. */
function place(root: ParentNode): void {
  for (const sheet of root.querySelectorAll<HTMLElement>(SHEETS)) {
    const svg = sheet.querySelector("svg");
    const shown = svg?.querySelector(".at-red") ?? svg?.querySelector(".suspicion-5, .suspicion-4, .suspicion-3, .suspicion-2");
    const width = String(sheet.clientWidth);
    if (!svg || !shown || sheet.dataset["placed"] === width) continue;
    sheet.dataset["placed"] = width;
    const [spot, frame] = [shown.getBoundingClientRect(), sheet.getBoundingClientRect()];
    sheet.scrollLeft += spot.left - frame.left - frame.width * WORDS_RIGHT;
    sheet.scrollTop += spot.top - frame.top - frame.height / 2;
  }
}

async function overlay(root: Document, address: string): Promise<void> {
  const dialog = root.querySelector<HTMLDialogElement>("dialog.sheet-over") ?? made(root);
  dialog.replaceChildren(Object.assign(root.createElement("p"), { className: "empty", textContent: "Drawing the whole sheet …" }));
  dialog.showModal();
  try {
    const answer = await fetch(address, { headers: { "HX-Request": "true" } });
    const whole = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("whole");
    if (!whole) throw new Error("no drawing");
    dialog.replaceChildren(root.importNode(whole, true));
    place(dialog);
  } catch {
    location.assign(address);
  }
}

function made(root: Document): HTMLDialogElement {
  const dialog = Object.assign(root.createElement("dialog"), { className: "sheet-over", ariaLabel: "The whole drawing" });
  root.body.append(dialog);
  return dialog;
}

function pick(root: Document, target: SVGElement): void {
  const fold = target.getAttribute("data-fold");
  const opened = root.querySelector<HTMLInputElement>("#drawn-form input[name=opened]");
  if (fold !== null && opened) {
    opened.value = `${opened.value} ${fold}`.trim();
    opened.dispatchEvent(new Event("change", { bubbles: true }));
    return;
  }
  const at = target.getAttribute("data-point") ?? target.getAttribute("data-part");
  if (at) measureAt(root, at, target.closest<HTMLElement>("[data-bench]")?.dataset["bench"]);
}

function measureAt(root: Document, at: string, address: string | undefined): void {
  root.querySelector<HTMLDialogElement>("dialog.sheet-over[open]")?.close();
  const bench = root.getElementById("bench")?.dataset["bench"];
  const page = `${bench ?? address ?? ""}?at=${encodeURIComponent(at)}`;
  if (!root.dispatchEvent(new CustomEvent("drawing:tapped", { detail: at, cancelable: true }))) return;
  if (!bench) {
    if (address) location.assign(page);
    return;
  }
  void htmx.ajax("GET", page, { target: "#bench", select: "#bench", swap: "outerHTML" }).then(() => {
    root.getElementById("next")?.scrollIntoView({ block: "start" });
    root.querySelector<HTMLElement>("#next [data-focus]")?.focus({ preventScroll: true });
  });
}
