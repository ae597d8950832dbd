// The diagram as the circuit: a tap chooses a mark, or draws a part or a wire; each act is sent by the one form.
import { place, spotOf } from "./grip.js";

let tool = "pick";
let from: { page: string; x: number; y: number } | null = null;

/** Makes the pages of the diagram answer to taps, each new version of them too. */
export function startDiagram(root: Document): void {
  root.addEventListener("click", (event) => {
    const element = event.target as Element;
    if (element.closest("[data-new-path]")) beginPath(root);
    const svg = element.closest(".grip") ? null : element.closest<SVGSVGElement>("[data-diagram] svg");
    if (svg) tapped(root, svg, element, event);
  });
  root.addEventListener("keydown", (event) => {
    const mark = (event.target as Element).closest<SVGElement>("[data-diagram] [data-mark]");
    if (mark && (event.key === "Enter" || event.key === " ")) {
      event.preventDefault();
      choose(root, mark);
    }
  });
  root.addEventListener("change", (event) => {
    const field = event.target as HTMLInputElement;
    if (field.name !== "tool" || !field.closest("#act-form")) return;
    tool = field.value;
    ready(root);
  });
  root.addEventListener("submit", (event) => {
    const button = (event as SubmitEvent).submitter as HTMLButtonElement | null;
    if ((event.target as Element).id !== "act-form" || !button) return;
    if (button.dataset["take"] !== undefined) { // the answer is another page: not for htmx
      event.stopPropagation();
      return;
    }
    if (button.dataset["joined"]) field(root, "joined").value = button.dataset["joined"];
    if (button.value === "confirm" && button.dataset["one"] === undefined) field(root, "key").value = "";
  }, true);
  root.addEventListener("grip:left", (event) => endDragged(root, event.target as SVGGElement));
  root.addEventListener("htmx:after:swap", () => restore(root));
}

const HINTS: Record<string, string> = {
  pick: "Tap a part, a pin, a wire or a ring to name, confirm or correct it.",
  walk: "Type the name of a part and tap it; the wire to it from the part before is followed. A tap without a name joins a part or wire that is marked.",
  draw: "Tap where the wire begins and where it ends.",
  part: "Type the name, then tap two corners of the part.",
};

function form(root: Document): HTMLFormElement | null {
  return root.querySelector<HTMLFormElement>("#act-form");
}

function field(root: Document, name: string): HTMLInputElement {
  return form(root)?.elements.namedItem(name) as HTMLInputElement;
}

function say(root: Document, words: string): void {
  const hint = root.getElementById("mark-hint");
  if (hint) hint.textContent = words;
}

function show(root: Document, kind: string): void {
  const row = root.querySelector<HTMLElement>("#act-form .chosen");
  if (row) row.dataset["kind"] = kind;
}

function tapped(root: Document, svg: SVGSVGElement, element: Element, event: MouseEvent): void {
  if (!form(root)) return;
  const { x, y } = place(svg, event);
  const page = svg.dataset["page"] ?? "";
  field(root, "page").value = page;
  if (tool === "pick") {
    const mark = element.closest<SVGElement>("[data-mark]");
    field(root, "x").value = String(x);
    field(root, "y").value = String(y);
    if (mark) choose(root, mark);
    return;
  }
  if (tool === "walk") {
    fill(root, x, y);
    send(root, "walk");
    return;
  }
  if (!from || from.page !== page) {
    from = { page, x, y };
    say(root, tool === "draw" ? "And where it ends." : "And the opposite corner.");
    return;
  }
  fill(root, from.x, from.y, x, y);
  from = null;
  send(root, tool);
}

function fill(root: Document, x: number, y: number, x2?: number, y2?: number): void {
  field(root, "x").value = String(x);
  field(root, "y").value = String(y);
  field(root, "x2").value = x2 === undefined ? "" : String(x2);
  field(root, "y2").value = y2 === undefined ? "" : String(y2);
  field(root, "key").value = "";
}

function send(root: Document, act: string): void {
  const own = form(root);
  if (!own) return;
  const button = root.createElement("button");
  button.name = "act";
  button.value = act;
  button.hidden = true;
  button.dataset["one"] = "";
  own.append(button);
  own.requestSubmit(button);
}

function choose(root: Document, mark: SVGElement): void {
  root.querySelectorAll("[data-diagram] .hit.chosen, [data-diagram] .touch.chosen").forEach((one) => one.classList.remove("chosen"));
  (mark.querySelector(".hit") ?? mark).classList.add("chosen");
  field(root, "key").value = mark.dataset["mark"] ?? "";
  const kind = mark.dataset["kind"] ?? "";
  show(root, kind);
  field(root, "name").value = kind === "trace" ? "" : mark.dataset["name"] ?? "";
  field(root, "colour").value = mark.dataset["colour"] ?? "";
  const kinds = form(root)?.elements.namedItem("kind") as HTMLSelectElement | null;
  if (kinds) kinds.value = mark.dataset["of"] ?? "";
  say(root, mark.querySelector("title")?.textContent ?? "");
  if (kind === "part" || kind === "pin") field(root, "name").select();
  root.querySelectorAll("[data-diagram] .grip").forEach((one) => one.remove());
  if (kind === "trace" && form(root)?.querySelector("[name=act]")) showEnds(root, mark);
}

/** A handle on each end of the wire that is chosen. */
function showEnds(root: Document, mark: SVGElement): void {
  const wire = root.querySelector<SVGPathElement>(`[data-diagram] path.touch[data-mark="${mark.dataset["mark"] ?? ""}"]`);
  const svg = wire?.ownerSVGElement;
  if (!wire || !svg) return;
  const length = wire.getTotalLength();
  const unit = svg.viewBox.baseVal.width / Number(svg.getAttribute("width"));
  for (const [end, along] of [["a", 0], ["b", length]] as const) {
    const grip = svg.appendChild(root.createElementNS(SVG, "g"));
    const spot = wire.getPointAtLength(along);
    grip.setAttribute("class", "grip");
    grip.setAttribute("transform", `translate(${spot.x} ${spot.y})`);
    for (const [name, value] of Object.entries({ tabindex: "0", role: "button", "aria-label": "end of the wire: drag it, or move it with the arrow keys and press Enter" })) grip.setAttribute(name, value);
    grip.dataset["end"] = end;
    for (const [name, radius] of [["hit", 24], ["knob", 7]] as const) {
      const circle = grip.appendChild(root.createElementNS(SVG, "circle"));
      circle.setAttribute("class", name);
      circle.setAttribute("r", String(radius * unit));
    }
  }
}

const SVG = "http://www.w3.org/2000/svg";

function endDragged(root: Document, grip: SVGGElement): void {
  const end = grip.dataset["end"];
  if (!end) return;
  const { x, y } = spotOf(grip);
  field(root, "x").value = String(x);
  field(root, "y").value = String(y);
  field(root, "end").value = end;
  send(root, "drag");
}

function beginPath(root: Document): void {
  field(root, "before").value = "";
  root.querySelectorAll("[data-diagram] .last").forEach((one) => one.classList.remove("last"));
  say(root, "Tap the part from which the next path begins.");
}

function restore(root: Document): void {
  const radio = root.querySelector<HTMLInputElement>(`#act-form input[name=tool][value=${tool}]`);
  if (!radio) return;
  radio.checked = true;
  ready(root);
}

/** Says what a tap does now, and lets a name be typed where it needs one. */
function ready(root: Document): void {
  from = null;
  show(root, tool === "walk" || tool === "part" ? "walk" : "");
  say(root, HINTS[tool] ?? "");
  if (tool === "walk" || tool === "part") field(root, "name").focus({ preventScroll: true });
}
