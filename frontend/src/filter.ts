// A list that is narrowed while somebody types what he looks for.

/** Makes every field with `data-filter` hide what does not hold its words, in the element of that id. */
export function startFilters(root: Document): void {
  root.addEventListener("input", (event) => {
    const field = event.target as HTMLInputElement;
    const list = field.dataset["filter"] ? root.getElementById(field.dataset["filter"]) : null;
    const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
    for (const one of list?.children ?? []) {
      if (one instanceof HTMLElement && !one.matches("input[type=hidden]")) {
        const text = one.textContent.toLowerCase();
        one.hidden = !words.every((word) => text.includes(word));
      }
    }
  });
}
