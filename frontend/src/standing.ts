// An entry stands in the list at the moment of the tap: 'storing', then 'stored', or kept here until the connection is back.
import type { Waiting } from "./store.js";

const WORDS = { storing: "Storing", waiting: "Kept in this browser", stored: "Stored" } as const;
const WORKS: Record<string, string> = { yes: "works", no: "dead" };
export type Stage = keyof typeof WORDS;

/** Shows an entry at the head of the evidence, and in the line above the task. */
export function stand(root: Document, form: HTMLElement, entry: Waiting): void {
  const body = new URLSearchParams(entry.body);
  const unit = body.get("unit") ?? "";
  const works = body.get("works");
  const typed = body.get("typed") ?? (works && (WORKS[works] ?? works)) ?? body.get("text") ?? body.get("what") ?? body.get("why") ?? "";
  const value = /\d$/.test(typed) && unit && body.get("kind") === "reading" ? `${typed.replace(",", ".")} ${unit}` : typed;
  const words = form.dataset["says"] ?? body.get("load") ?? "";
  const list = listOf(root);
  const line = root.createElement("li");
  line.className = "line storing";
  line.dataset["standing"] = entry.id;
  const time = root.createElement("time");
  time.textContent = new Date().toTimeString().slice(0, 5);
  const said = root.createElement("span");
  said.className = "said";
  const stage = Object.assign(root.createElement("span"), { className: "dim stage" });
  said.append(words, " ", stage);
  line.append(time, said, Object.assign(root.createElement("b"), { className: "value", textContent: value }));
  list?.prepend(line);
  const last = root.getElementById("last");
  if (last) {
    last.hidden = false;
    last.removeAttribute("data-seconds");
    const strip = Object.assign(root.createElement("span"), { className: "stored" });
    strip.dataset["standing"] = entry.id;
    const state = Object.assign(root.createElement("span"), { className: "stage" });
    strip.append(state, ": ", Object.assign(root.createElement("b"), { textContent: value }), " ", words);
    last.replaceChildren(strip);
  }
  setStage(root, entry.id, "storing");
}

function listOf(root: Document): Element | null {
  const found = root.getElementById("entries");
  const evidence = root.getElementById("evidence");
  if (found || !evidence) return found;
  const list = Object.assign(root.createElement("ol"), { className: "entries", id: "entries" });
  (evidence.querySelector(".empty") ?? evidence.lastElementChild)?.replaceWith(list);
  return list;
}

/** Says how far an entry is. */
export function setStage(root: Document, id: string, stage: Stage): void {
  for (const place of root.querySelectorAll<HTMLElement>(`[data-standing="${CSS.escape(id)}"]`)) {
    place.dataset["stage"] = stage;
    const words = place.querySelector(".stage");
    if (words) words.textContent = WORDS[stage];
  }
}

/** An entry that was not taken stands no longer. */
export function unstand(root: Document, id: string): void {
  root.querySelectorAll(`[data-standing="${CSS.escape(id)}"]`).forEach((place) => place.remove());
  const last = root.getElementById("last");
  if (last && !last.childElementCount) last.hidden = true;
}
