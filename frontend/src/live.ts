// Follows the job while its bench is open: a reading that somebody else enters is shown here within two seconds.
import { isSending } from "./outbox.js";
import { isEntering, showBench } from "./swap.js";

const SETTLES_IN = 150; // milliseconds: several changes at once are fetched once

/** Listens to the changes of the job that the page shows. */
export function startLive(root: Document): void {
  const bench = root.getElementById("bench");
  const url = bench?.dataset["live"];
  if (!bench || !url) return;
  let timer = 0;
  const source = new EventSource(`${url}?after=${bench.dataset["sequence"] ?? "0"}`);
  source.addEventListener("open", () => root.dispatchEvent(new CustomEvent("bench:connected")));
  source.addEventListener("change", () => {
    window.clearTimeout(timer);
    timer = window.setTimeout(() => void refresh(root), SETTLES_IN);
  });
  window.addEventListener("pagehide", () => source.close());
}

async function refresh(root: Document): Promise<void> {
  const bench = root.getElementById("bench");
  const address = bench?.dataset["bench"];
  if (!bench || !address || isSending()) return;
  try {
    const answer = await fetch(address, { headers: { "HX-Request": "true" } });
    if (!answer.ok) return;
    const html = await answer.text();
    const next = new DOMParser().parseFromString(html, "text/html").getElementById("bench");
    const seen = Number(root.getElementById("bench")?.dataset["sequence"] ?? "0");
    if (!next || Number(next.dataset["sequence"] ?? "0") <= seen) return;
    showBench(root, html, isBusy(root, bench) ? "around the entry" : "all");
  } catch {
    // The line is down; the event source tries again by itself.
  }
}

function isBusy(root: Document, bench: Element): boolean {
  const inside = root.activeElement;
  const atField = inside instanceof HTMLInputElement && inside.id !== "typed";
  return isEntering(bench) || atField || bench.querySelector(".question, .own, .others") !== null;
}
