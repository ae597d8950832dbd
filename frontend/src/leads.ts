// Practice: a tap in the drawing puts one of the leads on that point; the rest of the form stays as it is.

/** Makes taps in the drawing fill the form that asks for leads, where there is one. */
export function startLeads(root: Document): void {
  root.addEventListener("drawing:tapped", (event) => {
    const form = root.querySelector<HTMLFormElement>("form[data-leads]");
    if (!form) return;
    event.preventDefault();
    const other = root.querySelector<HTMLInputElement>("#drawn input[name=lead][value=to]")?.checked ?? false;
    const field = form.querySelector<HTMLInputElement>(other ? "input[name=to]" : "input[name=at]");
    const kept = form.querySelector<HTMLInputElement>("input[name=lead]");
    if (!field || !kept) return;
    kept.value = other ? "to" : "at";
    field.value = (event as CustomEvent<string>).detail;
    field.dispatchEvent(new Event("change", { bubbles: true }));
    root.getElementById("choose")?.scrollIntoView({ block: "start" });
  });
}
