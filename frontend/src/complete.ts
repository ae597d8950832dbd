// Names complete in the editor: those that the text has already, offered under it as buttons and taken with Tab.

const BEFORE_CARET = /[A-Za-z][A-Za-z0-9_.]*$/;
const WORDS = /[A-Za-z][A-Za-z0-9_]*(?:\.[A-Za-z0-9_+-]+)?/g;
const MOST = 6;

/** Names of the text that go on from what stands before the caret, the most used first. */
export function completions(text: string, caret: number): string[] {
  const begun = BEFORE_CARET.exec(text.slice(0, caret))?.[0] ?? "";
  if (begun.length < 1 || /[A-Za-z0-9_]/.test(text[caret] ?? "")) return [];
  const rest = text.slice(0, caret - begun.length) + " " + text.slice(caret);
  const counts = new Map<string, number>();
  for (const [name] of rest.replace(/"[^"\n]*"|#.*/g, " ").matchAll(WORDS)) {
    if (name.startsWith(begun) && name !== begun) counts.set(name, (counts.get(name) ?? 0) + 1);
  }
  return [...counts].sort((a, b) => b[1] - a[1] || a[0].localeCompare(b[0])).slice(0, MOST).map(([name]) => name);
}

/** Offers names while the text is typed. */
export function startCompletion(root: Document): void {
  const text = root.querySelector<HTMLTextAreaElement>("textarea[data-editor]");
  const place = root.getElementById("names");
  if (!text || !place) return;
  const offer = () => place.replaceChildren(...completions(text.value, text.selectionStart).map((name) => button(root, name)));
  for (const event of ["input", "click"]) text.addEventListener(event, offer);
  place.addEventListener("click", (event) => {
    const name = (event.target as Element).closest<HTMLElement>("[data-name]")?.dataset["name"];
    if (name) take(text, name);
  });
  text.addEventListener("keydown", (event) => {
    const first = place.querySelector<HTMLElement>("[data-name]")?.dataset["name"];
    if (event.key !== "Tab" || event.shiftKey || !first || text.selectionStart !== text.selectionEnd) return;
    event.preventDefault();
    take(text, first);
  });
  // Escape empties the offer, so that Tab leaves the field again.
  text.addEventListener("keydown", (event) => { if (event.key === "Escape") place.replaceChildren(); });
}

function button(root: Document, name: string): HTMLElement {
  const made = root.createElement("button");
  made.type = "button";
  made.className = "code";
  made.dataset["name"] = name;
  made.textContent = name;
  return made;
}

function take(text: HTMLTextAreaElement, name: string): void {
  const begun = BEFORE_CARET.exec(text.value.slice(0, text.selectionStart))?.[0] ?? "";
  text.focus();
  const rest = name.slice(begun.length);
  if (!document.execCommand("insertText", false, rest)) text.setRangeText(rest, text.selectionStart, text.selectionEnd, "end");
  text.dispatchEvent(new Event("input", { bubbles: true }));
}
