// Handles on a page that are dragged, or moved with the arrow keys: the corners of the paper, the ends of a wire.
export interface Spot { x: number; y: number }

/** Where an event lies in the measure of a drawing. */
export function place(svg: SVGSVGElement, event: MouseEvent): Spot {
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM()?.inverse());
  return { x: point.x, y: point.y };
}

/** Makes every handle follow finger, mouse and arrow keys; what it belongs to hears `grip:moved` and `grip:left`. */
export function startGrips(root: Document): void {
  let held: SVGGElement | null = null;
  root.addEventListener("pointerdown", (event) => {
    held = (event.target as Element).closest<SVGGElement>(".grip");
    if (!held) return;
    event.preventDefault();
    held.setPointerCapture(event.pointerId);
  });
  root.addEventListener("pointermove", (event) => {
    if (held?.ownerSVGElement) put(held, place(held.ownerSVGElement, event));
  });
  for (const name of ["pointerup", "pointercancel"]) root.addEventListener(name, () => {
    const one = held;
    held = null;
    if (one?.dataset["moved"]) tell(one, "grip:left");
  });
  root.addEventListener("keydown", (event) => {
    const grip = (event.target as Element).closest<SVGGElement>(".grip");
    const step = STEPS[event.key];
    if (grip && step) push(grip, step, event.shiftKey ? 0.001 : 0.01);
    else if (grip && event.key === "Enter") tell(grip, "grip:left");
    else return;
    event.preventDefault();
  });
  root.addEventListener("grip:moved", (event) => cornersMoved(event.target as SVGGElement));
}

const STEPS: Record<string, [number, number]> = {
  ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1],
};

function push(grip: SVGGElement, [across, down]: [number, number], share: number): void {
  const step = share * (grip.ownerSVGElement?.viewBox.baseVal.width ?? 0);
  const { x, y } = spotOf(grip);
  put(grip, { x: x + across * step, y: y + down * step });
}

function put(grip: SVGGElement, spot: Spot): void {
  const own = grip.ownerSVGElement?.viewBox.baseVal;
  const [x, y] = [within(spot.x, own?.width), within(spot.y, own?.height)];
  grip.setAttribute("transform", `translate(${x.toFixed(1)} ${y.toFixed(1)})`);
  grip.dataset["moved"] = "1";
  tell(grip, "grip:moved");
}

function within(value: number, most = Infinity): number {
  return Math.min(Math.max(value, 0), most);
}

function tell(grip: SVGGElement, name: string): void {
  grip.dispatchEvent(new CustomEvent(name, { bubbles: true }));
}

/** Where a handle stands. */
export function spotOf(grip: SVGGElement): Spot {
  const matrix = grip.transform.baseVal.consolidate()?.matrix;
  return { x: matrix?.e ?? 0, y: matrix?.f ?? 0 };
}

/** The outline and the form follow the four corners. */
function cornersMoved(grip: SVGGElement): void {
  const form = grip.closest<HTMLFormElement>("form[data-corners]");
  if (!form) return;
  const spots = [...form.querySelectorAll<SVGGElement>(".grip")].map(spotOf);
  form.querySelector("polygon")?.setAttribute("points", spots.map((one) => `${one.x},${one.y}`).join(" "));
  const told = form.elements.namedItem("corners") as HTMLInputElement;
  told.value = spots.map((one) => `${one.x.toFixed(1)},${one.y.toFixed(1)}`).join(",");
}
