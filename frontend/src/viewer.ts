// The viewer of a capture: traces by role, zoom that fetches what the screen can show, two cursors, a reference behind.
import { fetchEvent, fetchReadings, fetchWindow, perSecond, told, type Line, type Reading, type Told } from "./viewer-data.js";
import { Lane, swatch } from "./viewer-lanes.js";
import { Reach, gestures } from "./viewer-reach.js";

const SETTLED = 90; // ms without a further movement before samples are fetched
const MARGIN = 0.25; // of the width, fetched on either side, so that a push shows something at once
const MOST_LANES = 8;
const MOST_COLUMNS = 3000;

/** Makes the viewer of a page work. */
export function startViewer(root: HTMLElement): void {
  new Viewer(root, JSON.parse(root.dataset["viewer"] ?? "{}") as Told).start();
}

class Viewer {
  private readonly lanesRoot: HTMLElement;
  private readonly reach: Reach;
  private readonly cursors: [number, number];
  private lanes: Lane[] = [];
  private whole = new Map<number, [number, number]>();
  private shift = 0;
  private readings: Reading[] = [];
  private readonly timers = new Map<string, number>();
  private readonly running = new Map<string, AbortController>();

  constructor(private readonly root: HTMLElement, private readonly told: Told) {
    this.lanesRoot = this.one("[data-lanes]");
    this.reach = new Reach(told.start, told.stop);
    const [first, second] = this.inputs().map((input) => Number(input.value));
    this.cursors = [first ?? told.start, second ?? told.stop];
  }

  start(): void {
    for (const name of ["[data-tools]", "[data-cursors]", "[data-values]"]) this.one(name).hidden = false;
    this.lanesRoot.replaceChildren();
    gestures(this.lanesRoot, this.reach, () => this.moved(), (number, share) => {
      this.setCursor(number, this.reach.from + share * this.reach.width);
    });
    this.root.addEventListener("click", (event) => {
      const button = (event.target as Element).closest<HTMLElement>("[data-do]");
      if (button) this.act(button.dataset["do"] ?? "");
    });
    this.root.addEventListener("change", (event) => this.changed(event.target as HTMLInputElement));
    new ResizeObserver(() => this.resized()).observe(this.lanesRoot);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.lanes.forEach((lane) => lane.plot.redraw()));
    this.build();
    void this.align();
  }

  private one(selector: string): HTMLElement {
    return this.root.querySelector<HTMLElement>(selector) as HTMLElement;
  }

  private inputs(): HTMLInputElement[] {
    return [...this.root.querySelectorAll<HTMLInputElement>("[data-cursor]")];
  }

  private shown(): number[] {
    const boxes = this.root.querySelectorAll<HTMLInputElement>("[data-show]:checked");
    return [...boxes].map((box) => Number(box.dataset["show"])).slice(0, MOST_LANES);
  }

  private build(): void {
    this.lanes.forEach((lane) => lane.remove());
    const traces = this.told.channels.filter((one) => this.shown().includes(one.number));
    this.lanes = traces.map((trace, place) => new Lane(
      this.lanesRoot, trace, place, place === traces.length - 1, place === 0, this.told.marks,
    ));
    this.whole.clear();
    this.table();
    this.moved();
    this.read();
  }

  private act(what: string): void {
    if (what === "in") this.reach.zoom(0.5);
    if (what === "out") this.reach.zoom(2);
    if (what === "left") this.reach.pan(-0.5);
    if (what === "right") this.reach.pan(0.5);
    if (what === "whole") this.reach.set(this.told.start, this.told.stop);
    const [from, to] = [Math.min(...this.cursors), Math.max(...this.cursors)];
    if (what === "between" && to > from) this.reach.set(from - 0.05 * (to - from), to + 0.05 * (to - from));
    if (what === "fetch") [1, 2].forEach((third, number) => this.setCursor(number, this.reach.from + third / 3 * this.reach.width));
    this.moved();
  }

  private changed(field: HTMLInputElement): void {
    if (field.dataset["show"] !== undefined) this.build();
    else if (field.dataset["cursor"] !== undefined) this.typed(field);
    else if (field.closest("[data-align]")) void this.align();
  }

  private typed(field: HTMLInputElement): void {
    const time = Number(field.value.replace(",", ".").replace("−", "-"));
    const number = Number(field.dataset["cursor"]);
    if (Number.isFinite(time) && field.value.trim()) this.setCursor(number, time);
    else field.value = short(this.cursors[number] ?? 0, this.reach.width);
  }

  private setCursor(number: number, time: number): void {
    this.cursors[number] = Math.min(Math.max(time, this.told.start), this.told.stop);
    this.lanes.forEach((lane) => lane.place(this.cursors));
    this.read();
  }

  /** The view has moved: what is there is drawn at once, what is missing is fetched when it rests. */
  private moved(): void {
    for (const lane of this.lanes) {
      lane.scale(this.reach.from, this.reach.to);
      lane.place(this.cursors);
    }
    this.one("[data-span]").textContent = this.inView() + (this.root.dataset["ready"] ? "" : "; the samples are on their way");
    this.fill("[data-window='0']", this.reach.from);
    this.fill("[data-window='1']", this.reach.to);
    this.fill("[data-channels]", this.lanes.map((lane) => lane.trace.number).join(","));
    this.later("window", SETTLED, (signal) => this.fetch(signal));
  }

  private inView(): string {
    const unit = this.told.channels[0]?.time ? "s" : "";
    return `${told(this.reach.width, unit)} in view, from ${told(this.reach.from, unit)}`;
  }

  private async fetch(signal: AbortSignal): Promise<void> {
    if (!this.lanes.length) return;
    const room = MARGIN * this.reach.width;
    const [from, to] = [this.reach.from - room, this.reach.to + room];
    const columns = Math.min(MOST_COLUMNS, Math.ceil(this.lanesRoot.clientWidth * (1 + 2 * MARGIN) * Math.min(devicePixelRatio, 2)));
    const numbers = this.lanes.map((lane) => lane.trace.number);
    const found = await fetchWindow(this.told.base, numbers, from, to, columns, signal);
    const behind = await this.fetchBehind(from, to, columns, signal);
    for (const lane of this.lanes) {
      const line = found.get(lane.trace.number) ?? { x: [], y: [] };
      this.heights(lane, [line, behind.get(lane.trace.label)]);
      lane.show(line);
      lane.showBehind(behind.get(lane.trace.label) ?? { x: [], y: [] });
      lane.place(this.cursors);
    }
    this.one("[data-span]").textContent = this.inView();
    this.root.dataset["ready"] = `${this.reach.from} ${this.reach.to}`;
  }

  /** The first window shows all of the recording: its extremes give the range of the values. */
  private heights(lane: Lane, lines: (Line | undefined)[]): void {
    const known = this.whole.get(lane.trace.number);
    let [low, high] = known ?? [Infinity, -Infinity];
    for (const line of lines) {
      for (const value of line?.y ?? []) {
        if (value !== null && value < low) low = value;
        if (value !== null && value > high) high = value;
      }
    }
    if (!(high >= low)) return;
    this.whole.set(lane.trace.number, [low, high]);
    if (!known || known[0] !== low || known[1] !== high) lane.range(low, high);
  }

  private async fetchBehind(from: number, to: number, columns: number, signal: AbortSignal): Promise<Map<string, Line>> {
    const [reference, lines] = [this.told.reference, new Map<string, Line>()];
    const wanted = reference?.channels.filter((one) => this.lanes.some((lane) => lane.trace.label === one.label)) ?? [];
    if (!reference || !wanted.length) return lines;
    const found = await fetchWindow(reference.base, wanted.map((one) => one.number), from - this.shift, to - this.shift, columns, signal);
    for (const one of wanted) {
      const line = found.get(one.number);
      if (line) lines.set(one.label, { x: line.x.map((time) => time + this.shift), y: line.y });
    }
    return lines;
  }

  /** Lays the reference behind so that the chosen event of both falls together. */
  private async align(): Promise<void> {
    const [reference, box] = [this.told.reference, this.root.querySelector<HTMLElement>("[data-align]")];
    if (!reference || !box) return;
    const edge = box.querySelector<HTMLSelectElement>("[data-edge]")?.value ?? "";
    const of = Number(box.querySelector<HTMLSelectElement>("[data-of]")?.value ?? 0);
    const label = this.told.channels.find((one) => one.number === of)?.label;
    const other = reference.channels.find((one) => one.label === label);
    let [own, theirs]: (number | null)[] = [this.told.start, reference.start];
    if (edge && other) [own, theirs] = await Promise.all([fetchEvent(this.told.base, of, edge), fetchEvent(reference.base, other.number, edge)]);
    const nudge = Number(box.querySelector<HTMLInputElement>("[data-nudge]")?.value.replace(",", ".") ?? 0) || 0;
    const found = own !== null && own !== undefined && theirs !== null && theirs !== undefined && (other || !edge);
    this.shift = (found ? Number(own) - Number(theirs) : this.told.start - reference.start) + nudge;
    const note = box.querySelector("[data-aligned]");
    if (note) note.textContent = found ? `The reference is shown ${told(Math.abs(this.shift), "s")} ${this.shift < 0 ? "earlier" : "later"} than recorded.` : "No such event in both: laid start to start.";
    this.fill("[data-shift]", this.shift);
    this.moved();
  }

  // Cursors

  private table(): void {
    const body = this.one("[data-values] tbody");
    body.replaceChildren(...this.lanes.map((lane, place) => {
      const row = document.createElement("tr");
      const head = row.appendChild(document.createElement("th"));
      head.scope = "row";
      head.append(swatch(document, place), lane.trace.label);
      for (let cell = 0; cell < 5; cell += 1) row.appendChild(document.createElement("td")).className = "num";
      return row;
    }));
    this.values();
  }

  private read(): void {
    const [first, second] = this.cursors;
    const apart = second - first;
    this.inputs().forEach((input, number) => { if (input !== document.activeElement) input.value = short(this.cursors[number] ?? 0, this.reach.width); });
    this.one("[data-difference]").textContent = `2 − 1: ${told(apart, "s")}${apart ? `, as a period ${perSecond(apart)}` : ""}`;
    [0, 1].forEach((number) => {
      for (const field of document.querySelectorAll<HTMLInputElement>(`[data-at="${number}"]`)) field.value = String(this.cursors[number]);
    });
    this.later("cursors", 2 * SETTLED, async (signal) => {
      this.readings = await fetchReadings(this.told.base, first, second, signal);
      this.values();
    });
  }

  private values(): void {
    const rows = this.root.querySelectorAll<HTMLTableRowElement>("[data-values] tbody tr");
    this.lanes.forEach((lane, place) => {
      const one = this.readings.find((reading) => reading.channel === lane.trace.number);
      const [first, second] = one?.at ?? [null, null];
      const both = first !== null && first !== undefined && second !== null && second !== undefined;
      const cells = [first, second, both ? second - first : null, one?.mean].map((value) => told(value, one?.unit ?? ""));
      const ends = one && one.low !== null ? `${told(one.low, one.unit)}, ${told(one.high, one.unit)}` : "–";
      [...cells, ends].forEach((text, i) => { const cell = rows[place]?.cells[i + 1]; if (cell) cell.textContent = text; });
    });
    for (const one of this.readings) {
      for (const place of document.querySelectorAll(`[data-mean="mean ${one.channel}"]`)) place.textContent = `\u00a0${told(one.mean, one.unit)}`;
    }
  }

  private fill(selector: string, value: number | string): void {
    for (const field of document.querySelectorAll<HTMLInputElement>(selector)) field.value = String(value);
  }

  private resized(): void {
    const width = this.lanesRoot.clientWidth;
    if (!this.lanes.length || width < 100 || width === this.lanes[0]?.plot.width) return;
    this.lanes.forEach((lane) => lane.resize(width));
    this.moved();
  }

  /** Does something when nothing further came for a while; what was under way of the same sort is given up. */
  private later(name: string, wait: number, what: (signal: AbortSignal) => Promise<void>): void {
    window.clearTimeout(this.timers.get(name));
    this.running.get(name)?.abort();
    const control = new AbortController();
    this.running.set(name, control);
    this.timers.set(name, window.setTimeout(() => {
      what(control.signal).catch((error: unknown) => {
        if (!control.signal.aborted) this.one("[data-span]").textContent = error instanceof Error ? error.message : "The connection is lost.";
      });
    }, wait));
  }
}

/** A time in as many digits as the view can tell apart. */
function short(time: number, width: number): string {
  return String(Number(time.toFixed(Math.min(12, Math.max(0, Math.ceil(4 - Math.log10(width || 1)))))));
}
