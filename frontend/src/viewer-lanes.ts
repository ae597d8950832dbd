// The traces, one above the other on one time axis: each with its own values' axis, marks, reference and two cursors.
import uPlot from "uplot";
import type { Line, Mark, Trace } from "./viewer-data.js";

const HEIGHT = 132;
const AXIS = 40;
const WIDE = 62;
const COLOURS = 5;

/** One trace on the page. */
export class Lane {
  readonly element: HTMLElement;
  readonly plot: uPlot;
  private behind: Line = { x: [], y: [] };
  private readonly lines: HTMLElement[];

  constructor(root: HTMLElement, readonly trace: Trace, place: number, last: boolean, grips: boolean, private readonly marks: Mark[]) {
    this.element = root.appendChild(root.ownerDocument.createElement("div"));
    this.element.className = "lane";
    const title = this.element.appendChild(root.ownerDocument.createElement("h3"));
    title.appendChild(swatch(root.ownerDocument, place));
    title.append(trace.unit ? `${trace.label}, ${trace.unit}` : trace.label);
    const colour = () => style(root, `--trace-${place % COLOURS}`);
    const options: uPlot.Options = {
      width: Math.max(root.clientWidth, 200),
      height: HEIGHT + (last ? AXIS : 8),
      legend: { show: false },
      cursor: { show: false },
      padding: [8, 12, 0, 0],
      scales: { x: { time: false, auto: false }, y: { auto: false } },
      axes: [this.timeAxis(root, trace, last), this.valueAxis(root)],
      series: [{}, { stroke: colour, width: 1.4, points: { show: false }, ...(trace.edges ? { paths: uPlot.paths.stepped?.({ align: 1 }) as uPlot.Series.PathBuilder } : {}) }],
      hooks: { drawClear: [(plot) => this.paintBehind(plot, root)] },
    };
    this.plot = new uPlot(options, [[], []], this.element);
    this.plot.root.setAttribute("aria-hidden", "true");
    this.lines = [0, 1].map((number) => this.addCursor(number, grips));
  }

  private timeAxis(root: HTMLElement, trace: Trace, last: boolean): uPlot.Axis {
    const base = { stroke: () => style(root, "--dim"), grid: { stroke: () => style(root, "--grid"), width: 1 }, ticks: { show: last, size: 4, stroke: () => style(root, "--grid") }, font: "13px system-ui, sans-serif" };
    return last ? { ...base, size: AXIS, space: 90, values: (plot, all) => labels(plot, all, trace.time ? "s" : "") } : { ...base, size: 8, values: (_, all) => all.map(() => "") };
  }

  private valueAxis(root: HTMLElement): uPlot.Axis {
    return { stroke: () => style(root, "--dim"), grid: { stroke: () => style(root, "--grid"), width: 1 }, ticks: { show: false }, size: WIDE, space: 34, gap: 6, font: "13px system-ui, sans-serif" };
  }

  private addCursor(number: number, grips: boolean): HTMLElement {
    const document = this.element.ownerDocument;
    const line = this.plot.over.appendChild(document.createElement("div"));
    line.className = number ? "cursor second" : "cursor";
    if (grips) {
      const grip = line.appendChild(document.createElement("div"));
      grip.className = "grip";
      grip.dataset["grip"] = String(number);
      grip.appendChild(document.createElement("span")).textContent = String(number + 1);
    }
    return line;
  }

  /** Shows from one time to another what is known already; samples outside it come later. */
  scale(from: number, to: number): void {
    this.plot.setScale("x", { min: from, max: to });
  }

  /** The range of the values' axis: it stays while the time is zoomed, so that heights can be compared. */
  range(low: number, high: number): void {
    const room = (high - low || Math.abs(high) || 1) * 0.06;
    this.plot.setScale("y", { min: low - room, max: high + room });
  }

  show(line: Line): void {
    this.plot.setData([line.x, line.y], false);
    this.plot.redraw();
  }

  showBehind(line: Line): void {
    this.behind = line;
    this.plot.redraw();
  }

  /** Puts the cursors at their times; one that is out of view is hidden. */
  place(cursors: readonly number[]): void {
    const wide = this.plot.over.clientWidth;
    this.lines.forEach((line, number) => {
      const x = this.plot.valToPos(cursors[number] ?? 0, "x");
      line.hidden = !(x >= 0 && x <= wide);
      line.style.display = line.hidden ? "none" : "";
      line.style.transform = `translateX(${x - 1}px)`;
    });
  }

  resize(width: number): void {
    this.plot.setSize({ width, height: this.plot.height });
  }

  remove(): void {
    this.plot.destroy();
    this.element.remove();
  }

  private paintBehind(plot: uPlot, root: HTMLElement): void {
    const { left, top, width, height } = plot.bbox;
    const draw = plot.ctx;
    draw.save();
    draw.beginPath();
    draw.rect(left, top, width, height);
    draw.clip();
    draw.fillStyle = style(root, "--mark");
    for (const mark of this.marks) {
      const [from, to] = [plot.valToPos(mark.start, "x", true), plot.valToPos(mark.stop, "x", true)];
      draw.fillRect(from, top, Math.max(to - from, 2), height);
    }
    draw.strokeStyle = style(root, "--behind");
    draw.lineWidth = 2;
    draw.beginPath();
    let pen = false;
    this.behind.x.forEach((time, i) => {
      const value = this.behind.y[i];
      if (value === null || value === undefined) { pen = false; return; }
      const [x, y] = [plot.valToPos(time, "x", true), plot.valToPos(value, "y", true)];
      if (pen) draw.lineTo(x, y); else draw.moveTo(x, y);
      pen = true;
    });
    draw.stroke();
    draw.restore();
  }
}

/** The mark of a trace's colour; shape and name tell it as well. */
export function swatch(document: Document, place: number): HTMLElement {
  const mark = document.createElement("span");
  mark.className = `swatch trace-${place % COLOURS}`;
  mark.setAttribute("aria-hidden", "true");
  return mark;
}

function style(root: HTMLElement, name: string): string {
  return getComputedStyle(root).getPropertyValue(name).trim() || "gray";
}

/** Times on the axis, in the unit that suits what is in view. */
function labels(plot: uPlot, all: (number | null)[], unit: string): string[] {
  const span = (plot.scales["x"]?.max ?? 1) - (plot.scales["x"]?.min ?? 0);
  const [factor, prefix] = !unit || span >= 0.2 ? [1, ""] : span >= 2e-4 ? [1e3, "m"] : [1e6, "µ"];
  const step = all.length > 1 ? Math.abs(((all[1] ?? 0) - (all[0] ?? 0)) * factor) : 1;
  const digits = Math.min(6, Math.max(0, Math.ceil(-Math.log10(step || 1) - 1e-6)));
  return all.map((value) => (value === null ? "" : `${(value * factor).toFixed(digits)} ${prefix}${unit}`.trim()));
}
