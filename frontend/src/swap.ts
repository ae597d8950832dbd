// Puts a new bench in the place of the old one. What somebody is typing stays: then only the rest is replaced.
import htmx from "htmx.org";
import { showTask } from "./view.js";

/** What of the bench is replaced: all of it, or all but the part in which something is being entered. */
export type Extent = "all" | "around the entry";

const AROUND = ["last", "suspects", "drawn", "evidence", "proof", "costs"];

/** Whether a reading, a note or a reason is being entered right now. */
export function isEntering(bench: Element): boolean {
  const fields = bench.querySelectorAll<HTMLInputElement | HTMLTextAreaElement>("input:not([type=hidden]), textarea");
  return [...fields].some((field) => {
    if (field instanceof HTMLInputElement && /radio|checkbox/.test(field.type)) return field.checked !== field.defaultChecked;
    return field.type !== "file" ? field.value !== field.defaultValue : Boolean(field.value);
  });
}

/** The bench of an answer, which may be a whole page. */
export function benchOf(html: string): Element | null {
  return new DOMParser().parseFromString(html, "text/html").getElementById("bench");
}

/** Shows a new bench. Returns whether there was one to replace. */
export function showBench(root: Document, html: string, extent: Extent = "all"): boolean {
  const now = root.getElementById("bench");
  const next = benchOf(html);
  if (!now || !next) return false;
  const open = [...now.querySelectorAll("details[open]")].map((one) => one.closest("[id]")?.id ?? "");
  if (extent === "all") {
    swapIn(root, now, next);
    const field = root.querySelector<HTMLElement>("#next [data-focus]");
    field?.focus({ preventScroll: true });
    showTask(root);
  } else {
    showAround(root, now, next);
  }
  if (open.includes("costs")) root.querySelector("#costs details")?.setAttribute("open", "");
  return true;
}

function showAround(root: Document, now: Element, next: Element): void {
  for (const id of AROUND) {
    const old = root.getElementById(id);
    const fresh = next.querySelector(`#${id}`);
    if (old && fresh && !isEntering(old)) swapIn(root, old, fresh);
  }
  now.setAttribute("data-sequence", next.getAttribute("data-sequence") ?? "");
  const asked = (bench: Element) => bench.querySelector("#ask")?.textContent ?? "";
  const notice = root.getElementById("notice");
  if (notice && asked(now) !== asked(next)) {
    const note = root.createElement("p");
    note.className = "note doubt";
    note.append("A new reading came in while you were entering: another test is next. ");
    const link = root.createElement("a");
    link.href = root.location.pathname;
    link.textContent = "Show it";
    note.append(link);
    notice.replaceChildren(note);
  }
}

function swapIn(root: Document, old: Element, fresh: Element): void {
  const own = root.importNode(fresh, true);
  keepDrawing(old, own);
  old.replaceWith(own);
  htmx.process(own);
  root.dispatchEvent(new CustomEvent("bench:shown"));
}

/** The drawing comes after the test: until then the one that is there stays. */
function keepDrawing(old: Element, fresh: Element): void {
  const drawn = (bench: Element) => (bench.id === "drawn" ? bench : bench.querySelector("#drawn"));
  const now = drawn(old)?.querySelector(".sheet");
  const late = drawn(fresh);
  if (now && late?.matches("[data-late]")) late.querySelector(".sheet")?.replaceWith(now);
}
