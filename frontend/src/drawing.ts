// The drawing on the bench: a tap on a point asks to measure there; its size by buttons, wheel with Ctrl, and two fingers.
import htmx from "htmx.org";

const STEP = 1.25;
const SMALLEST = 0.3;
const LARGEST = 4;
const READABLE = 0.68;
let scale = 0; // 0: as wide as the sheet, where that can be read

/** Makes the drawing work, each new one too. */
export function startDrawing(root: Document): void {
  root.addEventListener("click", (event) => {
    const element = event.target as Element;
    const button = element.closest<HTMLElement>("[data-zoom]");
    if (button) zoom(root, Number(button.dataset["zoom"]));
    const target = element.closest<SVGElement>("#sheet .target");
    if (target) measureAt(root, target);
  });
  root.addEventListener("keydown", (event) => {
    const target = (event.target as Element).closest<SVGElement>("#sheet .target");
    if (target && (event.key === "Enter" || event.key === " ")) {
      event.preventDefault();
      measureAt(root, target);
    }
  });
  root.addEventListener("wheel", (event) => {
    if (!event.ctrlKey || !(event.target as Element).closest("[data-pan]")) return;
    event.preventDefault();
    zoom(root, event.deltaY < 0 ? 1 : -1);
  }, { passive: false });
  pinch(root);
  for (const name of ["bench:shown", "htmx:after:swap"]) root.addEventListener(name, () => fit(root));
  fit(root);
}

function pinch(root: Document): void {
  let before = 0;
  const apart = (event: TouchEvent) => {
    const [a, b] = event.touches;
    return a && b ? Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY) : 0;
  };
  root.addEventListener("touchmove", (event) => {
    if (event.touches.length !== 2 || !(event.target as Element).closest("[data-pan]")) return;
    event.preventDefault();
    const now = apart(event);
    if (before && Math.abs(now / before - 1) > 0.15) zoom(root, now > before ? 1 : -1);
    if (!before || Math.abs(now / before - 1) > 0.15) before = now;
  }, { passive: false });
  root.addEventListener("touchend", () => { before = 0; });
}

function zoom(root: Document, by: number): void {
  const svg = root.querySelector<SVGSVGElement>("#sheet svg");
  if (!svg) return;
  const now = scale || svg.getBoundingClientRect().width / (svg.viewBox.baseVal.width || 1);
  scale = by === 0 ? 0 : Math.min(LARGEST, Math.max(SMALLEST, now * (by > 0 ? STEP : 1 / STEP)));
  fit(root);
}

function fit(root: Document): void {
  const svg = root.querySelector<SVGSVGElement>("#sheet svg");
  const sheet = root.getElementById("sheet");
  if (!svg || !sheet) return;
  const own = svg.viewBox.baseVal;
  const wide = sheet.clientWidth / (own.width || 1);
  // Smaller than this nobody reads it: rather a part of it, with the suspects in view.
  const size = scale || (wide < READABLE ? READABLE : Math.min(1, wide));
  svg.classList.add("sized");
  svg.setAttribute("width", String(Math.round(own.width * size)));
  svg.setAttribute("height", String(Math.round(own.height * size)));
  if (!scale && wide < READABLE) showSuspect(sheet, svg);
}

function showSuspect(sheet: HTMLElement, svg: SVGSVGElement): void {
  const shaded = svg.querySelector(".suspicion-5, .suspicion-4, .suspicion-3, .suspicion-2");
  if (!shaded) return;
  const [place, frame] = [shaded.getBoundingClientRect(), sheet.getBoundingClientRect()];
  sheet.scrollLeft += place.left - frame.left - frame.width / 2;
  sheet.scrollTop += place.top - frame.top - frame.height / 2;
}

function measureAt(root: Document, target: SVGElement): void {
  const bench = root.getElementById("bench")?.dataset["bench"];
  const fold = target.getAttribute("data-fold");
  const at = target.getAttribute("data-point") ?? target.getAttribute("data-part");
  if (fold !== null) root.querySelector<HTMLInputElement>("#drawn input[name=whole]")?.click();
  if (!bench || !at) return;
  if (!root.dispatchEvent(new CustomEvent("drawing:tapped", { detail: at, cancelable: true }))) return;
  const page = `${bench}?at=${encodeURIComponent(at)}`;
  void htmx.ajax("GET", page, { target: "#bench", select: "#bench", swap: "outerHTML" }).then(() => {
    root.getElementById("next")?.scrollIntoView({ block: "start" });
    root.querySelector<HTMLElement>("#next [data-focus]")?.focus({ preventScroll: true });
  });
}
