// The circuit editor: each mistake underlined on its line, from the drawing to the line and back, patterns inserted.

const NAME = /[A-Za-z][A-Za-z0-9_]*/g;

/** Makes the sheet by taps answer to taps in its drawing, and selects what stands in a field that is gone into. */
export function startTaps(root: Document): void {
  root.addEventListener("click", (event) => {
    const target = (event.target as Element).closest<SVGElement>("[data-taps-drawing] .target");
    const name = (target?.getAttribute("data-part") ?? target?.getAttribute("data-point"))?.split(/[.:]/)[0];
    if (name) root.getElementById(`tap-pick-${name}`)?.click();
  });
  root.addEventListener("focusin", (event) => {
    if (event.target instanceof HTMLInputElement && event.target.matches("[data-select]")) event.target.select();
  });
}

/** Makes the editor work where the page has one. */
export function startEditor(root: Document): void {
  const text = root.querySelector<HTMLTextAreaElement>("textarea[data-editor]");
  const lines = root.querySelector<HTMLElement>("[data-lines]");
  if (!text || !lines) return;
  const paint = () => underline(root, text, lines);
  text.addEventListener("input", paint);
  text.addEventListener("scroll", () => { lines.scrollTop = text.scrollTop; lines.scrollLeft = text.scrollLeft; });
  root.addEventListener("htmx:after:swap", paint);
  for (const event of ["click", "keyup"]) text.addEventListener(event, () => mark(root, text));
  root.addEventListener("click", (event) => go(root, text, event.target as Element));
  root.getElementById("insert")?.addEventListener("change", (event) => insert(text, event.target as HTMLSelectElement));
  paint();
}

/** Writes the lines behind the text, those with a mistake underlined. */
function underline(root: Document, text: HTMLTextAreaElement, lines: HTMLElement): void {
  const marks = new Map<number, string>();
  for (const one of root.querySelectorAll<HTMLElement>("[data-go-line]")) {
    const line = Number(one.dataset["goLine"]);
    if (marks.get(line) !== "error") marks.set(line, one.dataset["severity"] ?? "error");
  }
  lines.replaceChildren(...text.value.split("\n").map((line, index) => {
    const row = root.createElement("span");
    row.className = marks.get(index + 1) ?? "";
    row.textContent = `${line || " "}\n`;
    return row;
  }));
  lines.scrollTop = text.scrollTop;
}

function go(root: Document, text: HTMLTextAreaElement, element: Element): void {
  const button = element.closest<HTMLElement>("[data-go-line]");
  if (button) select(text, Number(button.dataset["goLine"]), Number(button.dataset["goColumn"] ?? "1"));
  const target = element.closest<SVGElement>("[data-editor-drawing] .target");
  const name = (target?.getAttribute("data-part") ?? target?.getAttribute("data-point"))?.split(/[.:]/)[0];
  if (!name) return;
  const found = text.value.split("\n").findIndex((line) => namesIn(line).includes(name));
  if (found >= 0) select(text, found + 1, 1);
  root.querySelectorAll(".target.chosen").forEach((one) => one.classList.remove("chosen"));
  target?.classList.add("chosen");
}

function namesIn(line: string): string[] {
  return [...line.replace(/#.*/, "").matchAll(NAME)].map((found) => found[0]);
}

function select(text: HTMLTextAreaElement, line: number, column: number): void {
  const rows = text.value.split("\n");
  const start = rows.slice(0, line - 1).reduce((sum, row) => sum + row.length + 1, 0);
  text.focus();
  text.setSelectionRange(start + Math.max(0, column - 1), start + (rows[line - 1]?.length ?? 0));
  const height = text.scrollHeight / Math.max(1, rows.length);
  text.scrollTop = Math.max(0, (line - 4) * height);
}

/** Marks in the drawing what the line with the caret names. */
function mark(root: Document, text: HTMLTextAreaElement): void {
  const line = text.value.slice(0, text.selectionStart).split("\n").length - 1;
  const named = new Set(namesIn(text.value.split("\n")[line] ?? ""));
  for (const target of root.querySelectorAll("[data-editor-drawing] .target")) {
    const part = (target.getAttribute("data-part") ?? target.getAttribute("data-point") ?? "").split(/[.:]/)[0] ?? "";
    target.classList.toggle("chosen", target.classList.contains("part") && named.has(part));
  }
}

function insert(text: HTMLTextAreaElement, choice: HTMLSelectElement): void {
  if (!choice.value) return;
  text.focus();
  const gap = text.value && !text.value.endsWith("\n") ? "\n" : "";
  text.setSelectionRange(text.value.length, text.value.length);
  if (!document.execCommand("insertText", false, gap + choice.value)) text.value += gap + choice.value;
  text.dispatchEvent(new Event("input", { bubbles: true }));
  choice.value = "";
}
