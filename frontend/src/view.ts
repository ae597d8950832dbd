// What belongs to a tap is in view: what it opens, and the new task after an entry. The offer to undo ends after a minute.

/** Keeps what a tap opened in view, and ends the offers to undo. */
export function keepInView(root: Document): void {
  root.addEventListener("toggle", (event) => {
    const opened = event.target as HTMLElement;
    if (opened instanceof HTMLDetailsElement && opened.open && root.activeElement && opened.contains(root.activeElement)) show(opened);
  }, { capture: true });
  for (const name of ["bench:shown", "htmx:after:swap"]) {
    root.addEventListener(name, () => {
      endUndo(root);
      const others = root.getElementById("others");
      if (others && others.contains(root.activeElement)) show(others);
    });
  }
  root.getElementById("menu")?.addEventListener("click", (event) => {
    const button = event.currentTarget as HTMLElement;
    const isOpen = button.getAttribute("aria-expanded") !== "true";
    button.setAttribute("aria-expanded", String(isOpen));
    button.closest("nav")?.classList.toggle("open", isOpen);
  });
  root.documentElement.classList.add("scripted");
  endUndo(root);
}

/** Scrolls as little as it takes; to its head where it is taller than the window. */
export function show(element: Element): void {
  const box = element.getBoundingClientRect();
  if (box.top >= 0 && box.bottom <= window.innerHeight) return;
  element.scrollIntoView({ block: box.height > window.innerHeight ? "start" : "nearest" });
}

/** The current task, from its head, where it is not in view already. */
export function showTask(root: Document): void {
  const bench = root.getElementById("bench");
  if (bench && bench.getBoundingClientRect().top < -1) bench.scrollIntoView({ block: "start" });
}

let timer = 0;

function endUndo(root: Document): void {
  window.clearTimeout(timer);
  const last = root.getElementById("last");
  const seconds = Number(last?.dataset["seconds"] ?? "0");
  if (last && seconds > 0) timer = window.setTimeout(() => { last.hidden = true; }, 1000 * seconds);
}
