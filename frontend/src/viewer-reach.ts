// The part of a recording that is in view, moved by wheel, by one and two fingers, and by the cursors' grips.

/** From one time to another, kept within the recording. */
export class Reach {
  constructor(readonly start: number, readonly stop: number, public from = start, public to = stop) {}

  get width(): number { return this.to - this.from; }

  set(from: number, to: number): void {
    const whole = this.stop - this.start;
    const width = Math.min(Math.max(to - from, whole * 1e-9, 1e-9), whole);
    const middle = (from + to) / 2;
    this.from = Math.min(Math.max(middle - width / 2, this.start), this.stop - width);
    this.to = this.from + width;
  }

  /** Zooms by a factor (below 1: closer) about a share of the width that stays where it is. */
  zoom(factor: number, about = 0.5): void {
    const fixed = this.from + about * this.width;
    const width = this.width * factor;
    this.set(fixed - about * width, fixed - about * width + width);
  }

  pan(share: number): void {
    this.set(this.from + share * this.width, this.to + share * this.width);
  }
}

/** Lets wheel and fingers on the traces move the reach; `moved` is called after each change, `grip` while one is dragged. */
export function gestures(root: HTMLElement, reach: Reach, moved: () => void, grip: (number: number, share: number) => void): void {
  const fingers = new Map<number, number>();
  let held: number | null = null;
  const share = (x: number) => {
    const area = root.querySelector(".u-over")?.getBoundingClientRect();
    return area && area.width ? (x - area.left) / area.width : 0.5;
  };
  root.addEventListener("wheel", (event) => {
    if (!(event.target as Element).closest(".u-over")) return;
    event.preventDefault();
    if (Math.abs(event.deltaX) > Math.abs(event.deltaY)) reach.pan(event.deltaX / 800);
    else reach.zoom(Math.exp(Math.max(-1, Math.min(1, event.deltaY / 300))), share(event.clientX));
    moved();
  }, { passive: false });
  root.addEventListener("pointerdown", (event) => {
    const target = event.target as Element;
    const grabbed = target.closest<HTMLElement>("[data-grip]");
    if (!grabbed && !target.closest(".u-over")) return;
    root.setPointerCapture(event.pointerId);
    if (grabbed) held = Number(grabbed.dataset["grip"]);
    else fingers.set(event.pointerId, event.clientX);
  });
  root.addEventListener("pointermove", (event) => {
    if (held !== null) { grip(held, share(event.clientX)); return; }
    const before = fingers.get(event.pointerId);
    if (before === undefined) return;
    if (fingers.size === 1) reach.pan(share(before) - share(event.clientX));
    else pinch(reach, fingers, event.pointerId, event.clientX, share);
    fingers.set(event.pointerId, event.clientX);
    moved();
  });
  for (const name of ["pointerup", "pointercancel"] as const) {
    root.addEventListener(name, (event) => { fingers.delete(event.pointerId); held = null; });
  }
}

function pinch(reach: Reach, fingers: Map<number, number>, id: number, x: number, share: (x: number) => number): void {
  const other = [...fingers].find(([one]) => one !== id)?.[1];
  const before = fingers.get(id);
  if (other === undefined || before === undefined) return;
  const apart = Math.abs(x - other);
  if (apart < 8) return;
  reach.zoom(Math.max(0.2, Math.min(5, Math.abs(before - other) / apart)), share(other));
}
