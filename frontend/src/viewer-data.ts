// What the viewer knows of a capture and fetches of it: windows of samples as bytes, values at the cursors, events.

export interface Trace { number: number; label: string; unit: string; edges: boolean; time: boolean; shown: boolean }
export interface Mark { start: number; stop: number; label: string }
/** What the page tells of a capture; its samples stay on the server. */
export interface Told {
  base: string; start: number; stop: number; channels: Trace[]; marks: Mark[]; reference: Told | null;
}
/** A trace of a window as it is drawn: times in seconds, and values of which null is none. */
export interface Line { x: number[]; y: (number | null)[] }
export interface Reading { channel: number; unit: string; at: (number | null)[]; mean: number | null; low: number | null; high: number | null }

/** Fetches some channels between two times: at most `columns` extremes, or the samples themselves where they are few. */
export async function fetchWindow(
  base: string, channels: number[], from: number, to: number, columns: number, signal: AbortSignal,
): Promise<Map<number, Line>> {
  const asked = new URLSearchParams({ from: String(from), to: String(to), pixels: String(columns), channels: channels.join(",") });
  const answer = await fetch(`${base}/window?${asked}`, { signal });
  if (!answer.ok) throw new Error(`the samples could not be fetched (${answer.status})`);
  return unpack(await answer.arrayBuffer(), channels);
}

/** Takes the bytes of a window apart, as `halfsplit.capture.screen.packed` put them together. */
export function unpack(data: ArrayBuffer, channels: number[]): Map<number, Line> {
  const length = new DataView(data).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(data, 4, length))) as
    { origin: number; windows: { exact: boolean; count: number }[] };
  let place = Math.ceil((4 + length) / 8) * 8;
  const found = new Map<number, Line>();
  head.windows.forEach((window, i) => {
    const [times, low, high] = [0, 1, 2].map((n) => new Float32Array(data, place + 4 * n * window.count, window.count)) as
      [Float32Array, Float32Array, Float32Array];
    place += 12 * window.count;
    found.set(channels[i] ?? i, window.exact ? plain(head.origin, times, low) : zigzag(head.origin, times, low, high));
  });
  return found;
}

const number = (value: number | undefined) => (value === undefined || Number.isNaN(value) ? null : value);

function plain(origin: number, times: Float32Array, values: Float32Array): Line {
  return { x: Array.from(times, (time) => origin + time), y: Array.from(values, number) };
}

/** Each column is drawn from its lowest to its highest sample, so that no spike is lost. */
function zigzag(origin: number, times: Float32Array, low: Float32Array, high: Float32Array): Line {
  const line: Line = { x: [], y: [] };
  times.forEach((time, i) => {
    line.x.push(origin + time, origin + time);
    line.y.push(number(low[i]), number(high[i]));
  });
  return line;
}

/** What each channel reads at two times, and between them. */
export async function fetchReadings(base: string, first: number, second: number, signal: AbortSignal): Promise<Reading[]> {
  const answer = await fetch(`${base}/cursors?from=${first}&to=${second}`, { signal });
  return answer.ok ? (await answer.json()) as Reading[] : [];
}

/** When the first event of a channel is; null where there is none. */
export async function fetchEvent(base: string, channel: number, edge: string): Promise<number | null> {
  const answer = await fetch(`${base}/event?channel=${channel}&edge=${edge}`);
  return answer.ok ? ((await answer.json()) as { time: number | null }).time : null;
}

const STEPS: [number, string, number][] = [[1, "", 1], [1e-3, "m", 1e3], [1e-6, "µ", 1e6], [1e-9, "n", 1e9]];

/** A number with its unit in four digits: 0.00254 s is '2.540 ms'. Units that are no SI unit take no prefix. */
export function told(value: number | null | undefined, unit: string): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const size = Math.abs(value);
  const prefixed = unit === "s" || unit === "V" || unit === "A";
  const [, prefix, factor] = (prefixed && size > 0 && STEPS.find(([from]) => size >= from * 0.9995)) || [1, "", 1];
  const scaled = value * factor;
  const digits = Math.abs(scaled) >= 1000 ? 0 : Math.abs(scaled) >= 100 ? 1 : Math.abs(scaled) >= 10 ? 2 : 3;
  return `${scaled.toFixed(digits).replace("-", "−")} ${prefix}${unit}`.trim();
}

/** A frequency from a period. */
export function perSecond(period: number): string {
  if (!period) return "";
  const hertz = 1 / Math.abs(period);
  const [factor, unit] = hertz >= 1e6 ? [1e-6, "MHz"] : hertz >= 1e3 ? [1e-3, "kHz"] : [1, "Hz"];
  return `${(hertz * factor).toPrecision(4)} ${unit}`;
}
