// Focus after a part of the page was replaced: a keyboard or a screen reader must not be thrown back to the top.
//
// The server says where to go next by `data-focus-next` on an element of the new part (the entry of the next
// reading, the first field with a mistake). Without one the element that had the focus gets it again, found by its id.

/** Keeps the focus in place, or moves it to where the server asks, after each swap below `root`. */
export function keepFocus(root: Document): void {
  let before = "";
  root.addEventListener("htmx:before:swap", () => {
    before = root.activeElement?.id ?? "";
  });
  root.addEventListener("htmx:after:swap", () => {
    const wanted = root.querySelector<HTMLElement>("[data-focus-next]");
    if (wanted) {
      wanted.removeAttribute("data-focus-next");
      wanted.focus();
    } else if (before && root.activeElement === root.body) {
      root.getElementById(before)?.focus();
    }
  });
}
