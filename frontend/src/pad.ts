// The number pad of the bench, for a gloved finger. The keyboard writes into the same field.

const LAST = "halfsplit-last-reading";
type Press = (value: string) => string;

const KEYS: Record<string, Press> = {
  back: (value) => (value === "OL" ? "" : value.slice(0, -1)),
  "−": (value) => (value.startsWith("-") ? value.slice(1) : `-${value === "OL" ? "" : value}`),
  OL: () => "OL",
  ".": (value) => (value === "OL" ? "0." : value.includes(".") ? value : `${value || "0"}.`),
  again: (value) => sessionStorage.getItem(LAST) ?? value,
};

/** What the field holds after a key of the pad. */
export function pressed(key: string, value: string): string {
  return (KEYS[key] ?? ((before: string) => (before === "OL" ? key : before + key)))(value);
}

/** Makes every pad work, those that are swapped in later too. */
export function startPad(root: Document): void {
  root.addEventListener("click", (event) => {
    const key = (event.target as Element).closest<HTMLElement>("[data-pad] [data-key]");
    const field = key?.closest("form")?.querySelector<HTMLInputElement>("[data-pad-field]");
    if (key && field) {
      field.value = pressed(key.dataset["key"] ?? "", field.value);
      field.focus({ preventScroll: true });
    }
  });
  root.addEventListener("keydown", (event) => {
    const field = event.target as HTMLElement;
    const form = field.closest<HTMLFormElement>("form[data-pad]");
    const send = form?.querySelector<HTMLButtonElement>("[data-submit]");
    if (event.key === "Enter" && field.matches("[data-pad-field]") && form && send) {
      event.preventDefault();
      form.requestSubmit(send);
    }
  });
  root.addEventListener("submit", (event) => {
    const field = (event.target as Element).querySelector<HTMLInputElement>("[data-pad-field]");
    if (field?.value) sessionStorage.setItem(LAST, field.value);
  }, { capture: true });
}
